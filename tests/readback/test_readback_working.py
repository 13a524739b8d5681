"""Engagement, layers, ways into the wood and drilling, on the small plan written by hand: figures
and findings."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from shapely import box

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Zero
from corepath.readback.motion.working import (
    check_working,
    engagement_angle,
    find_engagement,
    widest_allowed,
)
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.material import Stock
from corepath.stock.path import lay
from corepath.work.works import Milling, Work

GROOVE, PLUG, DOWELS, INSERTS = (
    "03-A-groove.nc",
    "02-A-plug-pockets.nc",
    "01-A-dowels.nc",
    "06-B-inserts.nc",
)


def ring(x: float, y: float, z: float) -> str:
    """One lap of the groove as the plan's text has it."""
    corners = ((-x, -y), (x, -y), (x, y), (-x, y), (-x, -y))
    return "\n".join(f"G1 X{a:.4f} Y{b:.4f} Z{z:.4f}" for a, b in corners) + "\n"


def with_groove(plan, **changes):
    """The plan with fields of the groove's work changed."""
    return replace(
        plan, works=tuple(replace(w, **changes) if w.name == "groove" else w for w in plan.works)
    )


def the(result, kind: str, file: str):
    """Findings of a kind in a file."""
    found = [
        finding for finding in result.findings if finding.kind == kind and finding.file == file
    ]
    assert found, [str(finding) for finding in result.findings]
    return found


def test_width_of_cut_is_the_step_between_rings(plan):
    """Rings 2 mm apart under a cutter of 4: half the cutter, a right angle; a wrong figure would
    hide a slot."""
    result = plan.read()
    widest = result.of("widest cut", GROOVE)
    assert widest.value >= 2.0 - 0.02
    assert result.of("deepest cut", GROOVE).value == pytest.approx(3.0, abs=1e-3)
    assert result.of("climb", GROOVE).value == pytest.approx(0.0, abs=0.02), (
        "counter-clockwise, from outside in"
    )
    assert result.of("climb", PLUG).value > 0.85, "counter-clockwise, from inside out"
    slot, step = 4 * (66 + 36) * 2, 4 * ((62 + 32) + (58 + 28)) * 2
    assert result.of("full width", GROOVE).value == pytest.approx(slot / (slot + step), abs=0.02)
    assert result.of("mean width of cut", GROOVE).value == pytest.approx(
        (4 * slot + 2 * step) / (slot + step), abs=0.1
    )


def test_engagement_angle_is_the_trades():
    """acos(1 - 2a/D): 60 degrees at a quarter, 90 at half, 180 in a slot (elementary geometry)."""
    assert [engagement_angle(a, 6.0) for a in (1.5, 3.0, 6.0)] == pytest.approx([60.0, 90.0, 180.0])
    assert engagement_angle(widest_allowed(2.4, 6.0), 6.0) == pytest.approx(
        engagement_angle(2.4, 6.0) + 20.0
    )
    assert widest_allowed(6.0, 6.0) == pytest.approx(6.0)


def test_step_that_is_doubled_is_found_where_it_begins(plan):
    """A lap left out: the next one cuts a slot."""
    edited = plan.edited(GROOVE, ring(31, 16, 7.0), "")
    finding = the(edited.read(), "engagement", GROOVE)[0]
    line = edited.files[GROOVE].split("\n")[finding.line - 1]
    assert line.startswith("G1 X") and line.endswith("Z7.0000")
    assert max(abs(finding.place[0]) / 29, abs(finding.place[1]) / 14) == pytest.approx(
        1.0, abs=0.01
    )
    assert finding.depth == pytest.approx(3.0, abs=1e-3)


def test_narrower_stepover_than_the_path_has_is_found(plan):
    """The limit is the job's, not the path's."""
    work = next(work for work in plan.works if work.name == "groove")
    narrow = with_groove(plan, cutting=replace(work.cutting, stepover=1.2))
    assert set(narrow.read().counts) == {"engagement"}


def test_slot_in_a_light_layer_is_found_and_a_wide_cut_is_not(plan):
    """Over a thin floor a wide light cut is easy on the cutter; a slot without an entry is still a
    wrong path."""
    work = next(work for work in plan.works if work.name == "groove")
    light = with_groove(
        plan,
        cutting=replace(work.cutting, stepover=1.2),
        milling=replace(work.milling, light_layer=3.0),
    )
    assert light.read().counts == {}
    assert "engagement" in light.edited(GROOVE, ring(31, 16, 7.0), "").read().counts


def test_layer_left_out_is_met_at_double_depth(plan):
    """All of one layer at the height of the one above: the next meets 6 mm."""
    edited = plan.edited(GROOVE, "Z7.0000", "Z10.0000", 999)
    finding = the(edited.read(), "layer-missed", GROOVE)[0]
    assert edited.files[GROOVE].split("\n")[finding.line - 1].endswith("Z4.0000")
    assert finding.depth == pytest.approx(6.0, abs=1e-3)


