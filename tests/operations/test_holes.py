"""Holes: each step cut to its diameter and floor in order, nothing wider, nothing deeper, never
straight into wood."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, box

from corepath.errors import CorepathError
from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.cycles import CYCLES, expand
from corepath.motion.fit import flatten
from corepath.motion.program import Kind, Program, Zero
from corepath.operations import programs
from corepath.work.works import Hole, Milling, Obstacle, Step, Work

TOP, CLEAR = 11.9, 22.0
FLAT = Cutter(1, "flat", 6.0, 0.0, 2, 30.0, 35.0)
CENTRE = Cutter(1, "flat", 6.0, 0.0, 2, 30.0, 35.0, centre_cutting=True)
DRILL = Cutter(4, "drill", 6.0, 0.0, 2, 40.0, 45.0, centre_cutting=True)
CUTTING = Cutting(rpm=18000, feed=3000, ramp=1500, plunge=1000, depth=3.0, stepover=2.4)
INSERT = Hole("I1", 40.0, -15.0, TOP, (Step(17.2, 9.8), Step(7.9, 2.0)))
DOWEL = Hole("dowel 1", -90.0, 5.0, TOP, (Step(6.0, -8.0),), breaks_through=0.0)
THROUGH = Hole("I2", -20.0, 8.0, TOP, (Step(15.2, 10.4), Step(7.7, -0.6)), breaks_through=0.0)


def work(*holes: Hole, cutter: Cutter = FLAT, **more: object) -> Work:
    fields: dict[str, object] = {
        "order": 6, "setup": "B", "name": "inserts", "cutter": cutter, "cutting": CUTTING,
        "zero": Zero(0, 0, TOP, "the skimmed "
                                "face", True), "blank": box(-120, -45, 120, 45), "stock_top": TOP,
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
        for before, move in itertools.pairwise(expand(made.moves))
        if min(before.z, move.z) < TOP
    ]


def sweep(made: Program, below: float) -> shapely.Geometry:
    """What the cutter sweeps at or below a height, by moves (or parts of them) there."""
    r = made.cutter.radius
    parts = [p[p[:, 2] <= below + 1e-9, :2] for _, _, p in pieces(made)]
    joined = [LineString(p) if len(p) > 1 else Point(p[0]) for p in parts if len(p)]
    return shapely.union_all([part.buffer(r, quad_segs=48) for part in joined])


def test_chords_of_a_bore_leave_its_circle_evenly_to_both_sides() -> None:
    """The finishing turn of a seat of 17.2 by a cutter of 6 runs at 5.6 mm: chords within 0.002 of
    that circle both ways, as many as (r + e) cos(step / 2) = r - e asks for."""
    made = program(work(INSERT, arcs=False, cutter=CENTRE))
    at = [(move.x - 40.0, move.y + 15.0) for move in made.moves if abs(move.z - 9.8) < 1e-9]
    far = [math.hypot(*one) for one in at]
    near = [
        math.hypot((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        for a, b in itertools.pairwise(at)
        if min(math.hypot(*a), math.hypot(*b)) > 5.6019
    ]
    assert 5.6015 < max(far) <= 5.602 + 1e-9 and 5.598 - 1e-9 <= min(near) < 5.5985
    # the first and the last chord of the turn begin or end on the circle itself
    fewest = math.tau / (2 * math.acos(5.598 / 5.602))
    assert fewest <= len(near) + 2 <= fewest + 2


@pytest.mark.parametrize("hole", [INSERT, THROUGH, DOWEL], ids=lambda hole: hole.id)
@pytest.mark.parametrize("arcs", [True, False])
def test_each_step_has_its_diameter_at_its_floor(hole: Hole, arcs: bool) -> None:
    """A seat or bore too wide, too narrow, not cleared, or not at its depth."""
    made = program(work(hole, arcs=arcs, cutter=CENTRE))
    middle = Point(hole.x, hole.y)
    for step in hole.steps:
        got = sweep(made, step.floor)
        wanted = step.diameter / 2
        assert middle.buffer(wanted + 0.003, quad_segs=128).covers(got), (
            f"wider than {step.diameter} at {step.floor}"
        )
        assert got.covers(middle.buffer(wanted - 0.004, quad_segs=128)), (
            f"not cleared to {step.diameter}"
        )
    lowest = min(p[:, 2].min() for _, _, p in pieces(made))
    assert lowest == pytest.approx(hole.steps[-1].floor, abs=1e-12)


def test_above_each_floor_nothing_is_wider_than_its_step() -> None:
    """A bore wall cut by the turns of the seat: the seat must not be cut below its floor."""
    made = program(work(INSERT))
    seat, bore = INSERT.steps
    below = sweep(made, seat.floor - 1e-6)
    assert Point(INSERT.x, INSERT.y).buffer(bore.diameter / 2 + 0.003, quad_segs=128).covers(below)


def test_seat_comes_before_bore() -> None:
    """The bore first: its edge then breaks out when the seat is cut, and the flange has no clean
    floor."""
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
            if (
                kind is Kind.CCW
                and np.abs(p[:, 2] - step.floor).max() < 1e-9
                and np.abs(away - radius).max() < 1e-6
            ):
                turned += float(np.hypot(*np.diff(p[:, :2], axis=0).T).sum()) / radius
        assert turned >= 2 * math.pi * 0.999, (
            f"only {math.degrees(turned):.0f} degrees at {step.floor}"
        )


def test_never_straight_down_or_steep_but_where_the_hole_is_the_cutters_size() -> None:
    """A plunge with a cutter that may not cut to its centre. Helix of 3 degrees: tan a = pitch /
    (pi (D - d))."""
    for _, _, p in pieces(program(work(INSERT, THROUGH))):
        fall = p[0, 2] - p[-1, 2]
        way = float(np.hypot(*np.diff(p[:, :2], axis=0).T).sum())
        assert fall <= math.tan(math.radians(3.0)) * way * (1 + 1e-3) + 1e-9
    assert any(p[0, 2] - p[-1, 2] > 1.0 for _, _, p in pieces(program(work(DOWEL, cutter=CENTRE))))


def test_feed_is_halved_where_the_hole_leaves_the_wood() -> None:
    """Fibres pushed out at the far side; or the whole hole at half speed. No bend is too tight
    here."""
    for hole in (DOWEL, THROUGH):
        slow, fast = [], []
        reached = TOP
        for kind, feed, p in pieces(
            program(work(hole, cutter=CENTRE, milling=Milling(limits=Limits(accel=1e5))))
        ):
            if kind is not Kind.RAPID and p[-1, 2] < p[0, 2] - 1e-9:
                begin = min(reached, p[0, 2])
                (slow if begin <= 1.0 + 1e-9 else fast).append(feed)
                assert begin <= 1.0 + 1e-9 or p[-1, 2] >= 1.0 - 1e-9, (
                    "one move both above and below the change"
                )
                reached = p[-1, 2]
        full = CUTTING.plunge if hole is DOWEL else CUTTING.ramp
        assert set(slow) == {full / 2} and set(fast) <= {full, CUTTING.plunge}, hole.id
    assert all(feed != CUTTING.ramp / 2 for _, feed, _ in pieces(program(work(INSERT)))), (
        "a blind hole slowed down"
    )


@pytest.mark.parametrize("canned", [True, False])
def test_deep_hole_is_pecked_by_a_diameter_and_slow_before_its_point_comes_out(
    canned: bool,
) -> None:
    """A drill that clogs, a rapid into the bottom of the hole, or a point that bursts through at
    full feed."""
    made = program(work(DOWEL, cutter=DRILL, milling=Milling(canned=canned)))
    assert [move.kind for move in made.moves if move.kind in CYCLES] == [Kind.PECK]
    point = 6.0 * math.tan(math.radians(31.0)) / 2.0
    reached = TOP
    for kind, feed, p in pieces(made):
        assert np.ptp(p[:, 0]) == np.ptp(p[:, 1]) == 0.0
        if kind is Kind.RAPID:
            assert p[-1, 2] >= reached, "a rapid into wood"
            continue
        assert reached - p[-1, 2] <= 6.0 + 1e-9
        assert feed == (CUTTING.plunge / 2 if p[-1, 2] < 1.0 + point - 1e-9 else CUTTING.plunge)
        begin = min(reached, p[0, 2])
        assert (begin - 1.0 - point) * (p[-1, 2] - 1.0 - point) >= -1e-9, (
            "one feed above and below the change"
        )
        reached = min(reached, p[-1, 2])
    assert reached == -8.0


def test_shallow_hole_is_drilled_in_one_stroke() -> None:
    """Pecks for nothing: three diameters deep a drill still clears itself (common practice, no
    source)."""
    for depth, kind in ((18.0, Kind.DRILL), (18.1, Kind.PECK)):
        hole = Hole("dowel 1", 3, 4, TOP, (Step(6.0, TOP - depth),))
        made = program(work(hole, cutter=DRILL, lowest=-9.0))
        assert [move.kind for move in made.moves if move.kind in CYCLES] == [kind]
        assert made.moves[1].i == TOP + 1.0, "the drill must come out of the hole"


def test_bore_in_a_seat_is_drilled_from_its_floor_and_retracts_above_the_face() -> None:
    """Chips left in the seat; a peck counted from the face."""
    hole = Hole("I1", 3, 4, 9.8, (Step(6.0, -8.2),))
    (cycle,) = [m for m in program(work(hole, cutter=DRILL, lowest=-9.0)).moves if m.kind in CYCLES]
    assert (cycle.kind, cycle.z, cycle.i) == (Kind.DRILL, -8.2, TOP + 1.0)


def test_a_cutter_of_the_holes_size_without_edges_to_its_centre_is_refused() -> None:
    """A plunge of an end mill that rubs with its middle; and one that may go straight down, kept
    from it."""
    with pytest.raises(
        CorepathError,
        match=r"dowel 1: T1 flat D6 would have to go straight down "
        r"at X-90.00 Y5.00",
    ):
        program(work(DOWEL))
    (cycle,) = [m for m in program(work(DOWEL, cutter=CENTRE)).moves if m.kind in CYCLES]
    assert cycle.j == CUTTING.depth


def test_cutter_wider_than_a_step_is_refused() -> None:
    """A bore cut too wide, or a crash."""
    with pytest.raises(
        CorepathError,
        match=r"I1: T9 flat D8 is wider than the hole of 7.9 mm at "
        r"X40.00 Y-15.00",
    ):
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
    made = program(work(INSERT, THROUGH, DOWEL, cutter=CENTRE))
    assert len(made.passes) == 1
    centres = {(hole.x, hole.y) for hole in (INSERT, THROUGH, DOWEL)}
    for before, move in itertools.pairwise(expand(made.moves)):
        if move.kind is Kind.RAPID and move.z > before.z:
            assert (before.x, before.y) in centres
        if move.kind is Kind.RAPID and (move.x, move.y) != (before.x, before.y):
            assert before.z == move.z == CLEAR
    assert made.moves[0].z == made.moves[-1].z == CLEAR


def test_tight_hole_says_that_the_cutter_must_cut_to_its_centre() -> None:
    """A cutter with a blind middle wound down a narrow hole without a word."""
    tight = Hole("I7", 5, 5, TOP, (Step(7.2, 4.0),))
    assert any("to its centre: I7" in line for line in program(work(tight)).watch)
    assert program(work(tight, cutter=CENTRE)).watch == program(work(INSERT)).watch == ()


SEAT = Hole("I4", 10.0, -5.0, TOP, (Step(19.2, 10.2, spring=True), Step(7.9, 2.0)))


def turns_at(made: Program, hole: Hole, radius: float, floor: float) -> float:
    """How many turns of this radius about the hole's middle lie level at `floor`."""
    angle = 0.0
    for kind, _, p in pieces(made):
        away = np.hypot(p[:, 0] - hole.x, p[:, 1] - hole.y)
        if (
            kind in (Kind.CW, Kind.CCW)
            and np.abs(p[:, 2] - floor).max() < 1e-9
            and np.abs(away - radius).max() < 1e-6
        ):
            angle += float(np.hypot(*np.diff(p[:, :2], axis=0).T).sum()) / radius
    return angle / (2 * math.pi)


