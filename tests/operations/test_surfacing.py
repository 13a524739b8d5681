"""Deck paths judged by an exact simulation of the cutter: nothing gouged, ridges and leave as asked
for."""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import box

from corepath.board.deck.surface import DeckSurface
from corepath.errors import CorepathError
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Kind, Move, Program, Zero
from corepath.operations.deck import surfacing
from corepath.work.cutting.deck_rough import rough_left
from corepath.work.cutting.deck_steps import level_step
from corepath.work.keepoff import spared
from corepath.work.works import Deck, Obstacle, Work

Array = NDArray[np.float64]

LENGTH, WIDTH, TOP, EDGE = 240.0, 110.0, 11.9, 4.2

FLAT = Cutter(1, "flat", 10.0, 0.0, 2, 30.0, 40.0)
BULL = Cutter(2, "bull", 12.0, 2.0, 2, 30.0, 40.0)
BALL = Cutter(3, "ball", 10.0, 5.0, 2, 30.0, 40.0)
WIDE = Cutter(5, "bull", 20.0, 5.0, 2, 30.0, 40.0)
SHAPES = pytest.mark.parametrize(
    "cutter",
    [FLAT, BULL, BALL, pytest.param(WIDE, marks=pytest.mark.slow)],
    ids=["flat", "bull", "ball", "wide-bull"],
)
BANDS = [
    pytest.param(
        cutter, scallop, id=f"{cutter.shape}{cutter.diameter:g}-{scallop:g}",
        marks=pytest.mark.slow if slow else ()
    )
    for cutter, scallop, slow in (
        (FLAT, 0.05, False), (FLAT, 0.15, False), (BULL, 0.05, False), (BULL, 0.15, True),
        (BALL, 0.05, False), (BALL, 0.15, False), (WIDE, 0.05, True), (WIDE, 0.15, True),
    )
]  # fmt: skip


def height(x: Array, y: Array) -> Array:
    u = np.clip(1.25 - np.hypot((x - 12.0) / 75.0, (y + 4.0) / 34.0), 0.0, 1.0)
    blend = 35 * u**4 - 84 * u**5 + 70 * u**6 - 20 * u**7
    tail = np.clip((x + 110.0) / 60.0, 0.0, 1.0) * np.clip((100.0 - x) / 60.0, 0.0, 1.0)
    ridge = 1.2 * (tail**2 * (3 - 2 * tail)) * np.exp(-(((y - 24.0) / 15.0) ** 2))
    return EDGE + (5.0 - 0.008 * x) * blend + ridge


def hill() -> DeckSurface:
    xs = np.arange(-160.0, 161.0)
    ys = np.arange(-95.0, 96.0)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    return DeckSurface(xs, ys, height(x, y), EDGE)


def make_work(
    cutter: Cutter, *, rough: float = 0.0, depth: float = 3.0, scallop: float = 0.05, **more: Any
) -> Work:
    blank = box(-LENGTH / 2, -WIDTH / 2, LENGTH / 2, WIDTH / 2)
    return Work(
        order=7 if rough else 8,
        setup="C",
        name="deck-rough" if rough else "deck",
        cutter=cutter,
        cutting=Cutting(16000.0, 3000.0, 1500.0, 900.0, depth, 0.75 * cutter.diameter),
        zero=Zero(0.0, 0.0, 0.0, "the bed", True),
        blank=blank,
        stock_top=TOP,
        clear=21.9,
        lowest=EDGE - 0.01,
        park=(0.0, 0.0),
        arcs=True,
        deck=Deck(blank, more.pop("surface", hill()), TOP, scallop, 0.01, rough),
        **more,
    )


def only(programs: tuple[Program, ...]) -> Program:
    (made,) = programs
    return made


def planned(
    cutter: Cutter, *, rough: float = 0.0, depth: float = 3.0, scallop: float = 0.05
) -> Program:
    """The one program over the hill."""
    return _planned(cutter, rough, depth, scallop)


@functools.cache
def _planned(cutter: Cutter, rough: float, depth: float, scallop: float) -> Program:
    return only(
        surfacing.deck_programs(make_work(cutter, rough=rough, depth=depth, scallop=scallop))
    )