def test_strip_that_a_layer_leaves_is_found_by_area(plan):
    """A lap left out of one layer: found at that layer's height, before the next one meets it."""
    shifted = plan.edited(GROOVE, ring(29, 14, 7.0), "")
    finding = next(
        one for one in the(shifted.read(), "layer-missed", GROOVE) if "leaves" in one.message
    )
    assert finding.place[2] == pytest.approx(7.0)
    assert shifted.files[GROOVE].split("\n")[finding.line - 1].endswith("Z4.0000")
    assert abs(abs(finding.place[0]) - 28) < 1.01 or abs(abs(finding.place[1]) - 13) < 1.01
    assert shifted.read().of("groove layers", GROOVE).value == pytest.approx(
        2.0 * 2 * (56 + 26), rel=0.12
    )


def test_allowance_on_the_walls_is_no_island(plan):
    """Clearing leaves it for the finishing lap; without one it is wood left standing."""
    text = plan.files[GROOVE]
    for z in (10.0, 7.0, 4.0, 1.2):
        text = text.replace(ring(33, 18, z), ring(32.8, 17.8, z)).replace(
            ring(29, 14, z), ring(29.14, 14.14, z)
        )
    finish = ring(29, 14, 1.2) + ring(33, 18, 1.2)
    text = text.replace("G0 X-33 Y-18 Z25", "G0 Z25\nG0 X-32.8 Y-17.8\nG0 Z12.5")
    text = text.replace(ring(29.14, 14.14, 1.2), ring(29.14, 14.14, 1.2) + finish)
    left = with_groove(
        plan.with_file(GROOVE, text), milling=Milling(conventional=True, finish_allowance=0.2)
    )
    assert left.read().counts == {}, [str(finding) for finding in left.read().findings]
    bare = with_groove(
        plan.with_file(GROOVE, text), milling=Milling(conventional=True, finish_allowance=0.0)
    )
    assert "layer-missed" in bare.read().counts


def test_direction_other_than_the_wish_is_found(plan):
    """Climb and conventional push a thin board in opposite ways; the shop asked for one of them."""
    found = the(with_groove(plan, milling=Milling()).read(), "direction", GROOVE)[0]
    assert found.line is not None and "conventional milling" in found.message
    assert plan.read().counts == {}


def _seat(x: float, wrong_way: bool) -> str:
    """A helix about (x, 0), its axis 3 from there: it leaves a core of radius 1 under a cutter of
    4. A level turn, then, asked for, one 1.5 farther out the wrong way round, and half a turn to
    the middle."""
    turn = (
        f"G1 X{x + 4.5} Y0\nG2 X{x - 4.5} Y0 I-4.5 J0\nG2 X{x + 4.5} Y0 I4.5 J0\nG1 X{x + 3} Y0\n"
    )
    return (
        f"G0 X{x + 3} Y0\nG0 Z12.5\nG3 X{x + 3} Y0 Z11.8 I-3 J0 F1000\n"
        f"G3 X{x + 3} Y0 Z11 I-3 J0\nG3 X{x + 3} Y0 I-3 J0\n{turn if wrong_way else ''}"
        f"G3 X{x} Y0 I-1.5 J0\nG0 Z25\n"
    )


@pytest.mark.parametrize(("wrong_way", "told"), [(False, 0), (True, 1)])
def test_the_core_that_a_helix_leaves_belongs_to_its_entry(wrong_way, told):
    """Seats were withheld: all that was cut in them outside entries was the core, which lies on
    the left of a cutter that turns as the helix did. A turn along the wall the wrong way round is
    still told."""
    cutter = Cutter(1, "flat", 4.0, 0.0, 2, 14.0, 30.0, centre_cutting=True)
    seats = Work(
        order=6, setup="B", name="inserts", cutter=cutter,
        cutting=Cutting(18000.0, 2000.0, 1500.0, 1500.0, 3.0, 2.0),
        zero=Zero(0.0, 0.0, 12.0, "the skimmed face", True), blank=box(-140, -20, 140, 20),
        stock_top=12.0, clear=25.0, lowest=0.0, park=(-130.0, 15.0), arcs=True,
    )  # fmt: skip
    head = "G17 G21 G90 G94 G54 G49 G40 G80 G61\nM3 S10000\nG0 Z25\n"
    body = "".join(_seat(13.0 * k - 123.5, wrong_way) for k in range(20))
    stock, findings = Stock(280.0, 40.0, 12.0, 0.25), Findings("06-B-inserts.nc")
    before = stock.top.copy()
    path = lay(read_program(f"{head}{body}M2\n", "x.nc"), (0, 0, 0), cutter, 25.0, 0.0005, findings)
    check_working(
        seats, path, find_engagement(seats, path, before, stock.grid), MeasureList("x.nc"), findings
    )
    assert findings.counts.get("direction", 0) == told


