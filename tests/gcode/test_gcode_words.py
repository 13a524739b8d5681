"""Words and blocks: what RS-274 allows on a line, and what it does not (NIST IR 6556, section
3.3)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.gcode.read.blocks import read_block
from corepath.gcode.read.words import LONGEST_LINE, read_line


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("G1X2.5", (("G", 1.0), ("X", 2.5))),
        ("g0x +0. 12 34y 7", (("G", 0.0), ("X", 0.1234), ("Y", 7.0))),
        ("x-.5 y5. z+00.250", (("X", -0.5), ("Y", 5.0), ("Z", 0.25))),
        ("(words X1 here) G1 (and here) Y2", (("G", 1.0), ("Y", 2.0))),
        ("/N12 G1 X1", (("G", 1.0), ("X", 1.0))),
        ("\tG 5 9 . 1", (("G", 59.1),)),
        ("", ()),
    ],
)
def test_words_are_read_whatever_case_and_spacing(text, words):
    """A space inside a number or a small letter would change the motion."""
    line = read_line(text)
    assert line.fault is None
    assert line.words == words


def test_line_number_block_delete_and_message_are_told_apart():
    """A line number read as a word, or a switch overlooked, would misplace a finding."""
    line = read_line("/ N00042 M0 (MSG, fit the cutter)")
    assert (line.number, line.deleted, line.message) == (42, True, "fit the cutter")
    assert read_line("(only (MSG) is none)").fault is not None
    assert read_line("(a) (MSG,b) (c)").message is None, "only the last comment counts"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("G1 X", "cannot be read"),
        ("G1 X1.2.3", "cannot be read"),
        ("G1 X--1", "cannot be read"),
        ("N123456 G1", "line number"),
        ("N1.5 G1", "line number"),
        ("(open", "comment"),
        ("close)", "comment"),
        ("(a (b))", "comment"),
        ("G1 X1 (ü)", "ASCII"),
        ("X1" + " " * LONGEST_LINE, "longer"),
        ("%G1", "cannot be read"),
    ],
)
def test_what_is_not_allowed_is_a_fault(text, message):
    """Anything guessed at here would be cut."""
    fault = read_line(text).fault
    assert fault is not None
    assert fault.kind == "syntax"
    assert message in fault.message


def test_words_before_a_semicolon_are_read_and_told():
    """A file of another's making must not lose every line that ends in such a comment, nor pass as
    RS-274."""
    line = read_line("G1 X1 ; far X2")
    assert line.words == (("G", 1.0), ("X", 1.0))
    assert line.remark is not None and line.remark.kind == "syntax"
    assert read_line("; all of it").words == ()
    assert read_line("(inside; it is none) G1").remark is None


@pytest.mark.parametrize("text", ["G1 X#1", "#3=4", "G1 X[1+2]", "G1 Xsin[30]", "G1 X1 Z-#5"])
def test_parameters_are_refused_not_misread(text):
    """A value that a program computes is not known to the reader."""
    fault = read_line(text).fault
    assert fault is not None
    assert fault.kind == "unsupported"


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("G0 G1 X1", "syntax", "one modal group"),
        ("G20 G21", "syntax", "one modal group"),
        ("G4 P1 G53", "syntax", "one modal group"),
        ("M3 M5", "syntax", "one modal group"),
        ("M7 M8", "syntax", "one modal group"),
        ("X1 X2", "syntax", "two X"),
        ("F1 F2", "syntax", "two F"),
        ("G123", "syntax", "not a code"),
        ("G1.5", "syntax", "not a code"),
        ("M77", "syntax", "not a code"),
        ("X1e3", "syntax", "not a letter"),
        ("U1", "syntax", "not a letter"),
        ("A1", "unsupported", "rotary"),
        ("G92 X0", "unsupported", "G92"),
        ("G10 L2", "unsupported", "G10"),
        ("G41 D1", "unsupported", "compensation"),
        ("G18", "unsupported", "plane"),
    ],
)
def test_conflicts_on_one_line_are_faults(text, kind, message):
    """Two commands of one group leave open which of them counts (Table 4)."""
    line = read_line(text)
    assert line.fault is None
    faults = read_block(line.words).faults
    assert [fault.kind for fault in faults] == [kind]
    assert message in faults[0].message


def test_near_integers_count_as_integers():
    """Section 3.3.2.1: within 0.0001."""
    assert read_block(read_line("G1.00001 M2.99995").words).g == {"motion": 10}
    assert read_block(read_line("M2.99995").words).m == {"spindle": 3}
    assert read_block(read_line("G1.0002").words).faults


@given(
    st.floats(-1e5, 1e5, allow_nan=False),
    st.sampled_from("XYZIJF"),
    st.integers(0, 6),
    st.randoms(use_true_random=False),
)
@settings(derandomize=True, max_examples=200, deadline=None)
def test_a_number_survives_spaces_and_case(value, letter, digits, random):
    """Written with any number of digits and spaces anywhere, it is the number written."""
    written = f"{value:.{digits}f}"
    text = "".join(
        character + " " * random.randint(0, 2) for character in (letter.lower() + written)
    )
    line = read_line(text)
    assert line.words == ((letter, float(written)),)


@given(st.text(max_size=300))
@settings(derandomize=True, max_examples=300, deadline=None)
def test_any_text_ends_in_words_or_a_fault(text):
    """No text may bring the reader down."""
    line = read_line(text)
    assert line.fault is not None or isinstance(line.words, tuple)


@pytest.mark.parametrize("sign", ["\x00", "\r", "\x18", "\x1b", "\x0b", "\x7f"])
def test_a_control_character_is_told_wherever_it_stands(sign: str):
    """Some controls end the line at a carriage return, and run what a comment was to hide; others
    stop at ctrl-X."""
    for line in (f"(a note{sign}G0 Z-5)", f"G1 X1{sign}", f"G1 X1 (a{sign}b)"):
        found = read_line(line + " ")
        assert found.fault is not None and f"code {ord(sign)}" in found.fault.message


@pytest.mark.parametrize("line", ["G1\tX1", "(a\tnote)", "\t"])
def test_tabs_are_no_control_characters(line: str):
    assert read_line(line).fault is None
