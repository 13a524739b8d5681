"""Files that corepath did not write: what they do to a blank, against closed forms, and what is
found in them.

The texts are our own, in the plain manner of others: inches, N words, cycles, R arcs, increments,
several cutters.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter
from corepath.readback.foreign.foreign_facts import ForeignSetup
from corepath.readback.foreign.foreign_file import read_foreign
from corepath.reported import reported

HEAD = "G17 G21 G90 G94 G40 G49 G80\nT1 M6\nS16000 M3\nG4 P3\nG0 Z5\nX0 Y0\n"
TAIL = "G0 Z5\nM5\nM30\n"


def cutter(shape="flat", diameter=6.0, corner=0.0, number=-1) -> Cutter:
    return Cutter(number, shape, diameter, corner, 2, 1e6, 1e6, centre_cutting=True)


BENCH = ForeignSetup(
    100.0, 60.0, 12.0, (0.0, 0.0, 12.0), {-1: cutter()}, Limits(6000.0, 500.0, 0.02), cell=0.1
)


def read(body: str, bench: ForeignSetup = BENCH, head: str = HEAD, tail: str = TAIL):
    return read_foreign(head + body + tail, "other.nc", bench)


def test_a_slot_is_what_geometry_says():
    """Volume of a slot with round ends; depth, wood left, extents and places."""
    found = read("G1 Z-3 F600\nX30 F1200\n")
    assert found.counts == {}
    assert found.deed.removed == pytest.approx((6.0 * 30.0 + math.pi * 9.0) * 3.0, rel=5e-3)
    assert found.deed.depth.value == pytest.approx(3.0, abs=1e-5)
    assert found.deed.left.value == pytest.approx(9.0, abs=1e-5)
    assert -3.0 <= found.deed.left.x <= 33.0 and abs(found.deed.left.y) <= 3.0
    assert found.extents[0] == (0.0, 30.0) and found.extents[2] == (-3.0, 5.0)
    assert found.deed.through == 0.0 and found.deed.below_bed == 0.0
    assert found.deed.straight_down == pytest.approx(3.0, abs=1e-5)
    assert found.feeds == (600.0, 1200.0) and found.speeds == (16000.0,)


def test_ball_and_bull_and_helix_remove_their_volumes():
    """A groove of half a cylinder; a round pocket by a helix that ends in a level turn."""
    ball = replace(BENCH, cutters={-1: cutter("ball", 6.0, 3.0)})
    found = read("G1 Z-3 F600\nX30\n", ball)
    assert found.deed.removed == pytest.approx(
        math.pi * 9.0 / 2.0 * 30.0 + 2.0 / 3.0 * math.pi * 27.0, rel=5e-3
    )
    bull = replace(BENCH, cutters={-1: cutter("bull", 6.0, 1.0)})
    assert read("G1 Z-3 F600\n", bull).deed.removed < math.pi * 9.0 * 3.0 * 0.99
    bore = read("X2\nG1 Z0 F600\nG3 X2 I-2 J0 Z-2\nX2 I-2 J0 Z-4\nX2 I-2 J0\n")
    assert bore.deed.removed == pytest.approx(math.pi * 25.0 * 4.0, rel=5e-3)


TWINS = [
    "G1 Z-3 F600\nX30\nG3 X30 Y10 I0 J5\nG1 X0\n",
    "N10 g1 z-3. f600\nN20 x30 (over)\nN30 G3 X30 Y10 R5\nN40 G1X0\n",
    "G91\nG1 Z-8 F600\nX30\nG3 X0 Y10 R5\nG1 X-30\nG90\n",
    "G20\nG1 Z-.11811024 F23.62\nX1.18110236\nG3 X1.18110236 Y.39370079 I0 J.19685039\nG1 "
    "X0\nG21\n",
    "G93\nG1 Z-3 F75\nX30 F20\nG3 X30 Y10 J5 F38.197\nG1 X0 F20\nG94\n",
]


@pytest.mark.parametrize("body", TWINS[1:], ids=["words", "increments", "inches", "inverse time"])
def test_however_it_is_written_the_wood_is_the_same(body):
    """Inches, increments, R words and line numbers are only other ways to say it."""
    one, other = read(TWINS[0]), read(body)
    assert other.counts == {}
    assert other.deed.removed == pytest.approx(one.deed.removed, rel=1e-4)
    assert (
        np.abs(other.stock.top - one.stock.top).max() < 2e-4
        or (other.stock.top != one.stock.top).mean() < 2e-3
    )
    assert other.cut_length == pytest.approx(one.cut_length, rel=1e-5)


def test_cycles_drill_through_and_say_so():
    """Two holes 1 below the blank: their area, the depth below the bed, and the spoil board named
    or not."""
    drill = replace(BENCH, cutters={-1: cutter("drill", 5.0)})
    found = read("G99 G81 X10 Y5 Z-13 R1 F300\nX-10\nG80\n", drill)
    assert found.counts == {"spoil-board": 2}
    assert found.deed.through == pytest.approx(2.0 * math.pi * 6.25, rel=1e-2)
    assert found.deed.below_bed == pytest.approx(1.0)
    assert found.deed.left is None and found.deed.depth.value == 12.0
    assert read("G99 G81 X10 Y5 Z-13 R1 F300\nG80\n", replace(drill, spoil_board=6.0)).counts == {}
    assert read("G99 G81 X10 Y5 Z-13 R1 F300\nG80\n", replace(drill, spoil_board=0.5)).counts == {
        "spoil-board": 1
    }


def test_each_cutter_cuts_its_own_part():
    """Taken for the first cutter, the second one's slot would have the wrong width."""
    two = replace(BENCH, cutters={1: cutter(number=1), 2: cutter(diameter=2.0, number=2)})
    body = "G1 Z-3 F600\nX30\nG0 Z5\nT2 M6\nS16000 M3\nG4 P3\nG0 X0 Y20\nG1 Z-3\nX30\n"
    found = read(body, two)
    assert found.counts == {} and found.used == (1, 2)
    assert found.deed.removed == pytest.approx(
        3.0 * (6 * 30 + math.pi * 9 + 2 * 30 + math.pi), rel=1e-2
    )
    lost = read(body, replace(BENCH, cutters={1: cutter(number=1)}))
    assert lost.counts == {"unknown-cutter": 1}
    assert lost.deed.removed == pytest.approx(3.0 * (6 * 30 + math.pi * 9), rel=5e-3)


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        ("G0 Z-1\nG1 X9 F300\n", "plunge-at-rapid"),
        ("G1 Z-1 F300\nG0 X9\n", "rapid-through-material"),
        ("M5\nG1 Z-1 F300\nX9\n", "spindle-off"),
        ("G1 Z-1\n", "feed-missing"),
        ("G1 Z-1 F300\nM0\n", "stop-low"),
        ("M0\nG1 Z-1 F300\n", "stop-with-spindle-on"),
        ("G1 Z-1 F300\nG28\n", "unsupported"),
        ("G1 Z-1 F300 ; down\n", "syntax"),
        ("G1 Z-1 F300\nG92 X0\n", "unsupported"),
        ("G1 Z-1 F300\nG55\nG0 Z5 X0 Y0\nG1 Z-1\n", "zero"),
        ("G0 X500\nG1 Z-1 F300\n", "outside-area"),
        ("G43 H3\nG0 Z5\nG1 Z-1 F300\n", "length-offset"),
        ("G1 Z-1 F300\nG2 X5 I2\n", "arc-mismatch"),
        ("/G1 Z-1 F300\nX2\n", "block-delete"),
    ],
)
def test_what_a_careful_machinist_would_not_run(body, kind):
    """Each of these on a file from elsewhere costs a blank, a cutter or a hand."""
    found = read(body)
    assert kind in found.counts, found.counts
    assert all(
        finding.kind != kind or finding.line is not None or kind in ("outside-area", "zero")
        for finding in found.findings
    )


