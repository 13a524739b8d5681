"""Finishing by regions: kernels against plain loops, lines nowhere too far apart, one path,
directions up the slope."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely import LineString, Point, box

from corepath.board.deck.surface import DeckSurface
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Zero
from corepath.operations.deck.deck_finish import _climbed, _Swept, follower, left_over, regional
from corepath.operations.deck.deck_kernels import finer, guillotine, left_at, reaching
from corepath.operations.deck.deck_lines import Ends, Sheet, region_lines
from corepath.operations.deck.deck_regions import regions
from corepath.operations.deck.deck_route import routed
from corepath.operations.deck.deck_strokes import mended
from corepath.operations.deck.drop_cutter import DropCutter
from corepath.work.cutting.deck_cutter import hollow_left
from corepath.work.cutting.deck_steps import slopes_over, steps_by_axis, surface_minutes
from corepath.work.works import Deck, Work

Array = NDArray[np.float64]

FLAT = Cutter(1, "flat", 20.0, 0.0, 2, 30.0, 40.0)
BULL = Cutter(2, "bull", 20.0, 3.0, 2, 30.0, 40.0)
BALL = Cutter(3, "ball", 20.0, 10.0, 2, 30.0, 40.0)
OPEN = Ends(True, True, True, True)
SHUT = Ends(False, False, False, False)


def ground(
    height: float, along: float, across: float, size: tuple[float, float] = (160.0, 120.0)
) -> DeckSurface:
    """A ramp of even slope in the middle of level ground, rising along X or Y by a smooth step of
    `height`."""
    xs = np.arange(-size[0] / 2 - 40, size[0] / 2 + 41)
    ys = np.arange(-size[1] / 2 - 40, size[1] / 2 + 41)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    u = np.clip((along * x + across * y) / 60.0 + 0.5, 0.0, 1.0)
    return DeckSurface(xs, ys, 5.0 + height * (35 * u**4 - 84 * u**5 + 70 * u**6 - 20 * u**7), 5.0)


def work_on(
    surface: DeckSurface, cutter: Cutter, size: tuple[float, float] = (160.0, 120.0)
) -> Work:
    blank = box(-size[0] / 2, -size[1] / 2, size[0] / 2, size[1] / 2)
    return Work(
        order=8, setup="C", name="deck", cutter=cutter,
        cutting=Cutting(16000.0, 3000.0, 1500.0, 900.0, 3.0, 0.75 * cutter.diameter),
        zero=Zero(0.0, 0.0, 0.0, "the bed", True), blank=blank, stock_top=12.0, clear=22.0,
            lowest=4.9,
        park=(0.0, 0.0), arcs=True, deck=Deck(blank, surface, 12.0, 0.05, 0.01, 0.0),  # type: ignore[arg-type]
    )  # fmt: skip


@pytest.mark.parametrize("cutter", [FLAT, BULL, BALL], ids=["flat", "bull", "ball"])
def test_what_a_path_leaves_agrees_with_small_steps_along_it(cutter: Cutter) -> None:
    """The whole plan hangs on this kernel: 2,000 places of a cutter on each move are a plain and
    slower judge."""
    draw = np.random.default_rng(7)
    path = np.column_stack([draw.uniform(0, 60, 9), draw.uniform(0, 40, 9), draw.uniform(0, 2, 9)])
    x, y = draw.uniform(0, 60, 400), draw.uniform(0, 40, 400)
    corner = cutter.radius if cutter.shape == "ball" else cutter.corner_radius
    frame = np.array([0.0, 0.0, 10.0, 6.0, 4.0])
    coarse = reaching(path, cutter.profile, frame)
    asked = np.column_stack([x, y, np.full(400, -np.inf)])
    found = left_at(path, cutter.profile, asked, frame, *coarse)
    # Smaller cells list fewer moves, and what is left is the same to the last bit.
    small, *fine = finer(path, cutter.profile, frame, 8, *coarse)
    assert np.array_equal(found, left_at(path, cutter.profile, asked, small, *fine))
    # Where the search may end early, what is higher than asked for is the same to the last bit.
    enough = np.median(found)
    early = left_at(path, cutter.profile, np.column_stack([x, y, 0.0 * x + enough]), frame, *coarse)
    assert np.array_equal(early[found > enough], found[found > enough])
    assert (early >= found).all() and (early <= np.maximum(found, enough)).all()
    assert len(fine[1]) / len(fine[0]) < 0.7 * len(coarse[1]) / len(coarse[0])
    t = np.linspace(0.0, 1.0, 2001)[:, None]
    steps = np.concatenate([a + t * (b - a) for a, b in itertools.pairwise(path)])
    away = np.hypot(x[:, None] - steps[:, 0], y[:, None] - steps[:, 1])
    out = np.clip(away - (cutter.radius - corner), 0.0, corner)
    over = steps[:, 2] + corner - np.sqrt(corner**2 - out**2)
    plain = np.where(away <= cutter.radius, over, np.inf).min(axis=1)
    both = np.isfinite(found) & np.isfinite(plain)
    assert both.sum() > 300 and (np.isfinite(found) >= np.isfinite(plain)).all()
    assert (found[both] <= plain[both] + 1e-4).all()
    # At the edge of its reach the plain judge comes up to half a step short of the last place.
    assert (plain[both] - found[both]).max() < 0.02


def test_the_split_is_the_best_of_all() -> None:
    """Dynamic programming against trying every way of cutting a small grid."""
    draw = np.random.default_rng(3)
    costs = [
        np.pad(draw.uniform(0.0, 9.0, (4, 3)).cumsum(0).cumsum(1), ((1, 0), (1, 0)))
        for _ in range(2)
    ]
    turn, link = 0.7, 1.3

    def least(i: int, end: int, j: int, top: int) -> float:
        def one(c: Array, width: int) -> float:
            return float(c[end, top] - c[i, top] - c[end, j] + c[i, j]) + width * turn + link

        ways = [one(costs[0], top - j), one(costs[1], end - i)]
        ways += [least(i, k, j, top) + least(k, end, j, top) for k in range(i + 1, end)]
        ways += [least(i, end, j, k) + least(i, end, k, top) for k in range(j + 1, top)]
        return min(ways)

    n, m = costs[0].shape
    best, choice = np.empty((n, n, m, m), np.float32), np.zeros((n, n, m, m), np.int16)
    guillotine(costs[0], costs[1], turn, turn, link, best, choice)
    assert best[0, 4, 0, 3] == pytest.approx(least(0, 4, 0, 3), abs=0.1)
    assert best[1, 3, 0, 2] == pytest.approx(least(1, 3, 0, 2), abs=0.1)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.booleans())
def test_lines_lie_nowhere_farther_apart_than_allowed(seed: int, level_sides: bool) -> None:
    """Across every bin the gaps between neighbouring lines keep within the least step there, sides
    included."""
    draw = np.random.default_rng(seed)
    u, v = np.meshgrid(np.arange(120) + 0.5, np.arange(80) + 0.5, indexing="ij")
    spot = draw.uniform(20, 60, 2)
    table = 12.0 - 9.0 * np.exp(-(((u - spot[0] - 20) / 25) ** 2) - ((v - spot[1]) / 18) ** 2)
    if level_sides:
        table[:, :14] = table[:, -14:] = 12.0
    sheet = Sheet(table, 0.0, 0.0, 120.0, 80.0, 1.0)
    ends = Ends(False, False, level_sides, level_sides)
    through, extra = region_lines(sheet, 12.0, 10.0, ends)
    for k in range(8, 112):
        places = [line[0, 1] for line in through]
        for line in extra:
            if line[0, 0] <= k + 0.5 <= line[-1, 0]:
                places.append(float(np.interp(k + 0.5, line[:, 0], line[:, 1])))
        places.sort()
        for low, high in itertools.pairwise(places):
            # An extra line glides to its next place over some bins: there it may be a little off
            # the even one.
            assert (
                high - low
                <= 1.35 * float(table[max(k - 6, 0) : k + 7, int(low) : int(high) + 1].max()) + 0.1
            )
    gaps = [b[0, 1] - a[0, 1] for a, b in itertools.pairwise(through)]
    assert max(gaps) <= 12.0 + 1e-9


def test_one_path_goes_along_every_line() -> None:
    """A line left out is a strip left standing; a jump is a cut through the board."""
    lines = [np.array([[0.0, float(v)], [100.0 - v, float(v)]]) for v in range(0, 60, 7)]
    path = routed(lines, (0.0, -5.0), 0.0)
    for line in lines:
        middle = line.mean(axis=0)
        a, b = path[:-1], path[1:]
        run = b - a
        share = np.clip(
            ((middle - a) * run).sum(axis=1) / np.maximum((run**2).sum(axis=1), 1e-12), 0, 1
        )
        assert np.hypot(*(a + share[:, None] * run - middle).T).min() < 1e-9
    steps = np.hypot(*np.diff(path, axis=0).T)
    assert steps.sum() < sum(100.0 - v for v in range(0, 60, 7)) + 8 * (7 * math.pi / 2 + 7) + 1e-6


@pytest.mark.parametrize(("along", "across"), [(1.0, 0.0), (0.0, 1.0)])
def test_a_flat_end_is_led_up_the_slope(along: float, across: float) -> None:
    """Along a contour a flat end leaves terraces: lines must run the way the ground rises."""
    surface = ground(6.0, along, across)
    bounds = (-80.0, -60.0, 80.0, 60.0)
    tables = [steps_by_axis(surface, FLAT, 0.05, 15.0, bounds, across=way) for way in (False, True)]
    found = regions(tables[0], tables[1], 15.0, 80.0, 60.0, 1.0)
    middle = next(r for r in found if r.left <= 0.0 < r.right and r.low <= 0.0 < r.high)
    assert middle.across is (across > 0.0)
    assert sum((r.right - r.left) * (r.high - r.low) for r in found) == pytest.approx(160.0 * 120.0)


def test_a_penalty_keeps_lines_along_the_grain_where_it_hardly_matters() -> None:
    """On level ground both ways cost the same but for turns; a penalty must decide for the
    grain."""
    surface = ground(0.0, 1.0, 0.0, (120.0, 160.0))
    bounds = (-60.0, -80.0, 60.0, 80.0)
    tables = [steps_by_axis(surface, FLAT, 0.05, 15.0, bounds, across=way) for way in (False, True)]
    assert all(r.across for r in regions(tables[0], tables[1], 15.0, 60.0, 80.0, 1.0))
    assert not any(r.across for r in regions(tables[0], tables[1], 15.0, 60.0, 80.0, 1.5))


@pytest.mark.parametrize("cutter", [FLAT, BULL], ids=["flat", "bull"])
def test_the_path_keeps_within_the_ridges_and_well_under_lines_of_a_ball(cutter: Cutter) -> None:
    surface = ground(6.0, 0.6, 0.8)
    work = work_on(surface, cutter)
    assert work.deck is not None
    offset = DropCutter(surface, cutter)
    bounds = work.deck.area.bounds
    path = follower(offset)(regional(work, work.deck, offset, bounds, open_sides=True))
    left = left_over(path, work, work.deck, offset)
    assert left.unreached == 0 and left.low > -0.003 and left.high <= 0.05
    way = float(np.sqrt((np.diff(path, axis=0) ** 2).sum(axis=1)).sum())
    slopes = slopes_over(surface, bounds)
    least, _ = surface_minutes(slopes, surface.step, cutter, 0.05, 15.0, 1.0)
    lines_of_a_ball = 160.0 * 120.0 / (2.0 * math.sqrt(2 * 10.0 * 0.05 - 0.05**2))
    assert least < way < 0.65 * lines_of_a_ball


@pytest.mark.parametrize("cutter", [FLAT, BULL, BALL], ids=["flat", "bull", "ball"])
def test_hollows_too_tight_for_a_cutter(cutter: Cutter) -> None:
    """In a bowl of radius 150 a flat end of 10 rests on its rim 150 − √(150² − 10²) above the
    bottom; a ball fits.

    A bull's corner of 3 touches where it lies in a bowl of 147, its centre 7 off the axis. With a
    flat end the grid is good to 0.05.
    """
    xs = ys = np.arange(-80.0, 81.0)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    bowl = DeckSurface(xs, ys, 155.0 - np.sqrt(150.0**2 - x**2 - y**2), 5.0)
    expected = {
        "flat": 150.0 - math.sqrt(150.0**2 - 10.0**2),
        "bull": 147.0 - math.sqrt(147.0**2 - 7.0**2),
        "ball": 0.0,
    }[cutter.shape]
    near = 0.003 if cutter is BALL else 0.05
    assert hollow_left(bowl, cutter) == pytest.approx(expected, abs=near)
    level = DeckSurface(xs, ys, np.full_like(bowl.grid, 5.0), 5.0)
    assert hollow_left(level, cutter) == 0.0


def test_a_ball_that_fits_a_tight_crease_is_not_said_to_leave_any() -> None:
    """Waves 24 long and 2.1 high bend up to 1.05 (2 pi / 24)² = 1 / 13.9: a ball of radius 12 rolls
    through, which nodes 1 mm apart made 0.01 of."""
    xs = ys = np.arange(-75.0, 76.0)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    # level beyond the crests on either side, so that the ends of the grid have no part in it
    aside = np.clip(x * math.cos(0.4) + y * math.sin(0.4), -36.0, 36.0)
    waves = DeckSurface(xs, ys, 8.0 - 1.05 * np.cos(aside * math.pi / 12.0), 9.05)
    assert hollow_left(waves, Cutter(1, "ball", 24.0, 12.0, 2, 30.0, 40.0)) <= 0.003


def test_strokes_go_through_every_place_left_high() -> None:
    """A ridge that stays prints through the skin: each place gets a stroke up its slope, near
    enough to take it."""
    draw = np.random.default_rng(5)
    axis = np.concatenate(
        [draw.normal((10, 10), 1.5, (40, 2)), draw.normal((70, 30), 2.0, (40, 2)), [[40.0, 39.0]]]
    )
    way = (
        np.tile([0.6, 0.8], (len(axis), 1)) * np.where(np.arange(len(axis)) % 2, 1.0, -1.0)[:, None]
    )
    track = np.array([[0.0, 0.0], [0.0, 40.0]])
    path = mended(track, axis, way, (0.0, 0.0, 80.0, 40.0))
    assert np.array_equal(path[:2], track) and path.min() >= 0.0 and (path <= (80.0, 40.0)).all()
    strokes = LineString(path[2:])
    assert max(strokes.distance(Point(*place)) for place in axis.tolist()) < 1.3
    assert strokes.length < 500.0


def test_strokes_far_from_one_another_are_run_where_the_path_passes_by() -> None:
    """Three places left high beside a long path back and forth: each is taken on the last way past
    it, with a short way there and back, and the path goes on as it was; none behind it, over all
    the deck."""
    rows = [[(0.0, y), (800.0, y)] for y in np.arange(0.0, 100.0, 20.0)]
    track = np.array([place for k, row in enumerate(rows) for place in row[:: 1 - 2 * (k % 2)]])
    axis = np.array([[100.0, 42.0], [700.0, 42.0], [400.0, 2.0]])
    way = np.tile([0.0, 1.0], (3, 1))
    path = mended(track, axis, way, (0.0, 0.0, 800.0, 80.0))
    ends = np.concatenate([axis + np.multiply(4.0, k * way) for k in (-1, 1)]).clip(0.0)
    assert all((np.abs(path - place).sum(axis=1) < 1e-9).any() for place in ends)
    kept = [int(np.flatnonzero((path == place).all(axis=1))[0]) for place in track]
    assert kept == sorted(kept) and np.array_equal(path[-1], track[-1])
    assert LineString(path).length - LineString(track).length < 3 * 30.0
    assert (np.hypot(*np.diff(path, axis=0).T) > 0.0).all()


def test_the_highest_of_a_ridge_is_found_between_the_places_tried() -> None:
    """A ball of radius 10 set down every 4 mm, over level ground: the cusp over the middle of four
    stands highest.

    It lies sqrt(8) from each: 10 - sqrt(100 - 8) = 0.4083 high. Places two millimetres apart, off
    the middle, miss it.
    """
    ball = Cutter(4, "ball", 20.0, 10.0, 2, 30.0, 40.0)
    surface = ground(0.0, 1.0, 0.0)
    work, bounds = work_on(surface, ball), (-20.0, -20.0, 20.0, 20.0)
    spots = [(x, y) for x in np.arange(-24.0, 25.0, 4.0) for y in np.arange(-24.0, 25.0, 4.0)]
    path = np.array([(x, y, z) for x, y in spots for z in (30.0, 5.0, 30.0)])
    places = np.array(
        [
            (x + 0.4, y + 0.4)
            for x in np.arange(-20.0, 19.0, 2.0)
            for y in np.arange(-20.0, 19.0, 2.0)
        ]
    )
    offset, cusp = DropCutter(surface, ball), 10.0 - math.sqrt(100.0 - 8.0)
    swept = _Swept.by(path, work, bounds, offset)
    found = swept.heights(places)
    assert found.max() < 0.8 * cusp
    at, best = _climbed(swept, places, found, bounds, 0.4)
    assert best.max() == pytest.approx(cusp, abs=0.001)
    assert np.abs(np.abs(at[best > 0.4] % 4.0 - 2.0)).max() < 0.1


class _Crest:
    """A ridge that climbs to its crest at 0.06 a mm and ends there in a cliff. The crest is 0.0536
    high at (0, -0.125) and falls by 0.0048 a mm, while it nears the X axis by 0.089 a mm."""

    def heights(self, places: Array, enough: Array | float = -np.inf) -> Array:
        x, y = places.T
        beside = y - (0.089 * x - 0.125)
        high = 0.0536 - 0.0048 * x - 0.06 * beside
        return np.where((beside < 0.0) | (x < 0.0), 0.0, high)

    def split(self, places: int) -> _Crest:
        return self


def test_the_highest_of_a_crest_is_found_where_a_long_step_leads_along_it() -> None:
    """Along the X axis the ground rises, since the crest comes nearer, by 0.0005 a mm; the crest
    itself is highest at the other end. A place there stood 0.0028 too high in a drawn job."""
    ridge, places = _Crest(), np.array([(x, 0.0) for x in (0.2, 0.6, 1.0, 1.4)])
    found = ridge.heights(places)
    assert found.max() < 0.047
    _, best = _climbed(ridge, places, found, (-3.0, -3.0, 3.0, 3.0), 0.0493)
    assert best.max() > 0.0520
