"""Ways in, crossings, finishing laps, corners and remainders of pockets, against closed forms and
polygons."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from corepath.errors import CorepathError
from corepath.geometry.polygons import grow, opening
from corepath.geometry.polylines import along
from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.fit import flatten
from corepath.motion.program import Kind, Move, Program, Zero
from corepath.operations import programs
from corepath.operations.pockets.crossings import blended, turn_round
from corepath.operations.pockets.inset_contours import inset_region
from corepath.operations.pockets.inside_corners import corners_left
from corepath.operations.pockets.remaining_stock import remaining_stock
from corepath.work.works import Milling, Pocket, Work

TOP, FLOOR, CLEAR = 13.6, 1.2, 25.0
FLAT = Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 30.0)
CUTTING = Cutting(
    rpm=18000, feed=3000, ramp=1500, plunge=1000, depth=3.0, stepover=2.4, finish=4000
)


QUICK = Milling(limits=Limits(accel=1e9))
"""A machine that turns at any feed: what a move is for is told here by its feed (slow bends:
motion/test_reachable)."""


def work(*areas: Polygon, **more: object) -> Work:
    fields: dict[str, object] = {
        "order": 2, "setup": "A", "name": "plug-pockets", "cutter": FLAT, "cutting": CUTTING,
        "zero": Zero(0, 0, 0, "the bed", True), "blank": box(-700, -240, 700, 240),
        "stock_top": TOP, "clear": CLEAR,
        "lowest": FLOOR, "park": (-700.0, 240.0), "arcs": True,
        "pockets": tuple(Pocket(f"P{k}", area, TOP, FLOOR) for k, area in enumerate(areas, 1)),
        "milling": QUICK,
    }  # fmt: skip
    return Work(**(fields | more))  # type: ignore[arg-type]


def made(given: Work) -> Program:
    return programs(given)[0]


def flat(program: Program) -> list[tuple[Move, np.ndarray]]:
    return [(b, flatten((a.x, a.y, a.z), b)) for a, b in itertools.pairwise(program.moves)]


def groove(a: float = 60.0, b: float = 35.0) -> Polygon:
    t = np.linspace(0, 2 * np.pi, 900, endpoint=False)
    outline = Polygon(np.column_stack([a * np.cos(t), b * np.sin(t)]))
    return outline.buffer(6, quad_segs=64).difference(outline.buffer(-8, quad_segs=64))


@pytest.mark.parametrize("angle", [2.0, 3.0, 8.0])
def test_a_ramp_is_as_steep_as_the_cutter_allows_and_no_steeper(angle: float) -> None:
    """A cutter pushed down too steeply; or one that may go down faster and does not."""
    for area in (Point(0, 0).buffer(9, quad_segs=64), groove()):
        steepest = 0.0
        for move, points in flat(
            made(work(area, cutter=dataclasses.replace(FLAT, ramp_angle=angle)))
        ):
            way = float(np.hypot(*np.diff(points[:, :2], axis=0).T).sum())
            fall = points[0, 2] - points[-1, 2]
            if move.kind is not Kind.RAPID and fall > 1e-9 and way > 1e-6:
                steepest = max(steepest, math.degrees(math.atan2(fall, way)))
        assert angle * 0.97 < steepest < angle * 1.02


def test_where_a_ramp_has_no_room_only_a_centre_cutting_cutter_goes_down() -> None:
    """A flat cutter that is blind in its middle pressed straight into solid wood."""
    tight = Point(4, 7).buffer(3.1, quad_segs=64)
    with pytest.raises(
        CorepathError,
        match=r"no room for a ramp of 3 degrees at X[34]\.\d+ "
        r"Y[67]\.\d+.*centre_cutting",
    ):
        made(work(tight))
    plunging = made(work(tight, cutter=dataclasses.replace(FLAT, centre_cutting=True)))
    down = [p for m, p in flat(plunging) if p[0, 2] - p[-1, 2] > 1e-9 and p[-1, 2] < TOP]
    assert down and all(np.ptp(p[:, :2], axis=0).max() < 1e-9 for p in down)
    assert {m.feed for m, p in flat(plunging) if p[0, 2] > p[-1, 2] and p[-1, 2] < TOP} == {
        CUTTING.plunge
    }


@pytest.mark.parametrize("allowance", [0.1, 0.3])
def test_clearing_leaves_the_allowance_and_one_lap_takes_it(allowance: float) -> None:
    """A finishing lap that finds nothing, or walls cut twice; it must pass once at full depth and
    overlap."""
    area = groove()
    program = made(work(area, milling=dataclasses.replace(QUICK, finish_allowance=allowance)))
    clearing = [LineString(p[:, :2]) for m, p in flat(program) if m.feed == CUTTING.feed]
    cleared = shapely.union_all([line.buffer(3.0, quad_segs=48) for line in clearing])
    assert cleared.difference(area.buffer(-allowance + 0.006)).area < 1e-3
    laps = [(m, p) for m, p in flat(program) if m.feed == CUTTING.finish]
    assert {round(float(z), 6) for _, p in laps for z in p[:, 2]} == {FLOOR}
    centre = area.buffer(-3.0, quad_segs=64)
    on_wall = sum(LineString(p[:, :2]).length for _, p in laps if all(_on(centre, p)))
    walls = centre.exterior.length + centre.interiors[0].length
    assert walls + 4.0 < on_wall < walls + 8.0


def _on(centre: Polygon, points: np.ndarray) -> np.ndarray:
    return np.asarray(shapely.distance(centre.boundary, shapely.points(points[:, :2])) < 0.005)


def test_finishing_laps_come_and_go_by_arcs_that_touch_the_wall() -> None:
    """A mark where the cutter stops at the wall: the way must not bend where it meets the wall."""
    program = made(work(groove()))
    runs: list[list[np.ndarray]] = []
    for move, points in flat(program):
        if move.feed != CUTTING.finish:
            runs.append([])
        elif runs:
            runs[-1].append(points)
    laps = [np.concatenate(run) for run in runs if run]
    assert len(laps) == 2
    centre = groove().buffer(-3.0, quad_segs=64)
    for lap in laps:
        away = shapely.distance(centre.boundary, shapely.points(lap[:, :2]))
        assert away[0] > 0.5 and away[-1] > 0.5, "it begins or ends at the wall"
        steps = np.diff(lap[:, :2], axis=0)
        steps = steps[np.hypot(*steps.T) > 1e-3]
        turn = np.abs(np.diff(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))))
        assert np.degrees(turn.max()) < 6.0


def test_no_finishing_where_the_cutter_just_fits_or_none_is_asked_for() -> None:
    """A second lap in a slot where the first one has made both walls already."""
    for area, milling in (
        (LineString([(0, 0), (30, 5)]).buffer(3.15, quad_segs=64), QUICK),
        (groove(), dataclasses.replace(QUICK, finish_allowance=0.0)),
    ):
        assert all(move.feed != CUTTING.finish for move in made(work(area, milling=milling)).moves)


def test_short_edges_finish_layer_by_layer() -> None:
    """The shank rubs at the wall of a layer that is finished already."""
    program = made(work(groove(), cutter=dataclasses.replace(FLAT, cutting_length=8.0)))
    heights = {round(m.z, 3) for m in program.moves if m.feed == CUTTING.finish}
    cleared = {
        round(m.z, 3) for m, p in flat(program) if m.feed == CUTTING.feed and np.ptp(p[:, 2]) < 1e-9
    }
    assert heights == {z for z in cleared if z < TOP}


def test_a_groove_is_cut_without_lifting_and_its_crossings_do_not_stop() -> None:
    """Laps joined by right angles, where the machine comes to rest and leaves a mark."""
    program = made(work(groove(), milling=dataclasses.replace(QUICK, finish_allowance=0.0)))
    assert sum(move.kind is Kind.RAPID for move in program.moves) == 3
    level = [p for m, p in flat(program) if m.feed == CUTTING.feed and np.ptp(p[:, 2]) < 1e-9]
    sharp = 0
    for before, after in itertools.pairwise(level):
        if np.allclose(before[-1], after[0]):
            first, second = before[-1, :2] - before[-2, :2], after[1, :2] - after[0, :2]
            cosine = first @ second / (np.hypot(*first) * np.hypot(*second))
            sharp += cosine < math.cos(math.radians(20.0))
    layers = 6
    assert sharp <= 2 * layers, "more than the way back to the middle of the next layer"


def test_crossings_touch_both_laps_and_stay_in_the_room() -> None:
    """A crossing that starts at an angle, or that cuts into a wall."""
    t = np.linspace(0, 2 * np.pi, 721)
    inner, outer = (np.column_stack([r * np.cos(t), r * np.sin(t)]) for r in (20.0, 22.0))
    room = Point(0, 0).buffer(22.05, quad_segs=90)
    found = blended(inner, outer, room)
    assert found is not None
    way, lap = found
    assert (
        np.allclose(way[0], inner[0])
        and np.allclose(way[-1], lap[0])
        and np.allclose(lap[0], lap[-1])
    )
    for k, at in ((0, inner[0]), (-1, lap[0])):
        step = (way[1] - way[0]) if k == 0 else (way[-1] - way[-2])
        across = at / np.hypot(*at)
        assert abs(step @ across) / np.hypot(*step) < math.sin(math.radians(2.0))
    assert blended(inner, outer[::-1], room) is None, "laps that run against each other"
    turn = turn_round(outer, inner[::-1], room.buffer(1.5))
    assert turn is not None
    assert along(turn[0])[-1] == pytest.approx(math.pi, rel=1e-3), (
        "half a circle as wide as the laps are apart"
    )
    assert turn_round(outer, inner[::-1], Point(0, 0).buffer(21.9)) is None


@pytest.mark.parametrize("angle", [40.0, 60.0, 90.0, 120.0])
def test_what_stays_in_a_corner_is_that_of_the_closed_form(angle: float) -> None:
    """Angle a, cutter radius r (geometry): r (1/sin(a/2) - 1) away, r² (1/tan(a/2) - (pi - a)/2) in
    area."""
    half = math.radians(angle / 2)
    tip = [
        (0, 0),
        (60 * math.cos(half), 60 * math.sin(half)),
        (60 * math.cos(half), -60 * math.sin(half)),
    ]
    area = Polygon(tip)
    corners = corners_left("P1", area, opening(area, 3.0))
    (mine,) = [corner for corner in corners if math.hypot(corner.x, corner.y) < 0.01]
    assert mine.left == pytest.approx(3 * (1 / math.sin(half) - 1), abs=0.003)
    assert mine.area == pytest.approx(9 * (1 / math.tan(half) - (math.pi - 2 * half) / 2), abs=0.02)
    left = [round(corner.left, 4) for corner in corners]
    assert left == sorted(left, reverse=True)


def test_corners_are_listed_with_the_program_and_told_in_its_head() -> None:
    """A resin edge that looks different from the drawing, and nobody said so."""
    program = made(work(box(-20, -10, 25, 12), Point(60, 0).buffer(9, quad_segs=64)))
    assert [corner.feature for corner in program.corners] == ["P1"] * 4
    assert {(round(c.x), round(c.y)) for c in program.corners} == {
        (-20, -10),
        (-20, 12),
        (25, -10),
        (25, 12),
    }
    assert any(
        "P1: corners stay round, 4 of them" in line and "most 1.24 mm" in line
        for line in program.watch
    )


CORNERED = {
    "square": box(-20, -14, 22, 15),
    "tip": Polygon([(-30, 0), (20, -14), (20, 14)]),
    "arm": box(-20, -12, 0, 12).union(box(-1, -2.6, 16, 2.6)),
    "two rooms": box(-20, -12, 0, 12).union(box(-1, -2.6, 16, 2.6)).union(box(15, -10, 34, 10)),
    "bay": box(-20, -12, 20, 12).difference(Point(0, 12).buffer(6, quad_segs=32)),
}


@pytest.mark.parametrize("name", CORNERED)
@pytest.mark.parametrize("conventional", [False, True])
def test_a_small_cutter_clears_what_the_large_one_left_and_nothing_else(
    name: str, conventional: bool
) -> None:
    """Wood left in a corner, a wall cut into, or the small cutter buried in solid wood at full
    depth."""
    area = CORNERED[name]
    cleared = grow(grow(area, -3.0), 3.0)
    small = dataclasses.replace(FLAT, number=2, diameter=4.0)
    cutting = dataclasses.replace(CUTTING, depth=2.0, stepover=1.6)
    pocket = Pocket("P1", area, TOP, FLOOR, cleared=cleared)
    milling = dataclasses.replace(QUICK, conventional=conventional)
    program = made(work(cutter=small, cutting=cutting, pockets=(pocket,), milling=milling, part=2))
    cuts = [(m, p) for m, p in flat(program) if min(p[0, 2], p[-1, 2]) < TOP]
    lines = [
        LineString(p[:, :2]) if len(np.unique(p[:, :2], axis=0)) > 1 else Point(p[0, :2])
        for _, p in cuts
    ]
    swept = shapely.union_all([line.buffer(2.0, quad_segs=32) for line in lines])
    assert swept.difference(area.buffer(0.003)).area < 1e-6
    must = grow(grow(area, -2.0), 2.0).difference(cleared).buffer(-0.006)
    floor = [
        line.buffer(2.0, quad_segs=48)
        for line, (_, p) in zip(lines, cuts, strict=True)
        if p[:, 2].max() < FLOOR + 1e-6
    ]
    assert must.difference(shapely.union_all(floor)).area < 0.01
    free = cleared.buffer(-1.99)
    for move, p in cuts:
        if (
            p[0, 2] - p[-1, 2] > 1e-9
            and np.ptp(p[:, :2], axis=0).max() < 1e-9
            and move.kind is not Kind.RAPID
        ):
            assert free.covers(Point(p[0, :2])), "straight down beside what is cleared"


def test_nothing_left_nothing_cut() -> None:
    """Passes through the air in corners that the larger cutter has cleared."""
    disc = Point(0, 0).buffer(15, quad_segs=64)
    assert not remaining_stock(
        inset_region(disc, 2.0, "P1"),
        grow(grow(disc, -3.0), 3.0),
        2.0,
        1.6,
        conventional=False,
        name="P1",
    )