def test_heads_and_ends_that_leave_things_open():
    """Units, distance, end, dwell: what the machine was left in before decides."""
    assert read("G1 Z-1 F300\n", head=HEAD.replace("G21 ", "")).counts["units"] >= 1
    assert read("G1 Z-1 F300\n", head=HEAD.replace("G90 ", "")).counts == {"preamble": 1}
    assert read("G1 Z-1 F300\n", head=HEAD.replace("G17 ", "")).counts == {}, (
        "no arc hangs on the plane here"
    )
    assert read("G1 Z-1 F300\nG2 X1 I1 J0\n", head=HEAD.replace("G17 ", "")).counts["preamble"] == 1
    assert read("G1 Z-1 F300\n", tail="").counts == {"missing-end": 1}
    assert read("G1 Z-1 F300\n", head=HEAD.replace("G4 P3\n", "")).counts == {"spindle-not-up": 1}
    assert read("G1 Z-1 F300\n", replace(BENCH, spin_up=5.0)).counts == {"spindle-not-up": 1}


def test_units_asked_for_a_file_without_them():
    """An inch file without G20 is cut 25 times too small, and told either way."""
    head = HEAD.replace("G21 ", "").replace("Z5", "Z.2")
    inch = read("G1 Z-.1 F20\nX1\n", replace(BENCH, inch=True), head=head, tail="G0 Z.2\nM5\nM30\n")
    assert inch.deed.depth.value == pytest.approx(2.54, abs=1e-4)
    assert set(inch.counts) == {"units"}