def test_finishing_turn_takes_what_is_left_and_the_seat_gets_a_spring_turn() -> None:
    """A seat wall as the bent cutter left it; a bore without its light turn; turns that nobody
    asked for."""
    made = program(work(SEAT))
    for step, count in zip(SEAT.steps, (2, 1), strict=True):
        full = (step.diameter - 6.0) / 2
        left = min(0.1, 0.1 * full)
        assert turns_at(made, SEAT, full, step.floor) == pytest.approx(count, abs=2e-3)
        if step.spring:
            assert turns_at(made, SEAT, full - left, step.floor) == pytest.approx(1, abs=2e-3)
        else:
            helix = [
                np.hypot(p[:, 0] - SEAT.x, p[:, 1] - SEAT.y)
                for kind, _, p in pieces(made)
                if kind is Kind.CCW and np.ptp(p[:, 2]) > 0.01
            ]
            assert np.abs(helix[-1] - (full - left)).max() < 1e-9, (
                "the wall is touched before its finishing turn"
            )
    none = program(work(SEAT, milling=Milling(finish_allowance=0.0)))
    assert turns_at(none, SEAT, 6.6, 10.2) == pytest.approx(3, abs=2e-3)


def test_wide_seat_is_cleared_without_a_corner_and_never_wider_than_the_stepover() -> None:
    """A jerk at each ring, or a full-width cut where a third was allowed."""
    wide = Hole("I5", 0.0, 0.0, TOP, (Step(34.0, 8.0, spring=True),))
    made = program(work(wide))
    way = None
    radii = []
    for before, move in itertools.pairwise(made.moves):
        if move.kind is not Kind.CCW:
            continue
        cx, cy = before.x + move.i, before.y + move.j
        leaving = np.array([-(before.y - cy), before.x - cx])
        arriving = np.array([-(move.y - cy), move.x - cx])
        if way is not None:
            ahead = leaving / np.linalg.norm(leaving)
            turn = way[0] * ahead[1] - way[1] * ahead[0]
            assert abs(turn) < 1e-6, "a corner between two arcs"
        way = arriving / np.linalg.norm(arriving)
        radii.append(math.hypot(move.x, move.y))
    assert radii and max(radii) == pytest.approx(14.0, abs=1e-9)
    swept = None
    for floor in (9.95, 8.0):
        swept = sweep(made, floor)
        assert swept.covers(
            Point(0, 0).buffer(17.0 - (0.1 if floor > 8.0 else 0.0) - 0.004, quad_segs=128)
        )
    points = np.array(
        [(m.x, m.y) for m in made.moves if m.kind is Kind.CCW and abs(m.z - 8.0) < 1e-9]
    )
    away = np.hypot(*points.T)
    out = [r for a, r in itertools.pairwise(away) if r > a + 1e-9]
    assert out, "no spiral"
    # A half turn goes out by half the step between neighbouring turns.
    for a, r in itertools.pairwise(away[: int(np.argmax(away)) + 1]):
        assert r - a <= CUTTING.stepover / 2 + 1e-6 or a < 1e-9 or r == pytest.approx(14.0)


