"""Feeds: neither above what is planned nor so slow that edges rub, and what a machine comes to on a
short or round way.

The small plan of our own: 2000 mm/min sideways, 1500 down; acceleration 500 mm/s² (the default of
`Milling`).
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter
from corepath.readback.motion.discipline import check_room
from corepath.readback.motion.feeds import reachable
from corepath.stock.path import lay

GROOVE, SKIM, DOWELS = "03-A-groove.nc", "05-B-skim-pass-1.nc", "01-A-dowels.nc"


@pytest.mark.parametrize(("feed", "kinds"), [
    ("1", {"feed-too-low"}), ("2.0", {"feed-too-low"}), ("200", {"feed-too-low"}), ("980",
    {"feed-too-low"}),
    ("1000", set()), ("2000", set()), ("2040", {"feed-too-high"}),
])  # fmt: skip
def test_a_feed_in_the_skim_is_held_on_both_sides(plan, feed, kinds):
    """A digit lost: the edges rub, wood and resin burn. Half of 2000 is planned where bores open,
    so it may come."""
    assert set(plan.edited(SKIM, "F2000\n", f"F{feed}\n").read().counts) == kinds


def test_a_slow_feed_is_told_at_the_motion_that_it_drives(plan):
    """The first that cuts after the F word, not the way down beside the blank."""
    edited = plan.edited(SKIM, "F2000\n", "F200\n")
    first = next(one for one in edited.read().findings)
    assert edited.files[SKIM].split("\n")[first.line - 1] == "G1 X60 Y-30.0000"


def test_slow_where_nothing_is_cut_is_no_finding(plan):
    """A way through the air may be as slow as anyone likes."""
    lift = "G0 Z25\nF10\nG1 X-50 Y-20\nF2000\nM5\n"
    assert plan.edited(SKIM, "G0 Z25\nM5\n", lift).read().counts == {}


def test_a_drill_that_rubs_is_found(plan):
    """300 planned, 150 where the hole leaves the wood; a drill at 15 burns its hole."""
    assert set(plan.edited(DOWELS, "F150\n", "F15\n", 2).read().counts) == {"feed-too-low"}
    assert set(plan.edited(DOWELS, "F300\n", "F30\n", 2).read().counts) >= {"feed-too-low"}


def reached(body: str) -> np.ndarray:
    """mm/min of each feed of a program at 500 mm/s²."""
    text = f"G21 G90\nG0 X0 Y0 Z5\nF900\n{body}M2\n"
    path = lay(
        read_program(text, "x.nc"),
        (0, 0, 0),
        Cutter(1, "flat", 6.0, 0.0, 2, 20, 30),
        0.0,
        0.0005,
        Findings(),
    )
    return reachable(path, 500.0)[path.kind > 0]


def test_what_a_machine_comes_to_on_an_arc():
    """sqrt(a r) for a way that is long enough: 60 sqrt(500 * 5) = 3000 (elementary mechanics)."""
    assert reached("G3 X10 Y0 I5 J0\n") == pytest.approx([3000.0])


def test_what_a_machine_comes_to_on_chords_is_that_of_their_circle():
    """Chords of 0.5 on a circle of 5: where arcs are off the same curve may not be held to more."""
    angle = np.arange(1, 20) * 0.1
    chords = "".join(f"G1 X{5 * math.sin(a):.4f} Y{5 - 5 * math.cos(a):.4f}\n" for a in angle)
    assert reached(chords)[1:-1] == pytest.approx(60 * math.sqrt(500 * 2 * 0.5), rel=0.01)
    long = "".join(f"G1 X{50 * math.sin(a):.4f} Y{50 - 50 * math.cos(a):.4f}\n" for a in angle)
    assert reached(long)[1:-1] == pytest.approx(60 * math.sqrt(500 * 2 * 5), rel=0.01)
    few = "".join(
        f"G1 X{5 * math.sin(a):.4f} Y{5 - 5 * math.cos(a):.4f}\n" for a in np.arange(1, 5)
    )
    assert reached(few)[1:-1] == pytest.approx(60 * math.sqrt(500 * 5 * math.cos(0.5)), rel=0.01)


def test_what_a_machine_comes_to_on_a_straight_way():
    """sqrt(2 a s) from standing: 60 sqrt(2 * 500 * 4) = 3795 over 4 mm."""
    assert reached("G1 X4\n") == pytest.approx([60 * math.sqrt(4000)])


@pytest.mark.parametrize(("travel", "kinds"), [(190.0, {"travel"}), (210.0, set())])
def test_a_circle_needs_its_whole_width_of_travel(travel: float, kinds: set[str]) -> None:
    """It begins and ends at one place: by its ends alone it would need no room at all. 200 wide."""
    path = lay(
        read_program("G21 G90\nG0 X0 Y0 Z5\nF900\nG2 X0 Y0 I100 J0\nM2\n", "x.nc"),
        (0, 0, 0),
        Cutter(1, "flat", 6.0, 0.0, 2, 20, 30),
        0.0,
        0.0005,
        Findings(),
    )
    shop = SimpleNamespace(
        travel=(travel, 210.0, 50.0),
        deepest=lambda setup: -1.0,
        allowed=SimpleNamespace(heights=0.01),
    )
    findings = Findings("x.nc")
    check_room(path, SimpleNamespace(setup="A", lowest=0.0), shop, findings)
    assert set(findings.counts) == kinds
