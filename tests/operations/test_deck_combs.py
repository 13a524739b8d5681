"""Finishing by combs: nothing left out, nothing too far apart, short links, and only where it is
shorter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import MultiLineString, Point, Polygon

from corepath.board.deck.surface import DeckSurface
from corepath.operations.deck import deck_finish
from corepath.operations.deck.combs.chain import ChainLine, chained
from corepath.operations.deck.combs.comb_lines import combs, sloping
from corepath.operations.deck.combs.level_lines import LevelGround, level_ground, level_lines
from corepath.operations.deck.combs.planes import ALONG, UPRIGHT, outward
from corepath.operations.deck.combs.rim_loops import rim_loops
from corepath.operations.deck.deck_finish import follower, left_over, regional
from corepath.operations.deck.drop_cutter import DropCutter
from corepath.work.cutting.deck_steps import StepTable, allowed_steps
from tests.operations.test_deck_finish import FLAT, work_on

Array = NDArray[np.float64]

SIZE = (300.0, 160.0)
BOUNDS = (0.0, 0.0, *SIZE)
WIDEST, FLAT_RADIUS = 12.0, 8.0


def ring(size: tuple[float, float] = SIZE) -> tuple[Array, Array]:
    """(n, m) how far the middles of bins lie from a smaller rectangle's outline, mm (0 on it), and
    which of its sides is nearest: 0 for one along X, 1 for one along Y."""
    x, y = np.meshgrid(np.arange(size[0]) + 0.5, np.arange(size[1]) + 0.5, indexing="ij")
    to_x = np.minimum(x, size[0] - x) - 50.0
    to_y = np.minimum(y, size[1] - y) - 45.0
    return np.abs(np.minimum(to_x, to_y)), (to_x < to_y).astype(float)


def tables() -> list[StepTable]:
    """Ground that slopes towards a rectangle's sides: steps up the slope of 4 to 12, along it 1."""
    away, along_y = ring()
    up = np.clip(4.0 + 0.4 * away, 4.0, WIDEST)
    beside = np.where(away < 20.0, 1.0, WIDEST)
    return [
        StepTable(np.where(along_y > 0.5, up, beside), 0.0, 0.0, 1.0, False),
        StepTable(np.where(along_y > 0.5, beside, up), 0.0, 0.0, 1.0, True),
    ]


def test_teeth_lie_nowhere_farther_apart_than_allowed() -> None:
    """Each bin of the slope is within half the step there of a line of its own direction; a whole
    comb may lie aside by what its lines glide over the bins beside."""
    steps = tables()
    sloped = sloping(steps[0], WIDEST)
    lines: dict[bool, list[Array]] = {False: [], True: []}
    for comb in combs(steps, sloped, WIDEST, FLAT_RADIUS, 1.0):
        lines[comb.plane is UPRIGHT] += [comb.plane.xy(line) for line in comb.through + comb.extra]
    _, along_y = ring()
    for across in (False, True):
        near = MultiLineString([line.tolist() for line in lines[across]])
        # Well inside of one side: at the corners either direction may have a bin.
        x, y = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5, indexing="ij")
        inside = sloped & (along_y == (0.0 if across else 1.0))
        inside &= (np.abs(x - 150.0) < 60.0) if across else (np.abs(y - 80.0) < 10.0)
        at = np.argwhere(inside)
        assert len(at) > 300
        for i, j in at[::7]:
            step = float(steps[1 if across else 0].table[i, j])
            assert near.distance(Point(i + 0.5, j + 0.5)) <= 0.5 * 1.35 * step + 0.1


def test_teeth_leave_the_level_ground_alone() -> None:
    """No line of a comb is led farther than its spare bins and seam over level ground."""
    steps = tables()
    sloped = sloping(steps[0], WIDEST)
    slope = np.argwhere(sloped) + 0.5
    found = combs(steps, sloped, WIDEST, FLAT_RADIUS, 1.0)
    assert {comb.plane for comb in found} == {ALONG, UPRIGHT}
    for comb in found:
        for end in comb.plane.xy(
            np.concatenate([one[[0, -1]] for one in comb.through + comb.extra])
        ):
            assert np.hypot(*(slope - end).T).min() < 9.0


def test_level_lines_finish_all_that_combs_leave() -> None:
    steps = tables()
    sloped = sloping(steps[0], WIDEST)
    lines = level_lines(
        level_ground(steps[0], sloped, FLAT_RADIUS, BOUNDS), (WIDEST, FLAT_RADIUS), BOUNDS
    )
    reached = MultiLineString([line.tolist() for line in lines])
    slope = np.argwhere(sloped) + 0.5
    x, y = np.meshgrid(np.arange(1.0, 300.0, 3.0), np.arange(1.0, 160.0, 3.0), indexing="ij")
    for place in np.column_stack([x.ravel(), y.ravel()]):
        combed = np.hypot(*(slope - place).T).min() < FLAT_RADIUS - 1.0
        # The turns between lines sweep what the disc leaves at the sides of the blank.
        side = min(place[0], SIZE[0] - place[0]) < FLAT_RADIUS
        assert combed or side or reached.distance(Point(place)) < FLAT_RADIUS
    # broken where combs have been: less than lines from side to side
    straight = SIZE[0] * math.ceil(SIZE[1] / WIDEST)
    assert reached.length < 0.8 * straight


