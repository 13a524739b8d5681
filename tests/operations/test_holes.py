"""Holes: each step cut to its diameter and floor in order, nothing wider, nothing deeper, never straight into wood."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from corepath.errors import CorepathError
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.fit import flatten
from corepath.motion.program import Kind, Program, Zero
from corepath.operations import programs
from corepath.work.model import Hole, Obstacle, Step, Work

TOP, CLEAR = 11.9, 22.0
FLAT = Cutter(1, "flat", 6.0, 0.0, 2, 30.0, 35.0)
CUTTING = Cutting(rpm=18000, feed=3000, ramp=1500, plunge=1000, depth=3.0, stepover=2.4)
INSERT = Hole("I1", 40.0, -15.0, TOP, (Step(17.2, 9.8), Step(7.9, 2.0)))
DOWEL = Hole("dowel 1", -90.0, 5.0, TOP, (Step(6.0, -8.0),), breaks_through=0.0)
THROUGH = Hole("I2", -20.0, 8.0, TOP, (Step(15.2, 10.4), Step(7.7, -0.6)), breaks_through=0.0)


def work(*holes: Hole, cutter: Cutter = FLAT, **more: object) -> Work:
    fields: dict[str, object] = {
        "order": 6, "setup": "B", "name": "inserts", "cutter": cutter, "cutting": CUTTING,
        "zero": Zero(0, 0, TOP, "the skimmed face", True), "blank": box(-120, -45, 120, 45), "stock_top": TOP,
        "clear": CLEAR, "lowest": -8.0, "park": (-120.0, 45.0), "arcs": True, "holes": holes,
    }  # fmt: skip
    return Work(**(fields | more))  # type: ignore[arg-type]


def program(given: Work) -> Program:
    (made,) = programs(given)
    return made


def pieces(made: Program) -> list[tuple[Kind, float, np.ndarray]]:
    """Kind, feed and (n, 3) points of each move that touches the stock."""
    return [
        (move.kind, move.feed, flatten((before.x, before.y, before.z), move, 0.0002))
        for before, move in itertools.pairwise(made.moves)
        if min(before.z, move.z) < TOP
    ]


def sweep(made: Program, below: float) -> shapely.Geometry:
    """What the cutter sweeps at or below a height, by moves (or parts of them) there."""
    r = made.cutter.radius
    parts = [p[p[:, 2] <= below + 1e-9, :2] for _, _, p in pieces(made)]
    joined = [LineString(p) if len(p) > 1 else Point(p[0]) for p in parts if len(p)]
    return shapely.union_all([part.buffer(r, quad_segs=48) for part in joined])


@pytest.mark.parametrize("hole", [INSERT, THROUGH, DOWEL], ids=lambda hole: hole.id)
@pytest.mark.parametrize("arcs", [True, False])
def test_each_step_has_its_diameter_at_its_floor(hole: Hole, arcs: bool) -> None:
    """A seat or bore too wide, too narrow, not cleared, or not at its depth."""
    made = program(work(hole, arcs=arcs))
    middle = Point(hole.x, hole.y)
    for step in hole.steps:
        got = sweep(made, step.floor)
        wanted = step.diameter / 2
        assert middle.buffer(wanted + 0.003, quad_segs=128).covers(got), f"wider than {step.diameter} at {step.floor}"
        assert got.covers(middle.buffer(wanted - 0.004, quad_segs=128)), f"not cleared to {step.diameter}"
    lowest = min(p[:, 2].min() for _, _, p in pieces(made))
    assert lowest == pytest.approx(hole.steps[-1].floor, abs=1e-12)


def test_above_each_floor_nothing_is_wider_than_its_step() -> None:
    """A bore wall cut by the turns of the seat: the seat must not be cut below its floor."""
    made = program(work(INSERT))
    seat, bore = INSERT.steps
    below = sweep(made, seat.floor - 1e-6)
    assert Point(INSERT.x, INSERT.y).buffer(bore.diameter / 2 + 0.003, quad_segs=128).covers(below)


def test_seat_comes_before_bore() -> None:
    """The bore first: its edge then breaks out when the seat is cut, and the flange has no clean floor."""
    seat, bore = INSERT.steps
    heights = [p[-1, 2] for _, _, p in pieces(program(work(INSERT)))]
    first_below = next(k for k, z in enumerate(heights) if z < seat.floor - 1e-9)
    assert heights[first_below - 1] == pytest.approx(seat.floor)
    assert sum(abs(z - seat.floor) < 1e-9 for z in heights[:first_below]) > 3
    assert bore.floor < seat.floor


@pytest.mark.parametrize("hole", [INSERT, THROUGH], ids=lambda hole: hole.id)
def test_last_turn_of_each_step_is_level_and_full(hole: Hole) -> None:
    """A floor left as a screw thread."""
    made = program(work(hole))
    for step in hole.steps:
        radius = (step.diameter - made.cutter.diameter) / 2
        turned = 0.0
        for kind, _, p in pieces(made):
            away = np.hypot(p[:, 0] - hole.x, p[:, 1] - hole.y)
            if kind is Kind.CCW and np.abs(p[:, 2] - step.floor).max() < 1e-9 and np.abs(away - radius).max() < 1e-6:
                turned += float(np.hypot(*np.diff(p[:, :2], axis=0).T).sum()) / radius
        assert turned >= 2 * math.pi * 0.999, f"only {math.degrees(turned):.0f} degrees at {step.floor}"


def test_never_straight_down_or_steep_but_where_the_hole_is_the_cutters_size() -> None:
    """A plunge with a cutter that may not cut to its centre. Helix of 3 degrees: tan a = pitch / (pi (D - d))."""
    for _, _, p in pieces(program(work(INSERT, THROUGH))):
        fall = p[0, 2] - p[-1, 2]
        way = float(np.hypot(*np.diff(p[:, :2], axis=0).T).sum())
        assert fall <= math.tan(math.radians(3.0)) * way * (1 + 1e-3) + 1e-9
    assert any(p[0, 2] - p[-1, 2] > 1.0 for _, _, p in pieces(program(work(DOWEL))))


def test_feed_is_halved_where_the_hole_leaves_the_wood() -> None:
    """Fibres pushed out at the far side; or the whole hole at half speed."""
    for hole in (DOWEL, THROUGH):
        slow, fast = [], []
        for kind, feed, p in pieces(program(work(hole))):
            if kind is not Kind.RAPID and p[-1, 2] < p[0, 2] - 1e-9:
                (slow if p[0, 2] <= 1.0 + 1e-9 else fast).append(feed)
                assert p[0, 2] <= 1.0 + 1e-9 or p[-1, 2] >= 1.0 - 1e-9, "one move both above and below the change"
        full = CUTTING.plunge if hole is DOWEL else CUTTING.ramp
        assert set(slow) == {full / 2} and set(fast) <= {full, CUTTING.plunge}
    assert all(feed != CUTTING.ramp / 2 for _, feed, _ in pieces(program(work(INSERT)))), "a blind hole slowed down"


def test_drill_pecks_and_comes_back_above_the_last_depth() -> None:
    """A drill that clogs, or a rapid into the bottom of the hole."""
    drill = Cutter(4, "drill", 6.0, 0.0, 2, 40.0, 45.0)
    made = program(work(DOWEL, cutter=drill))
    reached = TOP
    for kind, _, p in pieces(made):
        assert np.ptp(p[:, 0]) == np.ptp(p[:, 1]) == 0.0
        if kind is Kind.RAPID:
            assert p[-1, 2] >= reached, "a rapid into wood"
        else:
            assert reached - p[-1, 2] <= CUTTING.depth + 1e-9
            reached = min(reached, p[-1, 2])
    assert reached == -8.0


def test_cutter_wider_than_a_step_is_refused() -> None:
    """A bore cut too wide, or a crash."""
    with pytest.raises(CorepathError, match=r"I1: T9 flat D8 is wider than the hole of 7.9 mm at X40.00 Y-15.00"):
        program(work(INSERT, cutter=Cutter(9, "flat", 8.0, 0.0, 2, 30.0, 35.0)))
    with pytest.raises(CorepathError, match=r"cannot make a hole of 17\.2 mm"):
        program(work(INSERT, cutter=Cutter(9, "drill", 7.9, 0.0, 2, 30.0, 35.0)))
    upside_down = Hole("I3", 0, 0, TOP, (Step(17.0, 5.0), Step(8.0, 6.0)))
    with pytest.raises(CorepathError, match="not below"):
        program(work(upside_down))


def test_obstacle_by_a_hole_is_refused() -> None:
    """The cutter runs into a clamp."""
    with pytest.raises(CorepathError, match="obstacle"):
        program(work(INSERT, obstacles=(Obstacle(box(48, -20, 60, -10), 20.0),)))
    assert program(work(INSERT, obstacles=(Obstacle(box(49, -20, 60, -10), 20.0),))).moves


def test_leaves_each_hole_by_its_centre_and_moves_over_at_the_clear_height() -> None:
    """The wall marked by the retract, or a rapid through the stock to the next hole."""
    made = program(work(INSERT, THROUGH, DOWEL))
    assert len(made.passes) == 1
    centres = {(hole.x, hole.y) for hole in (INSERT, THROUGH, DOWEL)}
    for before, move in itertools.pairwise(made.moves):
        if move.kind is Kind.RAPID and move.z > before.z:
            assert (before.x, before.y) in centres
        if move.kind is Kind.RAPID and (move.x, move.y) != (before.x, before.y):
            assert before.z == move.z == CLEAR
    assert made.moves[0].z == made.moves[-1].z == CLEAR


def test_tight_hole_says_that_the_cutter_must_cut_to_its_centre() -> None:
    """A cutter with a blind middle driven down a hole of its own size without a word."""
    assert any("to its centre" in line for line in program(work(DOWEL)).watch)
    assert program(work(INSERT)).watch == ()