def left_at(moves: tuple[Move, ...], cutter: Cutter, x: Array, y: Array) -> Array:
    """Height that straight moves leave at the places: exact, by golden section on each move in
    reach.

    The cutting surface over a place is convex along a move, so one minimum lies within the cutter's
    reach.
    """
    ends = np.array([(move.x, move.y, move.z) for move in moves])
    start, along = ends[:-1], np.diff(ends, axis=0)
    tree = shapely.STRtree(shapely.linestrings(np.stack([start[:, :2], ends[1:, :2]], axis=1)))
    place, move = tree.query(
        shapely.points(x, y), predicate="dwithin", distance=cutter.radius - 1e-9
    )
    a, d = start[move], along[move]
    w = np.column_stack([x, y])[place] - a[:, :2]
    square = (d[:, :2] ** 2).sum(axis=1)
    safe = np.where(square > 0, square, 1.0)
    foot = np.where(square > 0, (w * d[:, :2]).sum(axis=1) / safe, 0.0)
    aside = np.maximum((w**2).sum(axis=1) - foot**2 * square, 0.0)
    reach = np.where(square > 0, np.sqrt(np.maximum(cutter.radius**2 - aside, 0.0) / safe), 1.0)
    low, high = np.clip(foot - reach, 0, 1), np.clip(foot + reach, 0, 1)
    corner, land = cutter.corner_radius, cutter.radius - cutter.corner_radius

    def over(t: Array) -> Array:
        out = np.clip(np.hypot(w[:, 0] - t * d[:, 0], w[:, 1] - t * d[:, 1]) - land, 0.0, corner)
        return a[:, 2] + t * d[:, 2] + corner - np.sqrt(corner**2 - out**2)

    values = np.minimum(over(low), over(high))
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(32):
        p, q = high - golden * (high - low), low + golden * (high - low)
        falls = over(p) > over(q)
        low, high = np.where(falls, p, low), np.where(falls, high, q)
    result = np.full(len(x), np.inf)
    np.minimum.at(result, place, np.minimum(values, over((low + high) / 2)))
    return result


def places() -> tuple[Array, Array]:
    """Random places, four fine sections across, two along, and the corners of the blank."""
    draw = np.random.default_rng(11)
    across = np.linspace(-WIDTH / 2, WIDTH / 2, 2500)
    along = np.linspace(-LENGTH / 2, LENGTH / 2, 2500)
    parts = [
        (draw.uniform(-LENGTH / 2, LENGTH / 2, 6000), draw.uniform(-WIDTH / 2, WIDTH / 2, 6000))
    ]
    parts += [(np.full(2500, x), across) for x in (-120.0, -70.3, 11.9, 85.0)]
    parts += [(along, np.full(2500, y)) for y in (-20.2, 31.0)]
    parts += [(np.array([-1.0, -1, 1, 1]) * LENGTH / 2, np.array([-1.0, 1, -1, 1]) * WIDTH / 2)]
    return np.concatenate([x for x, _ in parts]), np.concatenate([y for _, y in parts])


@pytest.mark.parametrize(("cutter", "scallop"), BANDS)
def test_finish_leaves_the_deck_within_its_band(cutter: Cutter, scallop: float) -> None:
    """Below, the board is thinner than designed; above, a thin skin prints the ridges."""
    made = planned(cutter, scallop=scallop)
    x, y = places()
    left = left_at(made.moves, cutter, x, y) - height(x, y)
    assert left.min() > -0.01
    assert left.max() < scallop + 0.01


@SHAPES
def test_finish_steps_wide_where_it_may(cutter: Cutter) -> None:
    """Lines closer than the ridges ask for cost minutes: level ground gets the widest allowed."""
    flat = hill()
    level = DeckSurface(flat.xs, flat.ys, np.full_like(flat.grid, EDGE), EDGE)
    work = make_work(cutter, surface=level)
    ends = np.array(
        [
            (move.x, move.y)
            for move in only(surfacing.deck_programs(work)).moves
            if move.kind != Kind.RAPID
        ]
    )
    step = level_step(cutter, 0.05 - 0.004, work.cutting.stepover)
    lines = math.ceil(WIDTH / step) + 1
    assert (
        np.hypot(*np.diff(ends, axis=0).T).sum()
        <= lines * (LENGTH + math.pi / 2 * step) + 2 * cutter.diameter
    )


