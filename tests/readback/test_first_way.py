"""The first way down under a zero that may be the old one: slow, to a stop, clear of the blank
under either."""

from __future__ import annotations

import pytest

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.program import Approach, Zero
from corepath.readback.motion.first_way import Zeroed, check_first_way, check_look

INSERTS, DECK = "06-B-inserts.nc", "08-C-deck.nc"

# The skim leaves 10.5. The inserts' zero lies on that face, the zero before on the bed, 10.5 lower:
# 3 over the blank under the bed's zero is Z13.5 in the file, 13.5 over the face under its own.
HIGH_ENOUGH, TOO_LOW = "G1 Z13.5000", "G1 Z13.4000"


def test_a_good_first_way_is_no_finding(plan):
    """The hand-written files have one wherever their zero changes."""
    assert plan.read().counts == {}
    assert plan.edited(INSERTS, "G1 Z14.5000", HIGH_ENOUGH).read().counts == {}


@pytest.mark.parametrize(
    ("name", "old", "new", "message"),
    [
        (INSERTS, "G1 Z14.5000\nM0\n", "G0 Z14.5000\n", "no stop to see"),
        (INSERTS, "G1 Z14.5000\nM0\n", "G1 Z14.5000\n", "no stop to see"),
        (INSERTS, "G1 Z14.5000\nM0\nS18000 M3\n", "G1 Z14.5000\nS18000 M3\n", "no stop to see"),
        (INSERTS, "G1 Z14.5000\n", "G0 Z14.5000\n", "goes at rapid"),
        (INSERTS, "G1 Z14.5000\n", TOO_LOW + "\n", "comes to a height of 13.400"),
        (DECK, "G1 Z25.0000\nM0\n", "G0 Z25.0000\n", "no stop to see"),
    ],
)
def test_a_first_way_that_would_crash_under_the_old_zero_is_found(plan, name, old, new, message):
    """With the bed's zero left, the inserts' first rapid would go into the blank."""
    text = plan.files[name]
    if old not in text:
        old, new = old.replace(".0000", ""), new.replace(".0000", "")
    found = plan.edited(name, old, new).read()
    told = [one.message for one in found.findings if one.kind == "first-way"]
    assert [one for one in told if message in one], found.counts
    assert {one.file for one in found.findings} == {name}


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("G1 Z25\nM0\n", "G0 Z25\n", "T3 was fitted, it is T1 now: no stop to see its length"),
        ("G1 Z25\n", "G0 Z25\n", "the first way down goes at rapid"),
        ("G1 Z25\n", "G1 Z14.9\n", "comes to 2.900 over stock or obstacles"),
    ],
)
def test_a_cutter_of_another_length_that_meets_the_blank_first_at_rapid_is_found(
    plan, old, new, message
):
    """The pockets' cutter comes after the drill under the same zero; the blank is 12 thick, and 3
    over it is asked."""
    name = "02-A-plug-pockets.nc"
    text = plan.files[name]
    if old not in text:
        old, new = old.replace("Z25", "Z25.0000"), new.replace("Z25", "Z25.0000")
    found = plan.edited(name, old, new).read()
    told = [one.message for one in found.findings if one.kind == "first-way"]
    assert [one for one in told if message in one], [str(one) for one in found.findings]


@pytest.mark.parametrize(
    ("height", "travel", "found"),
    [
        (68.1, 200.0, False),  # 23.1 above the form's lowest place, laminate to 20 and 3 over it
        (67.9, 200.0, True),
        (59.95, 59.5, False),  # from the lowest cut at 0.5 the axis goes no higher
        (59.8, 59.5, True),
    ],
)
def test_in_the_cradle_the_zero_before_lies_lower_by_the_cradle(height, travel, found):
    """The bed lies 45 below: a zero of C that was left lets the tip down 45 lower. The read-back
    took both for one place, and no first way for too low."""
    text = f"G17 G21 G90 G94 G54 G40 G49 G80 G64\nF1000\nG1 Z{height}\nM0\nG0 Z30\nG1 Z0.5\nM2\n"
    findings = Findings("x.nc")
    now, old = Zeroed("the cradle", (0, 0, 0), 540), Zeroed("the bed", (0, 0, -45.0), 540)
    check_first_way(read_program(text, "x.nc"), now, old, 20.0, findings, travel)
    assert findings.counts == ({"first-way": 1} if found else {})


def test_a_stop_is_asked_where_zero_and_cutter_stay(plan):
    """Each stop that is not needed teaches people to press cycle start without looking: none in the
    groove, cut by the pockets' cutter, nor in a later pass of the skim."""
    for name in ("03-A-groove.nc", "05-B-skim-pass-2.nc"):
        assert "G1 Z25\nM0" not in plan.files[name] and "G0 Z25" in plan.files[name]
    assert plan.read().counts == {}, "in A and B the zero is the bed"