def test_conventional_turns_the_other_way() -> None:
    """Fibres torn out where the shop asked for the other direction."""
    climb, other = (
        program(work(SEAT, milling=Milling(conventional=flag))) for flag in (False, True)
    )
    assert {m.kind for m in climb.moves} == {Kind.RAPID, Kind.LINE, Kind.CCW}
    assert {m.kind for m in other.moves} == {Kind.RAPID, Kind.LINE, Kind.CW}
    for step in SEAT.steps:
        assert sweep(other, step.floor).symmetric_difference(sweep(climb, step.floor)).area < 0.05


@given(
    seat=st.floats(8.0, 40.0), bore=st.floats(6.3, 8.0), depth=st.floats(0.5, 9.0),
        angle=st.floats(1.0, 20.0),
    allowance=st.sampled_from([0.0, 0.05, 0.2]), conventional=st.booleans(), arcs=st.booleans(),
)  # fmt: skip
@settings(max_examples=12, derandomize=True, deadline=None)
def test_any_hole_is_swept_to_its_steps_and_nothing_else(
    seat: float,
    bore: float,
    depth: float,
    angle: float,
    allowance: float,
    conventional: bool,
    arcs: bool,
) -> None:
    """A core left in the floor, a wall cut too wide, or a helix steeper than the cutter bears."""
    hole = Hole(
        "I9", 3.0, 2.0, TOP, (Step(seat, TOP - depth / 2, spring=True), Step(bore, TOP - depth))
    )
    cutter = Cutter(1, "flat", 6.0, 0.0, 2, 30.0, 35.0, ramp_angle=angle)
    wish = Milling(conventional=conventional, finish_allowance=allowance)
    made = program(work(hole, cutter=cutter, milling=wish, arcs=arcs))
    above = TOP
    for step in hole.steps:
        below = sweep(made, above - 1e-6)
        at_floor = sweep(made, step.floor)
        assert Point(3, 2).buffer(step.diameter / 2 + 0.003, quad_segs=128).covers(below)
        assert at_floor.covers(Point(3, 2).buffer(step.diameter / 2 - 0.006, quad_segs=128))
        above = step.floor
    for kind, _, p in pieces(made):
        fall, way = p[0, 2] - p[-1, 2], float(np.hypot(*np.diff(p[:, :2], axis=0).T).sum())
        assert kind is Kind.RAPID or fall <= math.tan(math.radians(angle)) * way * (1 + 2e-3) + 1e-6