def test_a_chain_runs_along_every_line_by_short_links() -> None:
    """Lines left behind by a greedy order are fetched on the way, not afterwards."""
    teeth = [
        ChainLine(np.array([[0.0, x], [60.0, x]])[:: 1 if k % 2 else -1], UPRIGHT, 0.8)
        for k, x in enumerate(np.arange(0.0, 120.0, 6.0).tolist())
    ]
    long = [ChainLine(np.array([[0.0, y], [120.0, y]]), ALONG, 0.0) for y in (80.0, 92.0, 104.0)]
    lines = [*teeth, *long]
    behind = [*teeth[3::7], *teeth[5::9]]
    order = [line for line in lines if not any(line is one for one in behind)] + behind
    bounds = (-20.0, -20.0, 140.0, 120.0)
    path = chained(order, bounds)
    a, run = path[:-1], np.diff(path, axis=0)
    for line in lines:
        middle = line.plane.xy(line.places).mean(axis=0)
        share = ((middle - a) * run).sum(axis=1) / np.maximum((run**2).sum(axis=1), 1e-12)
        assert np.hypot(*(a + np.clip(share, 0, 1)[:, None] * run - middle).T).min() < 1e-9
    way = float(np.hypot(*run.T).sum())
    # all lines, a half circle or less between neighbours, two ways from the teeth to the long ones
    assert way < 20 * 60.0 + 3 * 120.0 + 19 * 6.0 * math.pi / 2.0 + 2 * 12.0 * math.pi / 2.0 + 80.0


def dome() -> DeckSurface:
    """A flat top 60 wide, blends 40 wide all round it, and a level rim."""
    xs, ys = np.arange(-190.0, 191.0), np.arange(-120.0, 121.0)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    away = np.hypot(np.maximum(np.abs(x) - 60.0, 0.0), np.maximum(np.abs(y) - 15.0, 0.0))
    u = np.clip(1.0 - away / 40.0, 0.0, 1.0)
    height = 5.0 + 3.0 * (35 * u**4 - 84 * u**5 + 70 * u**6 - 20 * u**7)
    return DeckSurface(xs, ys, height, 5.0)


@pytest.mark.whole
def test_the_shorter_way_is_kept_and_its_ridges_are_as_low(monkeypatch: pytest.MonkeyPatch) -> None:
    surface = dome()
    work = work_on(surface, FLAT, SIZE)
    assert work.deck is not None
    offset, bounds = DropCutter(surface, FLAT), work.deck.area.bounds
    ground = deck_finish._Ground(work, work.deck, offset, bounds, bounds)
    by_combs = regional(work, work.deck, offset, bounds, open_sides=True)
    left = left_over(follower(offset)(by_combs), work, work.deck, offset)
    assert left.unreached == 0 and left.low > -0.003 and left.high <= 0.05
    # Combs that would take long: what is kept is the other way, which is longer here.
    slow = np.column_stack([np.tile([-140.0, 140.0], 400), np.repeat(np.linspace(-79, 79, 400), 2)])
    monkeypatch.setattr(deck_finish, "combed", lambda *_: slow)
    by_regions = regional(work, work.deck, offset, bounds, open_sides=True)
    assert len(by_regions) != len(slow)
    assert ground.cost(by_combs) < 0.95 * ground.cost(by_regions) < ground.cost(slow)


OVAL = Polygon(
    [(150 + 100 * math.cos(a), 80 + 45 * math.sin(a)) for a in np.linspace(0, 6.28, 400)]
)


def test_lines_square_to_an_outline_stand_out_from_it() -> None:
    square = outward(OVAL)
    assert square.length == pytest.approx(OVAL.exterior.length, rel=1e-4)
    v = np.linspace(0.0, square.length, 90)
    outside, inside = (square.xy(np.column_stack([np.full(90, u), v])) for u in (12.0, -12.0))
    for place in outside:
        assert not OVAL.contains(Point(place))
        assert OVAL.exterior.distance(Point(place)) == pytest.approx(12.0, abs=0.03)
    for place in inside:
        assert OVAL.contains(Point(place))
    # the other way round the same
    turned = outward(Polygon(list(OVAL.exterior.coords)[::-1]))
    assert not OVAL.contains(Point(turned.xy(np.array([[12.0, 50.0]]))[0]))


