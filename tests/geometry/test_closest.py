"""The closest two of many shapes, against all pairs one by one."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from corepath.geometry.closest import closest, least_distance


def _all_pairs(shapes: list[BaseGeometry]) -> tuple[float, int, int]:
    pairs = itertools.combinations(range(len(shapes)), 2)
    return min(
        ((shapes[i].distance(shapes[j]), i, j) for i, j in pairs), key=lambda p: round(p[0], 6)
    )


@pytest.mark.parametrize("seed", range(12))
def test_the_closest_two_are_those_of_all_pairs(seed: int) -> None:
    """Discs inside a ring of a thousand places, and the frame round both."""
    random = np.random.default_rng(seed)
    ring = Point(0, 0).buffer(60.0, quad_segs=250).difference(Point(1, 0).buffer(55.0, 250))
    discs = [Point(*random.uniform(-35, 35, 2)).buffer(2.0) for _ in range(random.integers(1, 30))]
    shapes = [LineString(box(-70, -65, 64, 66).exterior), ring, *discs]
    least, one, two = closest(shapes)
    wanted = _all_pairs(shapes)
    assert (one, two) == wanted[1:] and least == pytest.approx(wanted[0], abs=1e-9)


def test_of_equal_pairs_the_first_is_named_and_what_lies_inside_is_at_no_distance() -> None:
    row = [box(10 * k, 0, 10 * k + 4, 4) for k in range(5)]
    assert closest(row) == (6.0, 0, 1)
    wide = Polygon(Point(0, 0).buffer(50.0, quad_segs=200))
    assert closest([box(90, 0, 95, 5), wide, Point(3, 4).buffer(1.0)])[0] == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_the_least_distance_is_that_of_the_nearest_of_all(seed: int) -> None:
    """From a line of a thousand places, which is measured within the first distance alone."""
    random = np.random.default_rng(seed)
    ring = Point(0, 0).buffer(60.0, quad_segs=250).exterior
    discs = [Point(*random.uniform(-50, 50, 2)).buffer(2.0) for _ in range(12)]
    wanted = min(ring.distance(disc) for disc in discs)
    assert least_distance(ring, discs) == pytest.approx(wanted, abs=1e-9)
    assert least_distance(ring, [*discs, Point(60, 0).buffer(2.0)]) == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_a_small_shape_among_large_and_small_ones(seed: int) -> None:
    """A hole beside a ring of a thousand places, discs and the frame, and one in the ring."""
    random = np.random.default_rng(seed)
    ring = Point(0, 0).buffer(60.0, quad_segs=250).difference(Point(1, 0).buffer(55.0, 250))
    discs = [Point(*random.uniform(-35, 35, 2)).buffer(2.0) for _ in range(12)]
    others = [LineString(box(-70, -65, 64, 66).exterior), ring, *discs]
    for x, y in (*random.uniform(-50, 50, (6, 2)), (66.0, 0.0)):
        hole = Point(x, y).buffer(1.5, quad_segs=64)
        assert least_distance(hole, others) == min(hole.distance(other) for other in others)
    assert least_distance(Point(58, 0).buffer(0.5), others) == 0.0
