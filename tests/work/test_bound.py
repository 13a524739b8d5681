"""The least time of an operation: closed forms of its parts, and no path may be quicker."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box

from corepath.errors import CorepathError
from corepath.motion.clock import Limits, minutes
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Zero
from corepath.operations import programs
from corepath.planning.make import make_files
from corepath.planning.prepare import prepare
from corepath.work.least_time.areas import disc, edges, layer_seconds, ramp_seconds
from corepath.work.least_time.minutes import least_time, spanning_tree
from corepath.work.works import Facing, Hole, Milling, Pocket, Step, Work

SAMPLES = Path(__file__).parents[2] / "samples"
FLAT = Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 30.0)
CUTTING = Cutting(rpm=18000, feed=3000, ramp=1500, plunge=1000, depth=3.0, stepover=2.4)
LIMITS = Limits(6000.0, 500.0, 0.02)
BARE = Milling(finish_allowance=0.0)


def work(**more: object) -> Work:
    fields: dict[str, object] = {
        "order": 3, "setup": "A", "name": "groove", "cutter": FLAT, "cutting": CUTTING,
        "zero": Zero(0, 0, 0, "the bed", True), "blank": box(-700, -240, 700, 240),
        "stock_top": 13.6, "clear": 25.0,
        "lowest": -10.0, "park": (-700.0, 240.0), "arcs": True, "milling": BARE,
    }  # fmt: skip
    return Work(**(fields | more))  # type: ignore[arg-type]


def pockets(*areas: Polygon, top: float = 13.6, floor: float = 1.2) -> tuple[Pocket, ...]:
    return tuple(Pocket(f"P{k}", area, top, floor) for k, area in enumerate(areas))


def test_wall_lap_of_a_round_pocket_is_its_closed_form() -> None:
    """The middle goes round at R - r, at most sqrt(a (R - r)): a polygon must not come out slower
    or longer."""
    lap = edges(Point(0, 0).buffer(9.0 - 3.0, quad_segs=200), 3.0)
    for feed, accel in ((3000.0, 500.0), (600.0, 500.0), (6000.0, 100.0)):
        speed = min(feed / 60.0, math.sqrt(accel * 6.0))
        assert lap.seconds(feed, accel) == pytest.approx(math.tau * 6.0 / speed, rel=2e-3)
        assert disc(6.0, 3.0).seconds(feed, accel) == pytest.approx(
            math.tau * 6.0 / speed, rel=1e-12
        )
    assert lap.area == pytest.approx(math.pi * 81.0, rel=1e-3)


def test_a_wide_area_takes_its_laps() -> None:
    """A strip 300 x 100 with D 6, s 2.4: one lap full width, the rest a stepover a mm; worked by
    hand."""
    area = box(0, 0, 300, 100)
    lap = edges(area.buffer(-3.0), 3.0)
    entry = 2 * (294 + 94)
    cleared = 300 * 100 - (4 - math.pi) * 9.0
    way = entry + (cleared - math.pi * 9.0 - 6.0 * entry) / 2.4
    assert layer_seconds(lap, 6.0, 2.4, 3000.0, 500.0) == pytest.approx(way / 50.0, rel=2e-3)


def test_a_ramp_takes_its_slope_or_the_plunge() -> None:
    """3 degrees at 25 mm/s down 12 mm: 12 / sin 3 degrees, also for a cutter with edges to its
    centre; that one goes straight down only where a turn at 3 degrees would gain less than 0.05."""
    lap = edges(box(0, 0, 300, 100), 3.0)
    centre = Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 30.0, centre_cutting=True)
    for cutter in (FLAT, centre):
        assert ramp_seconds(lap, cutter, CUTTING, 12.0, 500.0) == pytest.approx(
            12.0 / math.sin(math.radians(3)) / 25.0
        )
    tight = disc(0.1, 3.0)
    assert ramp_seconds(tight, centre, CUTTING, 12.0, 500.0) == pytest.approx(12.0 * 60.0 / 1000.0)
    assert ramp_seconds(tight, FLAT, CUTTING, 12.0, 500.0) > 12.0


def test_the_way_down_of_a_narrow_groove_adds_what_it_is_slower_than_its_laps() -> None:
    """A round groove, 400 to 420 wide, 12.6 deep, D 6: 4 layers of 3.0, a light one of 0.3 in place
    of a fifth, and one over the floor. The way down, at 3 degrees, is run at the ramp's 25 mm/s and
    not at the 50 of the laps that it is part of; worked by hand."""
    area = Point(0, 0).buffer(210.0, quad_segs=200) - Point(0, 0).buffer(200.0, quad_segs=200)
    found = least_time(work(pockets=pockets(area, floor=1.0)), LIMITS)
    lap = edges(area.buffer(-3.0, quad_segs=200), 3.0)
    deep = layer_seconds(lap, 6.0, 2.4, 3000.0, 500.0)
    light = layer_seconds(lap, 6.0, 6.0, 3000.0, 500.0)
    assert found.sweep == pytest.approx(4 * deep + 2 * light, rel=1e-3)
    angle = math.radians(3)
    slower = 12.6 / math.sin(angle) / 25.0 - 12.6 / math.tan(angle) / 50.0
    assert found.ramps == pytest.approx(slower, rel=1e-3)


def test_planing_counts_one_line_in_full() -> None:
    """1400 x 480 with D 25, overlap a quarter: a line of 1400 in full width, the rest 18.75 a
    line."""
    facing = Facing(box(-700, -240, 700, 240), 14.0, (13.5, 13.0), 0)
    mill = Cutter(3, "flat", 25.0, 0.0, 3, 16.0, 40.0)
    run = Cutting(12000, 5760, 2880, 1900, 4.0, 18.75)
    given_work = work(cutter=mill, cutting=run, facing=facing)
    line = 1400.0 + (1400 * 480 - math.pi * 625 / 4 - 25 * 1400) / 18.75
    assert least_time(given_work, LIMITS).sweep == pytest.approx(2 * line / 96.0)
    assert least_time(given_work, LIMITS, planes=(1, 2)).sweep == pytest.approx(line / 96.0)


def test_what_a_larger_cutter_cleared_is_not_counted_again() -> None:
    """A second file of an operation only takes what is left: the whole area would be a bound that
    it beats."""
    area = box(0, 0, 60, 40)
    done = area.buffer(-10).buffer(10)
    whole = least_time(work(pockets=pockets(area)), LIMITS)
    rest = least_time(work(pockets=(Pocket("P", area, 13.6, 1.2, cleared=done),)), LIMITS)
    assert rest.ramps == 0.0
    assert 0.0 < rest.sweep < 0.5 * whole.sweep


def test_slow_break_through_and_finishing_turns_are_counted() -> None:
    """Half the feed over the last millimetre; a finishing turn a step, and a spring turn at the
    seat."""
    holes = (
        Hole("I", 0, 0, 12.0, (Step(19.0, 10.0, spring=True), Step(8.0, -1.0)), breaks_through=0.0),
    )
    plain = least_time(work(holes=(Hole("I", 0, 0, 12.0, holes[0].steps),)), LIMITS)
    slow = least_time(work(holes=holes), LIMITS)
    assert slow.ramps > plain.ramps
    finished = least_time(work(holes=holes, milling=Milling(finish_allowance=0.2)), LIMITS)
    seat, bore = math.tau * 6.5 / 50.0, math.tau * 1.0 / math.sqrt(500.0)
    assert finished.finish == pytest.approx(2 * seat + bore)


def test_drilling_takes_depth_over_plunge() -> None:
    """A hole of the drill's size, 13.6 deep and 8 into the bed, the last 1 of wood at half feed."""
    drill = Cutter(5, "drill", 6.0, 0.0, 2, 45.0, 50.0)
    holes = (Hole("d", 0, 0, 13.6, (Step(6.0, -8.0),), breaks_through=0.0),)
    found = least_time(work(cutter=drill, holes=holes), LIMITS)
    assert found.ramps == pytest.approx((13.6 + 8.0 + 1.0) * 60.0 / 1000.0)


