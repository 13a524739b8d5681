"""The largest circle inside a polygon: its radius is known wherever a shape is made by a disc."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from shapely import LineString, Polygon, affinity, box

from corepath.geometry.polygons import inradius

_ALONG = np.linspace(0.0, 1000.0, 501)
# A bend of radius 140 at its tightest (k = A / l² = 40 / 75²), wider than any half width below.
_WAVE = np.column_stack([_ALONG, 40.0 * np.sin(_ALONG / 75.0)])


def _slot(line: object, half_width: float) -> Polygon:
    # 64 chords a quarter keep a round end within r (1 - cos(pi / 256)) = 0.0015 for r = 20
    return LineString(line).buffer(half_width, quad_segs=64)  # type: ignore[arg-type, return-value]


@pytest.mark.parametrize("turned", [0.0, 17.0, 45.0, 63.4])
@pytest.mark.parametrize("half_width", [2.7, 8.15, 20.0])
def test_a_long_slot_is_not_reckoned_narrower_than_it_is(half_width: float, turned: float) -> None:
    straight = affinity.rotate(_slot([(0.0, 0.0), (600.0, 0.0)], half_width), turned)
    assert inradius(straight) == pytest.approx(half_width, abs=0.001)
    bent = affinity.rotate(_slot(_WAVE, half_width), turned)
    assert inradius(bent) == pytest.approx(half_width, abs=0.002)


@pytest.mark.parametrize("at", [0.13, 0.37, 0.71])
def test_a_place_where_a_long_slot_is_wider_is_found(at: float) -> None:
    line = LineString(_WAVE)
    wider = line.interpolate(at, normalized=True).buffer(8.2, quad_segs=64)
    slot = affinity.rotate(_slot(_WAVE, 8.0).union(wider), 17.0)
    # the disc lies in it, and outside the disc it is narrower; the slot's own side beside the disc
    # moves the largest circle by less than 0.2² / 8
    assert inradius(slot) == pytest.approx(8.2, abs=0.006)


def test_round_square_and_three_cornered_areas_have_the_circle_of_the_textbook() -> None:
    assert inradius(box(0.0, 0.0, 30.0, 70.0)) == pytest.approx(15.0, abs=0.001)
    # right triangle: r = (a + b - c) / 2; 300, 400, 500 gives 100
    assert inradius(Polygon([(0, 0), (300, 0), (0, 400)])) == pytest.approx(100.0, abs=0.001)
    # half a square turned on its point: a = b = 200, c = 200 sqrt 2
    turned = affinity.rotate(Polygon([(0, 0), (200, 0), (0, 200)]), 31.0)
    assert inradius(turned) == pytest.approx(200.0 - 100.0 * math.sqrt(2.0), abs=0.001)
    # a ring has a circle between its walls, wherever
    ring = box(0, 0, 200, 100).difference(box(40, 20, 180, 80))
    assert inradius(ring) == pytest.approx(20.0, abs=0.001)


def test_the_largest_circle_of_a_long_slot_is_found_quickly() -> None:
    slot = affinity.rotate(_slot(_WAVE, 8.0), 17.0)
    before = time.process_time()
    inradius(slot)
    assert time.process_time() - before < 2.0  # 0.1 s; a fine search for its centre takes minutes
