"""The reader as a whole: modal state, events, whole-file findings, and the fast way against the
full one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.gcode.read import motions
from corepath.gcode.read.arcs import flatten, lengths
from corepath.gcode.read.motions import read_program

HEAD = "G17\nG21\nG90\nG94\nG54\nG40\nG49\nG80\nG64\nT1\nG0 Z10\nS9000 M3\nG4 P2\nG0 X0 Y0\nF600\n"
TAIL = "G0 Z10\nM5\nM2\n"


def read(body: str, *, head: str = HEAD, tail: str = TAIL, fast: bool = True):
    return read_program(head + body + tail, "x.nc", fast=fast)


def same(one, two) -> None:
    for name in ("kind", "start", "end", "centre", "feed", "line", "spindle_on"):
        assert np.array_equal(
            getattr(one, name), getattr(two, name), equal_nan=name not in ("kind", "spindle_on")
        ), name
    assert one.events == two.events
    assert [str(f) for f in one.findings] == [str(f) for f in two.findings]


def test_a_good_program_has_no_findings():
    """A false alarm here would stop every plan."""
    program = read("G1 X10\nY5\nG2 X12 Y7 I2 J0\n")
    assert not list(program.findings)
    assert program.unstated == ()
    assert program.units_stated
    assert program.tool == 1
    assert program.kind.tolist() == [0, 0, 1, 1, 2, 0]
    assert program.end[-2].tolist() == [12, 7, 10]
    assert np.isnan(program.start[0]).all()
    assert program.start[1:].tolist()[1:] == program.end[1:-1].tolist()
    assert [event.name for event in program.events] == [
        "tool",
        "speed",
        "spindle-on",
        "dwell",
        "spindle-off",
        "end",
    ]


def test_units_and_distance_mode_scale_and_add():
    """Inches taken for millimetres, or increments for places, would be cut 25 times off."""
    program = read("G1 X1\nG91\nX1 Y.5\nG90\nX3\n", head=HEAD.replace("G21", "G20"))
    assert program.end[2:-1, 0] == pytest.approx([25.4, 50.8, 76.2])
    assert program.end[3, 1] == pytest.approx(12.7)
    assert program.feed[2] == pytest.approx(600 * 25.4)


@pytest.mark.parametrize("code", ["G2", "G3"])
@pytest.mark.parametrize("inverse_time", [False, True])
def test_an_arc_that_ends_at_the_angle_of_its_start_goes_once_round(code: str, inverse_time: bool):
    """About the origin from radius 5 to 5.001 (allowed to differ by 0.002) at the angle of (3, 4):
    10 pi long, by way of (-3, -4), either way round; it was a full circle one way, nothing the
    other, and the same arc with its angle rounded the other way the reverse."""
    to = "X3.0006 Y4.0008 I-3 J-4"
    program = read(
        f"G1 X3 Y4\nG93 {code} {to} F2\nG94\n" if inverse_time else f"G1 X3 Y4\n{code} {to}\n"
    )
    assert not list(program.findings)
    arcs = program.kind, program.start, program.end, program.centre
    long = lengths(*arcs)[program.kind >= 2]
    assert long == pytest.approx(10 * np.pi, rel=1e-9)
    _, ends, _ = flatten(*arcs, 0.001)
    assert np.hypot(ends[2:, 0] + 3, ends[2:, 1] + 4).min() < 0.1
    if inverse_time:
        assert program.feed[program.kind >= 2] == pytest.approx(20 * np.pi, rel=1e-9)


def test_radii_too_far_apart_at_one_angle_are_no_full_circle():
    """0.003 is more than the standard's 0.002 mm: an error there, a finding here."""
    found = read("G1 X3 Y4\nG3 X3.0018 Y4.0024 I-3 J-4\n").findings
    assert [one.kind for one in found] == ["arc-mismatch"]


