"""The reader against outside sources.

NIST IR 6556: Kramer, Proctor, Messina, The NIST RS274NGC Interpreter, Version 3 (2000), sections
3.5.3.2, 3.5.16, Table 10 and appendix C.1; and the registry's package pygcode as an independent
parser.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from corepath.gcode.read.arcs import lengths, sweeps
from corepath.gcode.read.motions import read_program


def after(x: float, y: float, z: float, text: str):
    """Motions of `text` from a place; the two lines before it are left out."""
    program = read_program(f"G21\nG90 G94 G17\nF100\nG0 X{x} Y{y} Z{z}\n{text}\nM2\n", "nist.nc")
    assert not list(program.findings)
    return program.kind[1:].tolist(), program.end[1:], program.centre[1:], program.start[1:]


def test_centre_format_arc_of_section_3_5_3_2():
    """At (7, 7, 9): centre (10, 11), radius 5."""
    kind, end, centre, start = after(7, 7, 9, "G17 G2 X10 Y16 I3 J4 Z9")
    assert kind == [2]
    assert end.tolist() == [[10, 16, 9]]
    assert centre.tolist() == [[10, 11]]
    assert np.hypot(*(start[0, :2] - centre[0])) == pytest.approx(5.0)


def test_radius_format_arc_of_table_10():
    """At (3, 1, 0): centre (1.5000, 7.8476), clockwise; printed to four decimals."""
    kind, end, centre, _ = after(3, 1, 0, "g2 x0 r7.01 z0.5")
    assert kind == [2]
    assert centre[0] == pytest.approx([1.5, 7.8476], abs=5e-5)
    assert end[0].tolist() == [0, 1, 0.5]


def test_radius_sign_chooses_the_sweep():
    """Section 3.5.3.1: R above zero at most 180 degrees, below zero more."""
    for text, sweep in (
        ("G3 X10 R10", 60.0),
        ("G3 X10 R-10", 300.0),
        ("G2 X10 R10", -60.0),
        ("G2 X10 R-10", -300.0),
    ):
        kind, end, centre, start = after(0, 0, 0, text)
        assert np.degrees(sweeps(np.array(kind, dtype=np.int8), start, end, centre))[
            0
        ] == pytest.approx(sweep)


def test_drilling_cycle_absolute():
    """Section 3.5.16: from (1, 2, 3), G98, old Z above R."""
    kind, end, *_ = after(1, 2, 3, "G90 G81 G98 X4 Y5 Z1.5 R2.8")
    assert kind == [0, 0, 1, 0]
    assert end.tolist() == [[4, 5, 3], [4, 5, 2.8], [4, 5, 1.5], [4, 5, 3]]


def test_drilling_cycle_incremental_with_repeats():
    """Section 3.5.16: from (1, 2, 3), three repeats."""
    kind, end, *_ = after(1, 2, 3, "G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3")
    expected = [[1, 2, 4.8]]
    for x, y in ((5, 7), (9, 12), (13, 17)):
        expected += [[x, y, 4.8], [x, y, 4.2], [x, y, 4.8]]
    assert kind == [0] + [0, 1, 0] * 3
    assert end == pytest.approx(np.array(expected))


def test_drilling_cycle_of_table_10():
    """Table 10: from (30, 1, -0.5)."""
    kind, end, *_ = after(30, 1, -0.5, "g91 g81 x3 y2 z-0.8 r1.5 l2")
    expected = [
        [30, 1, 1],
        [33, 3, 1],
        [33, 3, 0.2],
        [33, 3, 1],
        [36, 5, 1],
        [36, 5, 0.2],
        [36, 5, 1],
    ]
    assert kind == [0, 0, 1, 0, 0, 1, 0]
    assert end == pytest.approx(np.array(expected))


def test_radius_agreement_is_two_microns_or_two_tenths_of_a_thou():
    """Section 3.5.3.2: 0.002 mm, or 0.0002 inch."""
    for units, good, bad in (("G21", "2.0019", "2.0021"), ("G20", "2.00019", "2.00021")):
        for x, wrong in ((good, False), (bad, True)):
            program = read_program(f"{units}\nG90\nF9\nG0 X0 Y0 Z0\nG2 X{x} Y0 I1 J0\nM2\n", "x.nc")
            assert ("arc-mismatch" in program.findings.counts) is wrong, (units, x)


def test_order_of_execution_on_a_line():
    """Table 8: T1 M6 M3 S4000 leaves the spindle turning; M0 comes after the motion."""
    program = read_program("G21\nM0 X1 G0 M3 Y1 S4000 Z1 M6 T1\nM2\n", "x.nc")
    assert not list(program.findings)
    assert program.spindle_on.tolist() == [True]
    names = [(event.name, event.index) for event in program.events]
    assert names == [
        ("speed", 0),
        ("tool", 0),
        ("tool-change", 0),
        ("spindle-on", 0),
        ("stop", 1),
        ("end", 1),
    ]


def test_helix_length_counts_along_the_helix():
    """Section 2.1.2.6: the feed is along the helix."""
    kind, end, centre, start = after(5, 0, 0, "G3 X5 Y0 I-5 J0 Z3")
    length = lengths(np.array(kind, dtype=np.int8), start, end, centre)
    assert length[0] == pytest.approx(np.hypot(2 * np.pi * 5, 3))


BODY = """G0 X5 Y5
G1 Z-1 F300
X20 Y8
G2 X24 Y12 I0 J4
G3 X28 Y16 I4 J0 Z-2
G1 X30
Y22.5
G0 Z10
"""


def _by_pygcode(text: str) -> list[tuple[float, float, float]]:
    """End points of all moves as pygcode's virtual machine gives them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pygcode = pytest.importorskip("pygcode")
        machine = pygcode.Machine()
        places = []
        for line in text.splitlines():
            block = pygcode.Line(line).block
            moves = [code for code in (*block.gcodes, *block.modal_params) if code is not None]
            before = machine.pos
            machine.process_block(block)
            if moves and (machine.pos != before):
                places.append((machine.pos.X, machine.pos.Y, machine.pos.Z))
        return places


@pytest.mark.parametrize("units", ["G21", "G20"])
def test_end_points_agree_with_an_independent_parser(units):
    """pygcode, in the units of the file: the same places in the same order."""
    text = f"G17 {units} G90 G94\nG0 Z10\n{BODY}"
    scale = 25.4 if units == "G20" else 1.0
    ours = read_program(text + "M2\n", "x.nc").end / scale
    theirs = _by_pygcode(text)
    assert len(ours) == len(theirs) == 9
    assert ours[1:] == pytest.approx(np.array(theirs)[1:], abs=1e-9)
