"""Polylines against figures by hand: right triangles and a square."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString, Point

from corepath.geometry.polylines import (
    along,
    begun_at,
    denser,
    length,
    place_at,
    places_along,
    stretch,
    turned_to,
)

# 3, 4, 5 and 5, 12, 13: two right triangles; the third column is no part of the length.
LINE = np.array([[0.0, 0.0, 7.0], [3.0, 4.0, -7.0], [15.0, 9.0, 7.0]])
SQUARE = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0], [0.0, 0.0]])


def test_lengths_are_those_seen_from_above() -> None:
    assert along(LINE) == pytest.approx([0.0, 5.0, 18.0])
    assert length(LINE) == pytest.approx(18.0)
    assert place_at(LINE, along(LINE), np.array([2.5, 11.5])) == pytest.approx(
        np.array([[1.5, 2.0], [9.0, 6.5]])
    )


def test_every_segment_is_divided_evenly_and_all_columns_go_along() -> None:
    """5 mm in 3 parts of at most 2, 13 mm in 7; the vertices stay to the bit."""
    points = denser(LINE, 2.0)
    assert len(points) == 3 + 7 + 1
    assert np.array_equal(points[[0, 3, 10]], LINE)
    assert np.diff(along(points)) == pytest.approx([5.0 / 3.0] * 3 + [13.0 / 7.0] * 7)
    assert points[1] == pytest.approx([1.0, 4.0 / 3.0, 7.0 - 14.0 / 3.0])
    assert np.array_equal(denser(LINE, 13.0), LINE)


@pytest.mark.parametrize(
    ("begin", "expected"),
    [
        (0.0, SQUARE),
        (10.0, np.array([[10, 0], [10, 10], [0, 10], [0, 0], [10, 0]])),
        (13.0, np.array([[10, 3], [10, 10], [0, 10], [0, 0], [10, 0], [10, 3]])),
        (37.0, np.array([[0, 3], [0, 0], [10, 0], [10, 10], [0, 10], [0, 3]])),
    ],
)
def test_a_ring_begins_elsewhere_with_each_vertex_once(begin: float, expected: np.ndarray) -> None:
    """A vertex passed twice stops the cutter there; one left out cuts the corner."""
    assert begun_at(SQUARE, begin) == pytest.approx(expected)
    place = place_at(SQUARE, along(SQUARE), np.array([begin]))[0]
    assert turned_to(SQUARE, (float(place[0]), float(place[1]))) == pytest.approx(expected)


def test_stretch_goes_round_the_end_of_a_lap() -> None:
    """A lap begun anywhere that is too short or has a gap."""
    square = np.array([[0, 0], [4, 0], [4, 4], [0, 4], [0, 0]], dtype=float)
    for begin in (0.0, 3.0, 15.9, 16.0, -2.0):
        for way in (1.0, 16.0, 20.0):
            part = stretch(square, begin, way)
            assert length(part) == pytest.approx(way)
            assert shapely.distance(LineString(square), shapely.points(part)).max() < 1e-9


def test_places_along_a_ring_are_those_of_shapely() -> None:
    ring = Point(3.0, -2.0).buffer(40.0, quad_segs=37).exterior
    asked = np.append(np.linspace(0.0, ring.length, 500, endpoint=False), ring.length)
    theirs = shapely.get_coordinates(shapely.line_interpolate_point(ring, asked))
    found = places_along(shapely.get_coordinates(ring), asked)
    np.testing.assert_allclose(found, theirs, atol=1e-10)