def test_feed_in_inverse_time_is_length_times_f():
    """G93: the move takes 1/F minutes (NIST IR 6556, 2.1.2.5)."""
    program = read("G93\nG1 X30 Y40 F2\nG94\nF600\n")
    assert program.feed[2] == pytest.approx(100.0)
    assert "syntax" in read("G93\nG1 X10\nG94\nF600\n").findings.counts


def test_m6_stops_the_spindle_and_m3_after_it_starts_it():
    """A change that leaves the spindle marked as turning would hide a cut with it standing."""
    program = read("T2 M6\nG1 X5\nT2 M6 M3\nX6\n")
    assert program.spindle_on[2:4].tolist() == [False, True]


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        ("G1\n", "syntax"),
        ("X1 I2\n", "syntax"),
        ("G2 X1\n", "syntax"),
        ("G2 I1\n", "syntax"),
        ("G2 X5 R1\n", "syntax"),
        ("G2 X0 Y0 R1\n", "syntax"),
        ("G2 X2 I1 R1\n", "syntax"),
        ("G2 X2 I1 K1\n", "syntax"),
        ("G4\n", "syntax"),
        ("G4 P-1\n", "syntax"),
        ("G80\nX1\n", "syntax"),
        ("G1 F-5 X1\n", "syntax"),
        ("S-1\n", "syntax"),
        ("G81 X1 Y1 Z-1\n", "syntax"),
        ("G81 X1 Y1 Z5 R2\n", "syntax"),
        ("G81 X1 Z-1 R2 L0\n", "syntax"),
        ("G83 X1 Z-1 R2\n", "syntax"),
        ("hello\n", "syntax"),
        ("G1 X1 R2\n", "syntax"),
        ("G2 X2.01 I1\n", "arc-mismatch"),
        ("G94\nG1 X1\n", "feed-missing"),
        ("F0\nG1 X1\n", "feed-missing"),
        ("G53 G0 Z0\n", "unsupported"),
        ("G92 X0\n", "unsupported"),
        ("G19\n", "unsupported"),
        ("G1 X#2\n", "unsupported"),
        ("/G1 X1\n", "block-delete"),
        ("%\n", "syntax"),
    ],
)
def test_each_wrong_line_is_found_with_its_line(body, kind):
    """A line that is skipped in silence is a move that nobody checked."""
    program = read(body)
    assert kind in program.findings.counts
    first = next(finding for finding in program.findings if finding.kind == kind)
    assert first.line is not None
    assert 15 < first.line <= 15 + body.count("\n")
    same(program, read(body, fast=False))


def test_reading_ends_at_what_is_not_simulated():
    """Motions after a moved origin would be checked at the wrong place."""
    program = read("G1 X1\nG92 X0\nX99\n")
    assert program.refused
    assert program.end[-1, 0] == 1.0


def test_end_is_needed_and_nothing_may_follow_it():
    """A file cut short would go unnoticed."""
    assert read("", tail="").findings.kinds == ("missing-end",)
    assert read("", tail="M30\n").findings.kinds == ()
    assert read("", tail="M2\nG0 X5\nG0 X6\n").findings.counts == {"after-end": 1}


def test_percent_signs_frame_a_file():
    """Section 3.1: a leading one needs a closing one, and what follows that is ignored."""
    assert not read("", head="%\n" + HEAD, tail="M2\n%\nanything\n").findings.counts
    assert read("", head="%\n" + HEAD).findings.counts == {"syntax": 1}
    assert not read("", head="%\n" + HEAD, tail="G0 Z10\n%\n").findings.counts.get("syntax")


def test_unstated_modal_groups_are_named():
    """Nothing may hang on what the machine was left in."""
    program = read_program("G21\nG90\nG0 Z5\nG17\nM2\n", "x.nc")
    assert program.unstated == (
        "plane", "feed mode", "coordinate "
                              "system", "radius compensation", "length offset", "cycles off",
                              "path control",
    )  # fmt: skip
    assert not read_program("G0 X1\nG21\nM2\n", "x.nc").units_stated