def test_a_face_of_the_next_set_up_is_another_zero(plan_maker):
    """Raw top in A, raw bottom in B: both are touched on the blank, and not at one height."""
    face = plan_maker("x", "middle", "face")
    assert face.read().counts == {}
    for name in ("05-B-skim-pass-1.nc", "05-B-skim-all.nc", DECK):
        text = face.files[name]
        line = next(row for row in text.split("\n") if row.startswith("G1 Z"))
        spoilt = face.edited(name, f"F1000\n{line}\nM0\n", f"G0 {line[3:]}\n").read()
        assert spoilt.counts == {"first-way": 1} and next(iter(spoilt.findings)).file == name


def test_the_second_zero_is_the_one_that_the_machine_has(plan):
    """A file that works in G54 where the shop set G55 cuts with the bed's zero, and the other way
    round."""
    other = plan.edited(INSERTS, "G54", "G55")
    assert set(other.read().counts) == {"zero"}
    assert other.with_shop(second_zero="G55").read().counts == {}
    found = plan.with_shop(second_zero="G55").read()
    assert found.counts == {"zero": 1} and "than G55" in next(iter(found.findings)).message


def test_a_way_at_feed_from_nowhere_is_only_harmless_with_the_spindle_still(plan):
    """Turning, or below the top of the stock, it is a cut from a place that nobody knows."""
    turning = plan.edited(
        INSERTS, "F1000\nG1 Z14.5000\nM0\n", "F1000\nS18000 M3\nG4 P3\nG1 Z14.5000\n"
    )
    assert "start-unknown" in turning.read().counts
    low = plan.edited(INSERTS, "G1 Z14.5000\n", "G1 Z-2.0000\n")
    assert "start-unknown" in low.read().counts


def test_a_length_is_called_where_it_is_planned_and_nowhere_else(plan):
    """Counted on top of a touch, or left out where Z was touched with another cutter, every depth
    is off by it."""
    groove = "03-A-groove.nc"
    called = plan.edited(groove, "T1 M6\n", "T1 M6\nG43 H1\n")
    assert called.read().counts == {"length-offset": 1}, "none is planned"
    assert "length-offset" in plan.with_shop(length_offset=True).read().counts, "none is called"
    files = {
        name: text.replace(" M6\n", " M6\nG43 H" + text.split(" M6")[0][-1] + "\n")
        for name, text in plan.files.items()
    }
    known = plan.with_shop(length_offset=True)
    for name, text in files.items():
        known = known.with_file(name, text)
    assert known.read().counts == {}
    assert known.edited(groove, "G43 H1", "G43 H2").read().counts == {"length-offset": 1}


def test_a_face_that_is_cut_away_is_touched_with_no_other_cutter(plan, plan_maker):
    """Pass 2 of the skim with T1: the raw bottom that T2 was touched on is gone. On the bed it
    could be touched."""
    name = "05-B-skim-pass-2.nc"
    for made, files in ((plan_maker("x", "middle", "face"), [name]), (plan, [])):
        spoilt = made.edited(name, "T2 M6", "T1 M6").read()
        told = [
            one
            for one in spoilt.findings
            if "touched with T2" in one.message and "T1 cannot be touched" in one.message
        ]
        assert [(one.kind, one.file) for one in told] == [("zero", file) for file in files]


WAY = (
    "G17\nG21\nG90\nG94\nG54\nG40\nG49\nG80\nG64\nT1\nM0\nF1000\nG1 Z13.8\nG1 X5 Y-2\nM0\nG0 "
    "Z20\nM5\nM2\n"
)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("", "", False),
        ("Z13.8", "Z13.84", False),  # the message says 13.8
        ("Z13.8", "Z14.8", True),
        ("Z13.8", "Z12.8", True),
        ("X5", "X6", True),
        ("Y-2", "Y2", True),
        ("G1 X5 Y-2\n", "", True),
        ("F1000", "F1100", True),
        # level, where a longer cutter than the one before meets the work
        ("G1 X5", "F2000\nG1 X5", False),
        ("G1 X5", "F2100\nG1 X5", True),
    ],
)
def test_the_tip_stands_where_the_message_says(old, new, found):
    """A tip 1 mm higher than said makes a right zero look wrong, and lower a wrong one right. Zero
    9.9 over the bed."""
    way = Approach(5.0, -2.0, 23.7, 1000.0, 2000.0, "the skimmed face", 13.8, "the bed", 3.9)
    zero = Zero(0.0, 0.0, 9.9, "the skimmed face", False)
    findings = Findings("06-B-inserts.nc")
    check_look(read_program(WAY.replace(old, new, 1), "06-B-inserts.nc"), way, zero, findings)
    assert findings.counts == ({"first-way": 1} if found else {})


def test_nothing_is_asked_of_a_file_without_a_way_of_its_own():
    """The zero stays, nobody looks."""
    findings = Findings("03-A-groove.nc")
    check_look(
        read_program(WAY, "03-A-groove.nc"), None, Zero(0.0, 0.0, 0.0, "the bed", True), findings
    )
    assert findings.counts == {}