def test_level_step_agrees_with_the_formula_of_handbooks() -> None:
    """s = 2·sqrt(2rh − h²), about sqrt(8rh): common handbook formula, from memory; figures worked
    by hand."""
    small = Cutter(1, "ball", 6.0, 3.0, 2, 20.0, 30.0)
    assert level_step(small, 0.01, 99.0) == pytest.approx(0.48949, abs=1e-5)
    assert level_step(small, 0.01, 99.0) == pytest.approx(math.sqrt(8 * 3 * 0.01), rel=2e-3)
    assert level_step(BULL, 0.063508, 99.0) == pytest.approx(9.0, abs=1e-4)
    assert level_step(FLAT, 0.01, 7.5) == 7.5


@SHAPES
@pytest.mark.parametrize("rough", [0.0, 0.5])
def test_moves_keep_to_the_rules_of_a_pass(cutter: Cutter, rough: float) -> None:
    """A rapid sideways below the safe height or a plunge into the blank breaks the cutter or burns
    the wood."""
    work = make_work(cutter, rough=rough)
    made = planned(cutter, rough=rough)
    assert made.stem == ("07-C-deck-rough" if rough else "08-C-deck")
    (stretch,) = made.passes
    for end in (stretch.moves[0], stretch.moves[-1]):
        assert (end.kind, end.z) == (Kind.RAPID, work.clear)
    touching = work.blank.buffer(cutter.radius)
    for before, move in itertools.pairwise(stretch.moves):
        moved = math.hypot(move.x - before.x, move.y - before.y)
        if move.kind is Kind.RAPID:
            assert moved == 0.0 or before.z == move.z == work.clear
            assert move.z >= TOP + 1.0 or move.z > before.z
        else:
            assert move.feed > 0.0
            if moved == 0.0 and move.z < before.z and not rough:
                assert not touching.intersects(shapely.Point(move.x, move.y))
    if not rough:
        assert sum(move.kind is Kind.RAPID for move in stretch.moves) == 3


@SHAPES
@pytest.mark.parametrize("depth", [1.5, 3.0])
def test_roughing_leaves_no_less_and_little_more_than_asked(cutter: Cutter, depth: float) -> None:
    """Less left, and finishing has nothing to clean; more than a layer above it, and finishing is
    overloaded."""
    made = planned(cutter, rough=0.5, depth=depth)
    x, y = places()
    left = left_at(made.moves, cutter, x, y) - height(x, y)
    assert left.min() > 0.5 - 0.02
    assert left.max() < 0.5 + depth


def depths(made: Program) -> list[tuple[Move, Move, float]]:
    """Each move with the one before and the deepest it cuts, from columns of 1 mm cut move by
    move."""
    cutter = made.cutter
    xs, ys = np.arange(-LENGTH / 2 + 0.5, LENGTH / 2), np.arange(-WIDTH / 2 + 0.5, WIDTH / 2)
    stock = np.full((len(xs), len(ys)), TOP)
    land = cutter.radius - cutter.corner_radius
    spread = math.ceil(cutter.radius)
    found = []
    for before, move in itertools.pairwise(made.moves):
        run = math.dist(before[1:4], move[1:4])
        deepest = 0.0
        for t in np.linspace(0.0, 1.0, max(2, math.ceil(run) + 1)):
            x, y, z = (a + t * (b - a) for a, b in zip(before[1:4], move[1:4], strict=True))
            i = slice(max(0, int(x - xs[0]) - spread), max(0, int(x - xs[0]) + spread + 2))
            j = slice(max(0, int(y - ys[0]) - spread), max(0, int(y - ys[0]) + spread + 2))
            away = np.hypot(xs[i, None] - x, ys[None, j] - y)
            out = np.clip(away - land, 0.0, cutter.corner_radius)
            floor = z + cutter.corner_radius - np.sqrt(cutter.corner_radius**2 - out**2)
            floor = np.where(away <= cutter.radius, floor, np.inf)
            if floor.size:
                deepest = max(deepest, float((stock[i, j] - floor).max()))
                stock[i, j] = np.minimum(stock[i, j], floor)
        found.append((before, move, deepest))
    return found