def test_cycle_pecks_down_to_the_bottom():
    """G83: each peck at most Q deep, out in between, the last at Z."""
    program = read("G99 G83 X5 Y5 Z-2 R1 Q1.2\nG80\n")
    cuts = program.end[program.kind == 1]
    assert cuts[:, 2] == pytest.approx([-0.2, -1.4, -2.0])
    assert (program.end[program.kind == 0][-2, 2]) == 1.0


def test_cycles_without_end_are_refused_in_no_time(monkeypatch):
    """A few bytes must not ask for more motions than memory holds: pecks times repeats, and line
    after line."""
    once = read("G99 G83 X1 Z-1 R1 Q0.0001 L9999\nG80\n")
    assert "pecks" in next(iter(once.findings)).message and once.count < 10
    pecking = "G99 G83 X5 Y5 Z-9 R1 Q5\n" + "X6\n" * 200 + "G80\n"
    assert not read(pecking).findings.counts
    monkeypatch.setattr("corepath.gcode.read.modal._MOST_CYCLED", 800)
    assert read(pecking).findings.counts["syntax"] == 101


lines = st.one_of(
    st.tuples(
        st.sampled_from(["", "G0", "G1", "G01", "g1", "G 1"]),
        st.sampled_from(
            [
                "X1",
                "Y-2.5",
                "Z3",
                "X.5 Y2",
                "x1",
                "X 1",
                "X1 X2",
                "Y1 X2",
                "",
                "X1 Z2 F300",
                "F10",
                "X1 S5",
            ]
        ),
    ).map(" ".join),
    st.tuples(
        st.sampled_from(["G2", "G3", ""]),
        st.sampled_from(
            ["X2 Y0 I1 J0", "X1 Y1 I1", "X0 I1", "I1", "Y2 J1 Z3", "X3 R4", "X2", "X2 I0 J0"]
        ),
    ).map(" ".join),
    st.sampled_from(
        [
            "G20",
            "G21",
            "G91",
            "G90",
            "M5",
            "M3",
            "G80",
            "(c)",
            "",
            "G4 P1",
            "M0",
            "N10 X4",
            "G81 X1 Z-1 R1",
            "?",
        ]
    ),
)


@given(st.lists(lines, max_size=25), st.sampled_from(["\n", "\r\n"]))
@settings(derandomize=True, max_examples=250, deadline=None)
def test_fast_and_full_way_agree(body, end):
    """The one regular expression may take nothing for plain that the full reader reads
    otherwise."""
    text = (HEAD + "".join(line + "\n" for line in body) + TAIL).replace("\n", end)
    same(read_program(text, "x.nc"), read_program(text, "x.nc", fast=False))


NUMBERS = [
    "0", "1", "2", "3", "01", "00", "001", "1.5", "-2", "+3", ".5", "-.5", "4.", "-0", "1 2",
    "1.2.3", "-", "", "53",
]  # fmt: skip
NEAR = st.builds(
    lambda parts, end: "".join(parts) + end,
    st.lists(
        st.builds(
            lambda before, letter, gap, number: before + letter + gap + number,
            st.sampled_from(["", " ", "\t", "  "]),
            st.sampled_from("GXYZIJFXYZgxyzfRSNK/"),
            st.sampled_from(["", "", "", " "]),
            st.sampled_from(NUMBERS),
        ),
        max_size=6,
    ),
    st.sampled_from(["", "", "", " ", "\r", " (c)", ";c", " " * 250]),
)  # fmt: skip


@given(st.lists(NEAR, max_size=12))
@settings(derandomize=True, max_examples=200, deadline=None)
def test_fast_and_full_way_agree_on_lines_that_are_nearly_plain(body):
    """Letters twice or out of order, odd numbers, blanks and line ends: whatever the pattern takes,
    both read alike."""
    text = HEAD + "".join(line + "\n" for line in body) + TAIL
    same(read_program(text, "x.nc"), read_program(text, "x.nc", fast=False))