places = st.lists(
    st.tuples(st.integers(-90, 90), st.integers(-90, 90)), min_size=1, max_size=6, unique=True
)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(places)
def test_no_way_is_shorter_than_the_spanning_tree(found: list[tuple[int, int]]) -> None:
    """Against all orders: a tree that is not the least would be no bound."""
    there = np.array(found, dtype=float)
    apart = np.hypot(*(there[:, None] - there[None, :]).transpose(2, 0, 1))
    least = sum(spanning_tree(apart))
    ways = (
        sum(apart[a, b] for a, b in itertools.pairwise(o))
        for o in itertools.permutations(range(len(found)))
    )
    assert least <= min(ways) + 1e-9
    assert spanning_tree(np.array([[0.0, 3.0, 4.0], [3.0, 0.0, 5.0], [4.0, 5.0, 0.0]])) == [
        3.0,
        4.0,
    ]


def least(given_work: Work, limits: Limits) -> tuple[float, float]:
    spent = sum(minutes(made.passes, limits, park=made.park) for made in programs(given_work))
    return spent, least_time(given_work, limits).minutes


circles = st.lists(
    st.tuples(st.integers(0, 40), st.integers(0, 40), st.integers(7, 25)), min_size=1, max_size=4
)


@pytest.mark.whole
@settings(derandomize=True, max_examples=25, deadline=None)
@given(circles, st.booleans(), st.sampled_from([0.0, 0.2]), st.sampled_from([120.0, 500.0, 3000.0]))
def test_no_pocket_path_is_quicker(
    found: list[tuple[int, int, int]], island: bool, allowance: float, accel: float
) -> None:
    """If a path beats the bound, the bound is wrong (or the path does not keep the limits)."""
    area = shapely.union_all([Point(x, y).buffer(r) for x, y, r in found])
    assume(isinstance(area, Polygon) and not area.interiors)
    if island:
        area = area.buffer(30.0, quad_segs=32).difference(area.buffer(16.0, quad_segs=32))
    limits = Limits(6000.0, accel, 0.02)
    try:
        spent, low = least(
            work(pockets=pockets(area), milling=Milling(finish_allowance=allowance)), limits
        )
    except CorepathError:
        assume(False)
    assert spent >= low


