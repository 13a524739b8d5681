"""Tip heights of flat, bull and ball cutters: closed forms of elementary geometry, and brute
force."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.motion.cutter import Cutter
from corepath.operations.deck.drop_cutter import DropCutter, thin

Array = NDArray[np.float64]

FLAT = Cutter(1, "flat", 10.0, 0.0, 2, 30.0, 40.0)
BULL = Cutter(2, "bull", 12.0, 2.0, 2, 30.0, 40.0)
BALL = Cutter(3, "ball", 10.0, 5.0, 2, 30.0, 40.0)
CUTTERS = pytest.mark.parametrize("cutter", [FLAT, BULL, BALL], ids=["flat", "bull", "ball"])


def sampled(
    height: Callable[[Array, Array], Array], half: int = 70, edge: float = 0.0
) -> DeckSurface:
    places = np.arange(-half, half + 1, dtype=np.float64)
    x, y = np.meshgrid(places, places, indexing="ij")
    return DeckSurface(places, places, height(x, y), edge)


def ring(radius: float, count: int = 24) -> tuple[Array, Array]:
    angles = np.linspace(0.1, 0.1 + 2 * math.pi, count, endpoint=False)
    return radius * np.cos(angles), radius * np.sin(angles)


def land(cutter: Cutter) -> float:
    return cutter.radius - cutter.corner_radius


@CUTTERS
@settings(derandomize=True, max_examples=20, deadline=None)
@given(hx=st.floats(-0.4, 0.4), hy=st.floats(-0.4, 0.4))
def test_tip_over_a_plane(cutter: Cutter, hx: float, hy: float) -> None:
    """Off by this on a slope, and the whole blend of the deck is cut low or left proud."""
    offset = DropCutter(sampled(lambda x, y: 20 + hx * x + hy * y), cutter)
    x, y = ring(15.0)
    slope = math.hypot(hx, hy)
    lift = land(cutter) * slope + cutter.corner_radius * (math.sqrt(1 + slope**2) - 1)
    np.testing.assert_allclose(offset.tip(x, y), 20 + hx * x + hy * y + lift, atol=1e-6)


@CUTTERS
@pytest.mark.parametrize("radius", [80.0, 300.0])
@pytest.mark.parametrize("away", [0.0, 2.5, 4.5, 7.0, 20.0, 35.0])
def test_tip_over_a_convex_cap(cutter: Cutter, radius: float, away: float) -> None:
    """A land on a summit rests on the summit itself, not on its rim; the rim alone would gouge."""
    offset = DropCutter(
        sampled(lambda x, y: np.sqrt(np.maximum(radius**2 - x**2 - y**2, 0.0)), half=50), cutter
    )
    beyond = max(away - land(cutter), 0.0)
    wanted = math.sqrt((radius + cutter.corner_radius) ** 2 - beyond**2) - cutter.corner_radius
    np.testing.assert_allclose(offset.tip(*ring(away)), wanted, atol=2e-4)


@CUTTERS
@pytest.mark.parametrize("away", [0.0, 1.0, 10.0, 30.0])
def test_tip_in_a_bowl(cutter: Cutter, away: float) -> None:
    """In hollow ground the rim touches first; touching in the middle would cut the walls of the
    bowl."""
    offset = DropCutter(
        sampled(lambda x, y: 200 - np.sqrt(np.maximum(150.0**2 - x**2 - y**2, 0.0))), cutter
    )
    corner = cutter.corner_radius
    wanted = 200 - math.sqrt((150 - corner) ** 2 - (away + land(cutter)) ** 2) - corner
    np.testing.assert_allclose(offset.tip(*ring(away)), wanted, atol=2e-4)


@CUTTERS
def test_tip_over_a_cone(cutter: Cutter) -> None:
    """On a cone the contact lies towards the apex by the land and the turned corner."""
    offset = DropCutter(sampled(lambda x, y: 50 - 0.2 * np.hypot(x, y)), cutter)
    for away in (20.0, 40.0):
        lift = 0.2 * land(cutter) + cutter.corner_radius * (math.sqrt(1.04) - 1)
        np.testing.assert_allclose(offset.tip(*ring(away)), 50 - 0.2 * away + lift, atol=2e-4)


@CUTTERS
def test_tip_off_the_grid_is_level_at_the_edge(cutter: Cutter) -> None:
    """Beyond the blank the path must stay at the edge height, not follow an extrapolated spline."""
    offset = DropCutter(sampled(lambda x, y: np.full_like(x, 4.2), edge=4.2), cutter)
    np.testing.assert_allclose(offset.tip([0.0, 69.0, 200.0], [0.0, 69.0, -300.0]), 4.2, atol=1e-9)


def lumps(x: Array, y: Array) -> Array:
    """Ridges, hollows and a pass, curved to a radius of about 20 mm."""
    return (
        8
        + 1.4 * np.sin(x / 7.0) * np.cos(y / 9.0)
        + 0.8 * np.exp(-((x - 10) ** 2 + (y + 8) ** 2) / 90.0)
    )


@CUTTERS
def test_tip_against_brute_force(cutter: Cutter) -> None:
    """A contact missed leaves the cutter below the ground: judged by 15,000 places under it."""
    surface = sampled(lumps, half=50)
    places = np.random.default_rng(7).uniform(-30, 30, (400, 2))
    found = DropCutter(surface, cutter).tip(places[:, 0], places[:, 1])
    brute = np.full(len(places), -math.inf)
    flat = cutter.diameter / 2 - cutter.corner_radius
    for away in np.linspace(0, cutter.radius, 61):
        z = cutter.corner_radius - math.sqrt(
            max(cutter.corner_radius**2 - max(away - flat, 0.0) ** 2, 0.0)
        )
        for angle in np.linspace(0, 2 * math.pi, 252, endpoint=False):
            x, y = places[:, 0] + away * math.cos(angle), places[:, 1] + away * math.sin(angle)
            brute = np.maximum(brute, lumps(x, y) - z)
    assert (found - brute).min() > -0.002
    assert (found - brute).max() < 0.002


def creased(x: Array, y: Array) -> Array:
    """A crease rounded to a radius of 10 mm on a tilted deck that sags a little along it, as near a
    narrow nose."""
    across = np.abs(-0.426 * y - 0.905 * x)
    slope = 0.171
    side = 10.0 * math.sin(math.atan(slope))
    rounded = 10.0 - np.sqrt(100.0 - np.minimum(across, side) ** 2)
    along = -0.426 * x + 0.905 * y
    return (
        12
        + 0.071 * x
        + 0.083 * y
        - 0.00194 * along**2
        - rounded
        - slope * np.maximum(across - side, 0.0)
    )


def test_a_wide_flat_cutter_does_not_sink_into_a_crease() -> None:
    """The crease meets the rim between places 5 mm apart: looked for at these alone, 0.09 of it
    were cut off."""
    cutter = Cutter(4, "flat", 50.8, 0.0, 2, 30.0, 40.0)
    places = np.random.default_rng(11).uniform(-25, 25, (600, 2))
    found = DropCutter(sampled(creased, half=80), cutter).tip(places[:, 0], places[:, 1])
    angles = np.linspace(0, 2 * math.pi, 20_000, endpoint=False)
    rim_x, rim_y = 25.4 * np.cos(angles), 25.4 * np.sin(angles)
    brute = np.array([creased(x + rim_x, y + rim_y).max() for x, y in places])
    assert (found - brute).min() > -0.004  # 0.0015 of it from the nodes 1 mm apart


def hill(x: Array, y: Array) -> Array:
    """A low hill on level ground, 36 wide and 0.27 high: at its top it bends to a radius of 150,
    the least that a deck has if its job says nothing."""
    away = np.minimum(np.hypot(x - 7.0, y + 4.0) / 18.0, 1.0)
    return 10.0 + 0.27 * (1.0 - away**2) ** 4


@pytest.mark.parametrize(
    "cutter",
    [Cutter(4, "flat", 50.0, 0.0, 2, 30.0, 40.0), Cutter(5, "bull", 60.0, 3.0, 2, 30.0, 40.0)],
    ids=["flat", "bull"],
)
def test_a_hill_between_axis_and_rim_is_not_cut_into(cutter: Cutter) -> None:
    """Axis and rim stand on level ground beside it: 0.24 of it were cut off."""
    found = DropCutter(sampled(hill, half=80, edge=10.0), cutter)
    angles = np.linspace(0, 2 * math.pi, 16, endpoint=False)
    for away in (0.0, 6.0, 12.0, 18.0, 22.0):
        x, y = 7.0 + away * np.cos(angles), -4.0 + away * np.sin(angles)
        # The top of the hill lies under the flat part: nothing of the ground is higher than 10.27.
        tips = found.tip(x, y)
        assert away < cutter.radius - cutter.corner_radius
        assert tips == pytest.approx(np.full(16, 10.27), abs=0.001)


@CUTTERS
def test_heights_that_are_kept_are_those_that_a_search_gives(cutter: Cutter) -> None:
    """A path laid again with some lines moved, whose heights are partly kept from before."""
    surface, draw = sampled(hill, half=80, edge=10.0), np.random.default_rng(5)
    first = draw.uniform(-60.0, 60.0, (3000, 2))
    second = np.concatenate([draw.uniform(-60.0, 60.0, (1000, 2)), first[2999:400:-1], first[:9]])
    offset = DropCutter(surface, cutter)
    for path in (first, second):
        found = offset.tip(*path.T)
        # one by one, each by an offset that knows nothing yet
        searched = np.concatenate([DropCutter(surface, cutter).tip(*some.T)
                                   for some in np.array_split(path, 5)])  # fmt: skip
        assert found.tolist() == searched.tolist()


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(st.floats(-0.02, 0.02), min_size=3, max_size=60), st.floats(-0.1, 0.1))
def test_thinned_chords_stay_in_the_band(bumps: list[float], slope: float) -> None:
    """A chord outside the band gouges convex ground or leaves hollow ground proud."""
    s = np.arange(len(bumps)) * 0.5
    points = np.column_stack([s * 0.6, s * 0.8, np.cumsum(bumps) + slope * s])
    kept = thin(points, 0.002, 0.003)
    chord = np.interp(points[:, 0], kept[:, 0], kept[:, 2])
    assert (chord - points[:, 2]).min() >= -0.002 - 1e-9
    assert (chord - points[:, 2]).max() <= 0.003 + 1e-9
    np.testing.assert_array_equal(kept[[0, -1]], points[[0, -1]])


def test_a_straight_line_is_thinned_to_its_ends() -> None:
    """Points left on straight ground make files long and machines stutter."""
    s = np.linspace(0, 100, 201)
    assert len(thin(np.column_stack([s, 0 * s, 0.01 * s]), 0.002, 0.003)) == 2