def test_edges_and_stick_out_where_they_were_given():
    """A cutter of edges 2 long that goes 3 deep rubs; one that sticks out 2.5 drives its collet
    into the wood."""
    short = Cutter(-1, "flat", 6.0, 0.0, 2, 2.0, 2.5, centre_cutting=True)
    assert set(read("G1 Z-3 F300\n", replace(BENCH, cutters={-1: short})).counts) == {
        "too-deep-for-cutter",
        "collet",
    }


def test_past_the_sides_and_through_the_air():
    """A lap round the blank's right end, 2 beyond it, half in the air."""
    found = read("X60\nG1 Z-3 F600\nX52\nY10\n")
    assert found.deed.beyond == pytest.approx((0.0, 13.0, 0.0, 0.0))
    assert 0.0 < found.deed.air <= 16.0


def test_minutes_are_those_of_the_clock():
    """One straight cut of 60 at 600: 6 s and the ramps; dwells count, a lower acceleration takes
    longer."""
    found = read("G1 Z-1 F600\nX45\n")
    assert found.minutes.known and found.minutes.dwell == pytest.approx(3 / 60)
    assert found.minutes.feed * 60 == pytest.approx((6.0 + 45.0) / 10.0, rel=0.02)
    slow = read("G1 Z-1 F600\nX45\n", replace(BENCH, limits=Limits(6000.0, 10.0, 0.02)))
    assert slow.minutes.total > found.minutes.total * 1.2
    assert not read("G1 Z-1\nX45\n").minutes.known


def test_the_report_is_plain_data_and_the_same_each_time():
    """Strangers read it, and compare it byte by byte."""
    one, other = (json.dumps(reported(read(TWINS[0]))) for _ in range(2))
    assert one == other
    entry = json.loads(one)
    assert (
        entry["ok"]
        and {"extents", "minutes", "depth", "left", "through", "beyond", "findings"} <= entry.keys()
    )


@pytest.mark.parametrize(
    "text", ["", "%\n%\n", "M2\n", "G0 Z5\nM2\n", "\x00\xff", "G1 X1e9\n", "T1 M6\nM2\n"]
)
def test_files_with_nothing_in_them(text):
    """An empty file must not bring the reader down, nor look as if it had cut something."""
    found = read_foreign(text, "x.nc", BENCH)
    assert found.deed.removed == 0.0
    json.dumps(reported(found))