@given(
    st.lists(st.one_of(lines, NEAR), max_size=25),
    st.sampled_from(["\n", "\r\n"]),
    st.integers(1, 9),
)
@settings(derandomize=True, max_examples=300, deadline=None)
def test_blocks_of_lines_and_full_way_agree(body, end, size):
    """Long runs of plain lines are read block by block: with small blocks all that may stand in one
    is met here."""
    text = (HEAD + "".join(line + "\n" for line in body) + TAIL).replace("\n", end)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(motions, "_SINGLE", size % 3)
        patch.setattr(motions, "_LEAST_BLOCK", size)
        patch.setattr(motions, "_MOST_BLOCK", 3 * size)
        fast = read_program(text, "x.nc")
    same(fast, read_program(text, "x.nc", fast=False))


def test_long_runs_of_plain_lines_agree():
    """As long as a real file's, with feeds between, arcs, and a line now and then that is not
    plain."""
    random = np.random.default_rng(5)
    body = []
    for k, (x, y, z) in enumerate(random.uniform(-50, 50, (3000, 3))):
        body.append(
            (f"G1 X{x:.4f} Y{y:.4f}", f"Z{z:.3f}", f"X{x:.4f}", f"G0 Y{y:.1f} Z{z:.4f}", "F900.5")[
                k % 5
            ]
        )
        if k % 7 == 0:
            body.append(f"G2 X{x + 2:.4f} Y{y:.4f} I1 J0")
        if k % 900 == 899:
            body.append(("N5 G1 X1 (c)", "G91", "M5", "G20 G90")[k // 900 % 4])
    text = "\n".join(body) + "\n"
    one, other = read(text), read(text, fast=False)
    same(one, other)
    assert one.count > 2000


def test_a_feed_below_zero_alone_on_a_line():
    """The pattern once took it for plain and the fault went untold."""
    for body in ("F-5\n", "X1 F-5\n", "F-0\nX1\n"):
        same(read("G1 X0\n" + body), read("G1 X0\n" + body, fast=False))
    assert "syntax" in read("F-5\n").findings.counts


def test_offset_of_another_cutter():
    """A length offset that is not the cutter's sets every depth off by the difference of two
    cutters."""
    assert read("G43 H2\nG0 Z10\n").findings.counts == {"length-offset": 1}
    assert not read("G43 H1\nG0 Z10\n").findings.counts
    assert not read("G43 H0\nG0 Z10\n").findings.counts


@given(st.text(alphabet="GMXYZIJRFSTPQLN%/()#. -0123456789\n", max_size=400))
@settings(derandomize=True, max_examples=300, deadline=None)
def test_any_text_is_read_to_an_end(text):
    """No file may bring the reader down."""
    program = read_program(text, "x.nc")
    assert program.count == len(program.end) == len(program.line)


@given(st.integers(0, 10_000))
@settings(derandomize=True, max_examples=40, deadline=None)
def test_harmless_twins_give_the_same_motions(seed):
    """Line numbers, comments, spacing and case say nothing about the motion."""
    random = np.random.default_rng(seed)
    body = [f"G1 X{x:.3f} Y{y:.3f}" for x, y in random.uniform(-50, 50, (20, 2))] + [
        "G3 X5 Y5 R80",
        "G2 X1 R50",
    ]
    plain = read("\n".join(body) + "\n")
    twin = [
        f"n{7 * k % 99999}{line.lower().replace('x', ' x ')}(note)" for k, line in enumerate(body)
    ]
    other = read("\n".join(twin) + "\n")
    assert np.array_equal(plain.end, other.end, equal_nan=True)
    assert np.array_equal(plain.centre, other.centre, equal_nan=True)
