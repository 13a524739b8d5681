"""The draws of a map are kept from stop to stop, and the footprint's places lie where they
should."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from corepath.job.record.settled import Settled
from corepath.planning.prepare import Prepared, prepare
from corepath.stackup.checks.montecarlo import least_over, low_quantile
from corepath.stackup.checks.spread import MOST_PLACES, spread_of_depth, spread_of_wood
from corepath.stackup.footprint_places import footprint_places

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(SAMPLES / "board-1280-wedge.toml")


@pytest.mark.whole
def test_kept_draws_give_what_drawing_anew_gives(prepared: Prepared) -> None:
    """Draws kept of another casting, or for another plane, would give a wrong RSS without any sign
    of it."""
    stack = prepared.stackup
    heights, blank = stack.heights, stack.heights.blank
    name = "thickness" if blank.top_map is None else "height as held"
    for plane in (12.0, 12.4, 12.0):
        for casting in stack.castings:
            value = casting.shows_at(heights, casting.shallowest_at) - heights.plane(plane)
            places = casting.places[:: -(-len(casting.places) // MOST_PLACES)]
            rise = blank.raw_top(*places.T) - float(blank.raw_top(*casting.shallowest_at))
            error = (
                blank.thickness_error(*places.T)
                if blank.top_map is None
                else blank.top_error(*places.T)
            )
            anew = low_quantile(least_over(value.without(name), places, rise, error))
            assert spread_of_depth(stack, casting, value) == anew


def test_an_assumed_blank_has_no_weakest_place() -> None:
    """Without a map, RSS stands; a figure drawn from nothing would take its place in the check."""
    stack = prepare(SAMPLES / "board-1280.toml").stackup
    for casting in stack.castings:
        value = casting.shows_at(stack.heights, casting.shallowest_at)
        assert spread_of_depth(stack, casting, value) is None
        assert spread_of_wood(stack, casting, value) is None


def test_a_depth_that_was_gauged_hangs_on_no_map(prepared: Prepared) -> None:
    """The gauge has settled it: drawn over the map all the same, the check would doubt what was
    measured."""
    stack = prepared.stackup
    heights = replace(
        stack.heights, settled=Settled(groove_depth=((0.0, 0.0, 12.3),), pocket_depth={"P1a": 12.3})
    )
    gauged = replace(stack, heights=heights)
    for casting in stack.castings:
        value = casting.shows_at(stack.heights, casting.shallowest_at)
        known = casting.casting.id in ("groove", "P1a")
        assert (spread_of_depth(gauged, casting, value) is None) is known


def test_places_along_the_walls_are_evenly_spaced() -> None:
    """Against shapely's own interpolation along a ring, corners and a hole included."""
    area = shapely.box(0, 0, 50, 23).difference(shapely.Point(20, 10).buffer(7))
    places = footprint_places(area)
    start = 0
    for ring in (area.exterior, *area.interiors):
        count = int(np.ceil(ring.length / 4.0))
        steps = np.arange(count) / count
        wanted = shapely.get_coordinates(
            shapely.line_interpolate_point(ring, steps, normalized=True)
        )
        np.testing.assert_allclose(places[start : start + count], wanted, atol=1e-9)
        start += count
    assert area.buffer(1e-9).covers(shapely.multipoints(places[start:]))