@SHAPES
def test_no_move_of_roughing_takes_more_than_a_layer(cutter: Cutter) -> None:
    """A cut deeper than the cutter takes stalls it, a rapid or a plunge into wood breaks or burns
    it."""
    for before, move, deepest in depths(planned(cutter, rough=0.5, depth=2.0)):
        assert deepest <= 2.0 + 0.3
        if move.kind is Kind.RAPID:
            assert deepest == 0.0
        if (before.x, before.y) == (move.x, move.y):
            assert deepest <= 0.3


def test_a_cutter_without_edges_in_its_middle_never_goes_straight_down_into_wood() -> None:
    """Where a gentle slope begins below the layer before, it went down by up to 0.07 into what
    that layer had left. 0.05 is what the read-back calls solid wood."""
    base = hill()
    x, y = np.meshgrid(base.xs, base.ys, indexing="ij")
    gentle = 11.85 - 4.0 * np.exp(-((x / 90.0) ** 2) - (y / 40.0) ** 2)
    surface = DeckSurface(base.xs, base.ys, gentle, 11.85)
    for depth in (1.0, 1.5):
        work = make_work(FLAT, rough=0.2, surface=surface, depth=depth)
        down = [
            deepest
            for before, move, deepest in depths(only(surfacing.deck_programs(work)))
            if (before.x, before.y) == (move.x, move.y) and move.z < before.z
        ]
        assert len(down) > 2 and max(down) < 0.05


@pytest.mark.parametrize("angle", [1.5, 5.0])
def test_roughing_goes_down_as_steeply_as_its_own_cutter_takes(angle: float) -> None:
    """Roughing had 3 degrees of its own: a cutter that takes 2.5 went down steeper at the feed
    sideways.

    Along the hill and on the ramp into a basin; make_work runs a cutter at 3000 sideways and 1500
    down a ramp.
    """
    cutter = replace(FLAT, ramp_angle=angle)
    base = hill()
    x, y = np.meshgrid(base.xs, base.ys, indexing="ij")
    basin = DeckSurface(
        base.xs, base.ys, 11.85 - 6.0 * np.exp(-((x / 25.0) ** 4) - (y / 25.0) ** 4), 11.85
    )
    down = only(surfacing.deck_programs(make_work(cutter, rough=0.2, surface=basin)))
    falls = [
        (a, b)
        for a, b in itertools.pairwise(planned(cutter, rough=0.5).moves)
        if b.kind is not Kind.RAPID
    ]
    slopes = [(math.hypot(b.x - a.x, b.y - a.y), a.z - b.z, b.feed) for a, b in falls]
    steep = [
        feed
        for run, fall, feed in slopes
        if run > 0.0 and fall > run * math.tan(math.radians(angle))
    ]
    assert steep and max(steep) <= 1500.0
    first_row = list(
        itertools.takewhile(
            lambda pair: pair[1].y == down.moves[0].y, itertools.pairwise(down.moves)
        )
    )
    entry = [
        (math.hypot(b.x - a.x, b.y - a.y), a.z - b.z) for a, b in first_row if b.feed == 1500.0
    ]
    assert max(fall / run for run, fall in entry if run > 0.0) > 0.9 * math.tan(math.radians(angle))


@pytest.mark.parametrize("cutter", [FLAT, WIDE], ids=["flat", "wide-bull"])
def test_roughing_a_basin_enters_by_ramps(cutter: Cutter) -> None:
    """Where no stretch reaches the blank's end there is wood all round: only a ramp leads in."""
    base = hill()
    x, y = np.meshgrid(base.xs, base.ys, indexing="ij")
    basin = DeckSurface(
        base.xs, base.ys, 11.85 - 6.0 * np.exp(-((x / 25.0) ** 4) - (y / 25.0) ** 4), 11.85
    )
    made = only(surfacing.deck_programs(make_work(cutter, rough=0.2, surface=basin)))
    assert min(move.z for move in made.moves) < 7.0
    cuts = depths(made)
    first_row = list(itertools.takewhile(lambda cut: cut[1].y == made.moves[0].y, cuts))
    assert max(deepest for _, _, deepest in first_row) > 0.4
    assert max(deepest for _, move, deepest in cuts if move.kind is Kind.RAPID) == 0.0
    for before, move, deepest in first_row:
        run = math.hypot(move.x - before.x, move.y - before.y)
        if before.z - move.z > run * math.tan(math.radians(3.3)):
            assert deepest <= 0.15