@pytest.mark.parametrize("centre", [False, True])
def test_straight_plunge_needs_edges_to_the_centre(plan, centre):
    """The small plan plunges; a cutter without edges in its middle burns or breaks there."""
    cutters = {**plan.shop.cutters, 1: replace(plan.shop.cutters[1], centre_cutting=centre)}
    result = plan.with_shop(cutters=cutters).read()
    assert set(result.counts) == (set() if centre else {"plunge"})
    assert result.of("plunged", GROOVE).value == pytest.approx(2.0 + 3.0 + 3.0 + 2.8, abs=0.01)
    if not centre:
        finding = the(result, "plunge", GROOVE)[0]
        assert plan.files[GROOVE].split("\n")[finding.line - 1] == "G1 X-33.0000 Y-18.0000 Z10.0000"
        assert finding.place == pytest.approx((-33.0, -18.0, 10.0))


@pytest.mark.parametrize(
    ("degrees", "kinds"), [(2.9, set()), (3.3, {"steep-ramp"}), (40.0, {"steep-ramp"})]
)
def test_ramp_steeper_than_the_cutter_takes_is_found(plan, degrees, kinds):
    """3 degrees is what this cutter takes; from just over the wood down along the first side."""
    long = (12.0 - 10.0) / math.tan(math.radians(degrees))
    ramp = (
        f"G1 X-33.0000 Y-18.0000 Z12.0000\nG1 X{-33 + long:.4f} Y-18.0000 Z10.0000\nG1 X-33.0000 "
        "Y-18.0000 Z10.0000\n"
    )
    edited = plan.edited(GROOVE, "G1 X-33.0000 Y-18.0000 Z10.0000\n", ramp)
    result = edited.read()
    assert set(result.counts) == kinds, [str(finding) for finding in result.findings]
    if kinds:
        finding = the(result, "steep-ramp", GROOVE)[0]
        assert (
            edited.files[GROOVE].split("\n")[finding.line - 1].startswith(f"G1 X{-33 + long:.4f}")
        )


def test_steep_way_down_in_the_open_is_no_ramp(plan):
    """Where the layer above is cleared the cutter may go down as it likes, down to that layer."""
    quick = "G0 X-33 Y-18 Z25\nG1 X-33.0000 Y-18.0000 Z7.0000"
    down = "G0 X-33 Y-18 Z25\nG0 Z12.5\nG1 X-31.0000 Y-18.0000 Z10.0000\n"
    down += "G1 X-33.0000 Y-18.0000\nG1 X-33.0000 Y-18.0000 Z7.0000"
    assert plan.edited(GROOVE, quick, down).read().counts == {}


def test_drill_that_does_not_clear_its_chips_is_found(plan):
    """20 mm at once with a drill of 4: chips jam and burn; by cycle or by hand alike."""
    for old, new in (("G83 Z1 R13 Q6", "G81 Z-1 R13"), ("G83 Z1 R13 Q6", "G83 Z-1 R13 Q13.2")):
        edited = plan.edited(DOWELS, old, new)
        finding = the(edited.read(), "peck", DOWELS)[0]
        assert edited.files[DOWELS].split("\n")[finding.line - 1] == new
        assert finding.depth > 12.0
    assert plan.edited(DOWELS, "G83 Z1 R13 Q6", "G83 Z1 R13 Q11.9").read().counts == {}


def test_full_feed_where_a_hole_leaves_the_wood_is_found(plan):
    """Fibres are torn out at the exit, and the drill snatches."""
    fast = plan.edited(DOWELS, "F150\n", "")
    finding = the(fast.read(), "feed-too-high", DOWELS)[0]
    assert "leaves the wood" in finding.message
    assert fast.read().counts.keys() == {"feed-too-high"}


def test_a_drill_of_another_size_is_found(plan):
    """The hole then has not its diameter, whoever wrote the cycle."""
    cutters = {**plan.shop.cutters, 3: Cutter(3, "drill", 4.2, 0.0, 2, 30.0, 40.0)}
    assert "seat" in plan.with_shop(cutters=cutters).read().counts


@pytest.mark.parametrize(
    "text",
    ["", "M2\n", "G21\nG1 X1\n", "G21\nG90\nF9\nG1 X0 Y0 Z5\nG1 X90000000 Y9 Z-4\nG1 X1\nM2\n"],
)
def test_no_text_is_too_strange_to_judge(plan, text):
    """Whatever a file holds, the answer is findings, not a traceback or memory without end."""
    assert not plan.with_file(GROOVE, text).read().ok
