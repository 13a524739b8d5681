"""Outlines from stations and points: through what was given, valid, counter-clockwise; each fault
with its place."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corepath.board.outline.curves import circle_points, closed_curve, crossings
from corepath.board.outline.make_outline import build_outline
from corepath.errors import InputError

HERE = Path()


def outline_of(make_job, **section):
    return build_outline(make_job({"outline": section}), HERE)


def faults_of(make_job, **section):
    with pytest.raises(InputError) as caught:
        outline_of(make_job, **section)
    return {fault.key: str(fault) for fault in caught.value.faults}


def test_outline_passes_through_stations_and_their_images(make_job):
    """A station off the curve would move the board's edge."""
    stations = [[-100, 0], [-70, 40], [10, 55], [60, 35], [90, 0]]
    outline = outline_of(make_job, stations=stations)
    for x, half in stations:
        for y in (half, -half):
            assert outline.exterior.distance(shapely.Point(x, y)) < 1e-9


def test_outline_is_symmetric_about_the_x_axis(make_job):
    """Stations are half widths: one side must not differ from the other."""
    outline = outline_of(make_job, stations=[[-100, 0], [-70, 40], [10, 55], [60, 35], [90, 0]])
    mirrored = shapely.transform(outline, lambda p: p * [1.0, -1.0])
    assert shapely.hausdorff_distance(outline, mirrored) < 0.001
    assert outline.exterior.is_ccw and outline.is_valid


def test_outline_with_blunt_ends_goes_through_both_images(make_job):
    """End stations of some width stand on the curve twice."""
    outline = outline_of(make_job, stations=[[-80, 20], [0, 40], [80, 25]])
    for place in ((-80, 20), (-80, -20), (80, 25), (80, -25)):
        assert outline.exterior.distance(shapely.Point(place)) < 1e-9


def test_chords_keep_within_the_promise():
    """The polygon stands for the curve: a chord farther off would cut or leave wood.

    The true curve is taken from a polygon of a hundredth of the tolerance.
    """
    points = np.array(
        [[-640, 0], [-560, -110], [0, -210], [560, -105], [640, 0], [0, 210]], dtype=float
    )
    rough, fine = closed_curve(points), closed_curve(points, chord=8e-6)
    away = shapely.distance(shapely.points(fine), shapely.linearrings(rough))
    assert 0.0002 < away.max() <= 0.001


def test_smooth_points_on_a_circle_give_the_circle(make_job):
    """A closed spline through 48 places of a circle keeps to it: error of cubic interpolation, r (2
    pi / n)^4 / 384."""
    radius, count = 40.0, 48
    angle = 2 * np.pi * np.arange(count) / count
    points = [[radius * math.cos(a), radius * math.sin(a)] for a in angle]
    ring = shapely.get_coordinates(outline_of(make_job, points=points, smooth=True))
    off = np.abs(np.hypot(*ring.T) - radius).max()
    assert off < 1.5 * radius * (2 * np.pi / count) ** 4 / 384


def test_straight_points_are_taken_as_they_are(make_job):
    """Corners are the user's: none may be moved, and a clockwise list is turned round."""
    corners = [[-50, -20], [-50, 20], [60, 25], [60, -20]]
    outline = outline_of(make_job, points=corners)
    assert outline.exterior.is_ccw
    assert {tuple(p) for p in shapely.get_coordinates(outline)} == {
        tuple(map(float, p)) for p in corners
    }


def test_a_repeated_first_point_at_the_end_is_allowed(make_job):
    """Many lists of points close themselves."""
    corners = [[-50, -20], [60, -20], [60, 25], [-50, 20]]
    assert outline_of(make_job, points=[*corners, corners[0]]).equals(
        outline_of(make_job, points=corners)
    )


def test_all_station_faults_come_at_once(make_job):
    """One run must name every wrong station by its number."""
    faults = faults_of(
        make_job, stations=[[-90, 0], [-50, 30], [-50, 35], [0, 0], [40, 30], [20, 20], [90, 0]]
    )
    assert list(faults) == ["outline.stations[3]", "outline.stations[4]", "outline.stations[6]"]
    assert "same x" in faults["outline.stations[3]"]
    assert "no width" in faults["outline.stations[4]"]
    assert "ascend" in faults["outline.stations[6]"]


def test_a_crossing_is_named_with_its_place(make_job):
    """A figure of eight is no board; the user must find the crossing. y = x/2 meets y = 0.25 -
    0.50625 x."""
    faults = faults_of(make_job, points=[[-40, -20], [40, 20], [40, -20], [-40, 20.5]])
    assert "at (0.248, 0.124) mm" in faults["outline.points"]


def test_a_smooth_curve_that_crosses_itself_is_a_fault(make_job):
    """Points may be sound and the curve through them not."""
    assert "outline.points" in faults_of(
        make_job, points=[[-40, -20], [40, 20], [40, -20], [-40, 20]], smooth=True
    )


@pytest.mark.parametrize(
    ("section", "key", "message"),
    [
        ({}, "outline", "none of them"),
        ({"stations": [[-9, 0], [0, 5], [9, 0]], "dxf": "a.dxf"}, "outline", "given together"),
        ({"points": [[0, 0], [10, 0], [0, 0]]}, "outline.points", "too few"),
        ({"points": [[0, 0], [10, 0], [20, 0]]}, "outline.points", "no area"),
        (
            {"points": [[0, 0], [10, 0], [10, 0], [0, 10]]},
            "outline.points[3]",
            "same as the point before",
        ),
    ],
)
def test_outline_faults(make_job, section, key, message):
    """Each wrong form is named by its key."""
    assert message in faults_of(make_job, **section)[key]


def test_crossings_sees_a_spike():
    """A line that turns straight back on itself has no side."""
    assert (
        crossings(np.array([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0], [10.0, 0.0], [5.0, 8.0]])) != []
    )
    assert crossings(circle_points(0.0, 0.0, 10.0)) == []


@settings(
    max_examples=40,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    radii=st.lists(st.floats(60.0, 90.0), min_size=5, max_size=24),
    smooth=st.booleans(),
    turned=st.booleans(),
)
def test_any_star_shaped_outline_is_valid_and_passes_its_points(make_job, radii, smooth, turned):
    """Any star-shaped list, in either direction: a valid polygon, counter-clockwise, through all
    points."""
    angle = 2 * np.pi * np.arange(len(radii)) / len(radii)
    points = [
        [float(r * np.cos(a)), float(r * np.sin(a))] for r, a in zip(radii, angle, strict=True)
    ]
    outline = build_outline(
        make_job({"outline": {"points": points[::-1] if turned else points, "smooth": smooth}}),
        HERE,
    )
    assert outline.is_valid and outline.exterior.is_ccw and not outline.interiors
    assert outline.contains(shapely.Point(0, 0))
    assert shapely.distance(shapely.points(points), outline.exterior).max() < 1e-9