def test_the_same_work_gives_the_same_moves() -> None:
    """Paper and file could not be matched if a second run moved otherwise."""
    assert only(surfacing.deck_programs(make_work(FLAT))) == planned(FLAT)


CLAMPS = (Obstacle(box(90.2, 40.3, 130, 70), 20.0), Obstacle(box(-60.3, -60, -39.8, -30.3), 20.0))
INNER = Obstacle(box(-6.2, 36.3, 6.2, 44.2), 20.0)


def beside(
    cutter: Cutter, *, rough: float = 0.0, margin: float = 0.0, obstacles: tuple[Obstacle, ...] = ()
) -> Work:
    """A deck with obstacles, or inside a frame, as a job gives it."""
    work = make_work(cutter, rough=rough, obstacles=obstacles)
    assert work.deck is not None
    if margin:
        area = work.blank.buffer(-margin, join_style="mitre")
        work = replace(work, deck=replace(work.deck, area=area, framed=True))
    return spared(work)


SPARING = {
    "clamps": {"obstacles": CLAMPS},
    "a clamp in the middle": {"obstacles": (INNER,)},
    "frame": {"margin": 2.6},
    "frame and clamp": {"margin": 2.6, "obstacles": (INNER,)},
}


@pytest.mark.parametrize(
    ("cutter", "sparing"),
    [
        pytest.param(
            cutter, sparing, id=f"{cutter.shape}-{name}",
            marks=pytest.mark.slow if cutter is BULL and name != "frame and clamp" else (),
        )
        for cutter in (FLAT, BULL, BALL)
        for name, sparing in SPARING.items()
    ],
)  # fmt: skip
def test_beside_clamps_and_inside_a_frame_the_deck_is_whole(
    cutter: Cutter, sparing: dict[str, Any]
) -> None:
    """A clamp or the frame it stands on would be hit, or more of the deck left uncut than said."""
    work = beside(cutter, **sparing)
    assert work.deck is not None
    made = only(surfacing.deck_programs(work))
    x, y = (values[::5] for values in places())
    left = left_at(made.moves, cutter, x, y) - height(x, y)
    asked = shapely.contains_xy(work.deck.area.difference(work.deck.spare.buffer(0.05)), x, y)
    assert 0.4 * len(x) < asked.sum() < len(x)
    assert left.min() > -0.01
    assert left[asked].max() < 0.05 + 0.01
    if work.deck.framed:
        frame = ~shapely.contains_xy(work.deck.area.buffer(0.01), x, y)
        assert frame.any()
        assert left_at(made.moves, cutter, x[frame], y[frame]).min() >= TOP


@pytest.mark.parametrize("cutter", [FLAT, WIDE], ids=["flat", "wide-bull"])
@pytest.mark.parametrize("sparing", SPARING.values(), ids=SPARING.keys())
def test_roughing_keeps_off_clamps_and_frame(cutter: Cutter, sparing: dict[str, Any]) -> None:
    """It takes layers of several mm: no move may take more, plunge into wood, or leave more than
    one."""
    work = beside(cutter, rough=0.5, **sparing)
    assert work.deck is not None
    made = only(surfacing.deck_programs(work))
    x, y = (values[::5] for values in places())
    asked = shapely.contains_xy(work.deck.area.difference(work.deck.spare.buffer(0.05)), x, y)
    left = left_at(made.moves, cutter, x, y) - height(x, y)
    assert left.min() > 0.5 - 0.02
    assert left[asked].max() < 0.5 + 3.0
    for before, move, deepest in depths(made):
        assert deepest <= 3.0 + 0.3
        if move.kind is Kind.RAPID:
            assert deepest == 0.0
        if (before.x, before.y) == (move.x, move.y):
            assert deepest <= 0.3