@pytest.mark.parametrize("radius", [3.3, 3.6, 4.0, 5.0, 5.8, 6.06, 6.5, 9.0])
@pytest.mark.parametrize(("allowance", "floor"), [(0.0, 1.2), (0.2, 1.2), (0.2, 11.6)])
def test_no_round_pocket_is_quicker(radius: float, allowance: float, floor: float) -> None:
    """One helix down the wall clears a narrow pocket: laps in each layer beside the way down would
    be no bound."""
    area = Point(0, 0).buffer(radius)
    given_work = work(
        pockets=pockets(area, floor=floor), milling=Milling(finish_allowance=allowance)
    )
    spent, low = least(given_work, LIMITS)
    assert low <= spent <= 1.5 * low


@pytest.mark.whole
@settings(derandomize=True, max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=2, max_size=4, unique=True
    ),
    st.floats(3.2, 6.0),
    st.sampled_from([0.0, 0.2]),
    st.sampled_from([1.2, 9.0, 12.5]),
    st.booleans(),
)
def test_no_path_of_a_bent_slot_is_quicker(
    bends: list[tuple[int, int]], radius: float, allowance: float, floor: float, straight_down: bool
) -> None:
    """Where the cutter just passes, one way serves both walls, and wide and narrow places mix."""
    slot = LineString(bends).buffer(radius)
    cutter = replace(FLAT, centre_cutting=straight_down)
    shapes = pockets(Polygon(slot.exterior), floor=floor)
    try:
        spent, low = least(
            work(cutter=cutter, pockets=shapes, milling=Milling(finish_allowance=allowance)), LIMITS
        )
    except CorepathError:
        assume(False)
    assert spent >= low


@settings(derandomize=True, max_examples=30, deadline=None)
@given(
    st.floats(6.05, 30.0),
    st.floats(6.05, 12.0),
    st.floats(1.0, 4.0),
    st.booleans(),
    st.sampled_from([120.0, 900.0]),
)
def test_no_hole_path_is_quicker(
    seat: float, bore: float, depth: float, through: bool, accel: float
) -> None:
    """Helices, level turns and the way down of holes of any size against their bound."""
    assume(seat > bore)
    steps = (Step(seat, 12.0 - depth), Step(bore, -1.0))
    holes = tuple(
        Hole(f"I{k}", 40.0 * k, 0, 12.0, steps, 0.0 if through else None) for k in range(2)
    )
    spent, low = least(work(holes=holes), Limits(6000.0, accel, 0.02))
    assert spent >= low


@pytest.mark.whole
@pytest.mark.parametrize("name", ["board-1280", "balance-740", "coupon"])
def test_no_sample_is_quicker_than_its_bound(name: str) -> None:
    """A ratio under 1 would say that the bound is none."""
    prepared = prepare(SAMPLES / f"{name}.toml")
    flat = replace(prepared, works=tuple(one for one in prepared.works if one.deck is None))
    made = make_files(flat)
    assert len(made) > 5
    assert [
        one.name for one in made if one.minutes < one.least_time.minutes or one.least_time.level
    ] == []


REACH = {"groove": 1.25, "skim": 1.25, "plug-pockets": 1.5, "inserts": 1.5, "dowels": 1.5}


@pytest.mark.whole
def test_paths_of_the_board_come_near_their_bounds() -> None:
    """A path that wanders costs the shop its day: ratios that the sample must keep."""
    prepared = prepare(SAMPLES / "board-1280.toml")
    flat = replace(prepared, works=tuple(one for one in prepared.works if one.deck is None))
    ratios = {one.name: one.minutes / one.least_time.minutes for one in make_files(flat)}
    over = {
        name: ratio
        for name, ratio in ratios.items()
        if ratio > max(REACH[k] for k in REACH if k in name)
    }
    assert over == {}
    assert all(any(key in name for name in ratios) for key in REACH)