@pytest.mark.parametrize("angle", [0.0, 0.5, math.pi / 2.0, 2.3])
def test_steps_along_any_way_are_those_of_the_ground_turned(angle: float) -> None:
    """A bent slope falling along `angle`, and lines that way: the step is that of the same ground
    falling along X and lines along X, whichever way it lies."""
    s = np.arange(-30.0, 31.0)
    x, y = np.meshgrid(s, s, indexing="ij")
    c, d = math.cos(angle), math.sin(angle)

    def steps(a: float, b: float, ways: Array | None) -> Array:
        along, aside = a * x + b * y, a * y - b * x
        heights = 0.08 * along - 0.0004 * aside**2 + 0.0002 * along * aside
        return allowed_steps(heights, 1.0, FLAT, 0.05, ways)

    ways = np.broadcast_to(np.array([c, d]), (61, 61, 2))
    assert steps(c, d, ways)[30, 30] == pytest.approx(steps(1.0, 0.0, None)[30, 30], rel=1e-6)
    if angle:
        assert steps(c, d, None)[30, 30] < 0.999 * steps(c, d, ways)[30, 30]


def test_a_sliver_narrower_than_the_places_tried_gets_a_stroke() -> None:
    """Two lines whose discs leave 0.1 mm between them, where no place is tried: a job kept it at
    full height."""
    surface = DeckSurface(
        np.arange(-120.0, 121.0), np.arange(-100.0, 101.0), np.full((241, 201), 5.0), 5.0
    )
    size = (80.0, 40.0)
    work = work_on(surface, FLAT, size)
    assert work.deck is not None
    offset, bounds = DropCutter(surface, FLAT), work.deck.area.bounds
    ground = deck_finish._Ground(work, work.deck, offset, bounds, bounds)
    places = deck_finish._tried(bounds, deck_finish._square(bounds))
    # the widest gap without any place: lines as far from its sides as their discs reach
    rows = np.sort(places[:, 1])
    rows = rows[np.abs(rows) < 5.0]
    k = int(np.argmax(np.diff(rows)))
    low, high = float(rows[k]), float(rows[k + 1])
    middle, half = 0.5 * (low + high), min(0.05, 0.49 * (high - low))
    ys = [middle - half - 30.0, middle - half - 10.0, middle + half + 10.0, middle + half + 30.0]
    track = np.array([(s * 60.0, y) for y in ys for s in (-1.0, 1.0)])[[0, 1, 3, 2, 4, 5, 7, 6]]
    track = np.concatenate([track[:4], [[-60.0, 70.0], [-60.0, 70.0]], track[4:]])
    # from the lower pair to the upper one far round the ground
    assert np.isfinite(ground.swept(track).heights(places)).all()
    sliver = np.array([[0.0, middle]])
    assert np.isposinf(ground.swept(track).heights(sliver)).all()
    plain, _ = deck_finish._mended(track, ground)
    assert np.isposinf(ground.swept(plain).heights(sliver)).all()
    seen, clean = deck_finish._mended(track, ground, deck_finish._SLIM)
    assert clean and ground.swept(seen).heights(sliver)[0] <= 0.05


@pytest.mark.parametrize(("inner", "loops"), [(80.0, 1), (66.0, 2)])
def test_loops_round_the_rim_finish_all_of_a_ring(inner: float, loops: int) -> None:
    """Ground up to the edge of what is finished, a circle of 100, from outside the combs: one loop
    of a flat end of 12.5 takes up to 24 of it, a second one what is left. Closed, and by the area
    that the discs sweep nothing is left out; nor does a loop run beyond its edge by more than 1."""
    flat, middles = 12.5, np.arange(-110.0, 110.0) + 0.5
    away = np.hypot(middles[:, None], middles[None, :])
    needed = (away < 101.0) & (away > inner)
    ground = LevelGround(needed, middles, middles, (0, len(middles)), 1.0)
    finished = Point(0.0, 0.0).buffer(100.0, quad_segs=200)
    found, left = rim_loops(ground, finished, 18.75, flat)
    tracks = [line.xy(line.places) for line in found]
    assert len(found) == loops and not left.needed.any()
    assert all(np.allclose(track[0], track[-1]) for track in tracks)
    swept = MultiLineString(tracks).buffer(flat, quad_segs=200)
    ring = finished.difference(Point(0.0, 0.0).buffer(inner, quad_segs=200))
    assert ring.difference(swept).area < 1e-6
    assert swept.difference(finished.buffer(1.0)).is_empty


def test_a_second_loop_goes_only_where_the_first_leaves_something() -> None:
    """Ground that is wider over a quarter of the ring alone: a second stretch as long as that, and
    what lies far inside is left to other lines."""
    middles = np.arange(-110.0, 110.0) + 0.5
    x, y = np.meshgrid(middles, middles, indexing="ij")
    away = np.hypot(x, y)
    needed = (away < 100.0) & (away > np.where((x > 0.0) & (y > 0.0), 66.0, 80.0))
    needed |= away < 30.0
    ground = LevelGround(needed, middles, middles, (0, len(middles)), 1.0)
    finished = Point(0.0, 0.0).buffer(100.0, quad_segs=200)
    (first, second), left = rim_loops(ground, finished, 18.75, 12.5)
    assert len(first.guide) * first.apart == pytest.approx(2.0 * math.pi * 88.0, rel=0.01)
    assert len(second.guide) * second.apart == pytest.approx(0.5 * math.pi * 69.25, abs=6.0)
    assert np.array_equal(left.needed, away < 30.0)