@pytest.mark.parametrize("cutter", [FLAT, BALL], ids=["flat", "ball"])
def test_inside_a_frame_nothing_plunges(cutter: Cutter) -> None:
    """There is wood all round: the way down is a ramp, and the finish lines begin where it has
    been."""
    for before, move, deepest in depths(only(surfacing.deck_programs(beside(cutter, margin=9.0)))):
        run = math.hypot(move.x - before.x, move.y - before.y)
        if move.kind is Kind.RAPID:
            assert deepest == 0.0
        if run == 0.0:
            assert deepest <= 0.3
        elif move.z < before.z and deepest > 1.0 and before.z > 8.0:
            assert (before.z - move.z) / run < math.tan(math.radians(cutter.ramp_angle)) + 0.3


def test_an_obstacle_below_every_cut_is_no_trouble() -> None:
    """Going round what lies lower would leave wood for nothing."""
    low = spared(make_work(BALL, obstacles=(Obstacle(box(90, 40, 130, 70), 3.0),)))
    assert surfacing.deck_programs(low) == surfacing.deck_programs(make_work(BALL))


def test_a_path_below_the_lowest_cut_is_refused() -> None:
    """The bed would be cut if depth limits were not held to."""
    base = hill()
    with pytest.raises(CorepathError, match=r"go below 4\.190"):
        surfacing.deck_programs(
            make_work(FLAT, surface=DeckSurface(base.xs, base.ys, base.grid - 1.0, EDGE - 1.0))
        )


def test_a_drill_cannot_surface() -> None:
    """A drill has no side edges."""
    with pytest.raises(CorepathError, match="cannot surface a deck"):
        surfacing.deck_programs(make_work(Cutter(4, "drill", 6.0, 0.0, 2, 30.0, 40.0)))


@pytest.mark.parametrize("cutter", [FLAT, BULL, BALL], ids=["flat", "bull", "ball"])
def test_finishing_is_planned_for_all_that_roughing_leaves(cutter: Cutter) -> None:
    """By the exact sweep of the path: a feed that was planned for less stock overloads the
    cutter."""
    work = make_work(cutter, rough=0.5)
    assert work.deck is not None
    random = np.random.default_rng(7)
    x, y = random.uniform(-115, 115, 20_000), random.uniform(-50, 50, 20_000)
    moves = tuple(move for move in planned(cutter, rough=0.5).moves)
    most = float((left_at(moves, cutter, x, y) - height(x, y)).max())
    assert most - 0.02 <= rough_left(work, work.deck) <= most + 0.4


@pytest.mark.parametrize("cutter", [FLAT, BULL], ids=["flat", "bull"])
def test_roughing_leaves_to_finishing_what_that_takes_in_one_go_and_no_more(cutter: Cutter) -> None:
    """By the exact sweep of the path, and by columns cut move by move: more stock than finishing
    is planned for would overload it, and what it takes anyway needs no minutes of its own."""
    work = make_work(cutter, rough=0.5, depth=2.0)
    assert work.deck is not None
    taken = rough_left(work, work.deck)
    made = only(surfacing.deck_programs(replace(work, deck=replace(work.deck, one_go=taken))))
    random = np.random.default_rng(7)
    x, y = random.uniform(-115, 115, 20_000), random.uniform(-50, 50, 20_000)
    left = np.minimum(left_at(made.moves, cutter, x, y), TOP) - height(x, y)
    assert left.max() <= taken + 1e-6 and left.min() > 0.5 - 0.02
    whole = planned(cutter, rough=0.5, depth=2.0)
    cut = [sum(math.dist(a[1:4], b[1:4]) for a, b in itertools.pairwise(one.moves)
               if b.kind is not Kind.RAPID) for one in (made, whole)]  # fmt: skip
    assert cut[0] < cut[1]
    for before, move, deepest in depths(made):
        assert deepest <= 2.0 + 0.3
        if move.kind is Kind.RAPID:
            assert deepest == 0.0
        if (before.x, before.y) == (move.x, move.y):
            assert deepest <= 0.3
