"""The writer as a whole: order of a file, what is dropped, stops between passes, extents, speed."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.gcode.write import FAILED, Heading, WrittenProgram, write
from corepath.job.model import MachineSection
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Approach, Move, Pass, Program, Zero, arc, line, rapid

CLEAR = 23.6
ZERO = Zero(0.0, 0.0, 0.0, "the bed beside the blank", True)
FACE = Zero(-120.0, -45.0, 13.6, "the raw top at X10 Y20", False)


def program(
    *passes: list[Move], zero: Zero = ZERO, combined: bool = False, **changed: Any
) -> Program:
    """A program with T3 whose passes are lifted to the safe height at their end."""
    cutter, cutting = (
        Cutter(3, "flat", 6.0, 0.0, 2, 22.0, 30.0),
        Cutting(18000, 3600, 1800, 1188, 3, 2.4),
    )
    kept = tuple(
        Pass.of([*moves, rapid(moves[-1].x, moves[-1].y, CLEAR)], "to the next plane")
        for moves in passes
    )
    values: dict[str, Any] = {
        "stem": "03-A-groove",
        "order": 3,
        "setup": "A",
        "name": "groove",
        **changed,
    }
    return Program(
        **values,
        cutter=cutter,
        cutting=cutting,
        zero=zero,
        clear=CLEAR,
        park=(0.0, -200.0),
        passes=kept,
        combined=combined,
    )


def machine(**changed: Any) -> MachineSection:
    return MachineSection(travel=(1500.0, 600.0, 100.0), **changed)


def written(
    made: Program, *, units: Any = "mm", warning: str | None = None, **changed: Any
) -> WrittenProgram:
    return write(
        made,
        Heading("Board 1280 (trial)", "0123abcd", "deck up", 12.34, warning),
        machine=machine(**changed),
        units=units,
    )


def body(text: str) -> list[str]:
    """The lines without comments."""
    return [row for row in text.splitlines() if not row.startswith("(")]


SLOT = [rapid(10, 5, CLEAR), rapid(10, 5, 15), line(10, 5, 12, 300), line(50, 5, 12, 3600)]


def test_whole_file_of_one_slot() -> None:
    """The order of a small file, word for word: a change here changes every file."""
    assert body(written(program(SLOT, zero=FACE)).text) == [
        "G17", "G21", "G90", "G94", "G54", "G40", "G49", "G80", "G64", "M5", "T3", "M0",
        "G0 Z10.0000", "S18000 M3", "G4 P4.0",
        "G0 X130.0000 "
        "Y50.0000", "G0 Z1.4000", "F300.0", "G1 Z-1.6000", "F3600.0", "G1 X170.0000", "G0 Z10.0000",
        "M5", "G0 X120.0000 Y-155.0000", "M2",
    ]  # fmt: skip


def test_head_says_what_must_be_known() -> None:
    """Paper and file are matched by the digest; the touch is what goes wrong most easily."""
    text = written(program(SLOT, zero=FACE, watch=("thin floor",))).text
    for row in (
        "(Job: Board 1280 [trial])",
        "(Plan: 0123abcd)",
        "(Set-up: A, operation 03 groove)",
        "(Face up: deck up)",
        "(Zero Z: touch the raw top at X10 Y20)",
        "(Touch again: NEVER, one touch serves for all)",
        "(Extent Z: -1.6000 to 10.0000 mm)",
        "(Minutes: 12.3, stops not counted)",
        "(Watch: thin floor)",
    ):
        assert row in text.splitlines()
    assert "(Cutter: T3 flat, diameter 6 mm," in text
    assert "(Touch again: allowed)" in written(program(SLOT)).text


def test_exact_path_and_tool_change_follow_the_machine() -> None:
    """G61 only where the control can; after M6, which stops the spindle, comes M3."""
    rows = body(written(program(SLOT), exact_path=True, tool_change="m6").text)
    assert "G61" in rows
    assert "G64" not in rows
    assert rows.index("T3 M6") < rows.index("G0 Z23.6000") < rows.index("S18000 M3")


def test_inch_scales_all_lengths_and_feeds() -> None:
    """A forgotten factor on feed or offset would be 25.4 too much."""
    moves = [
        rapid(25.4, 0, CLEAR),
        line(25.4, 0, 12.7, 254),
        arc(False, (-25.4, 0, 12.7), (-25.4, 0), 508),
    ]
    rows = body(written(program(moves), units="inch").text)
    assert "G20" in rows
    assert "G21" not in rows
    assert rows[rows.index("F10.00") + 1] == "G1 Z0.50000"
    assert rows[rows.index("F20.00") + 1] == "G3 X-1.00000 Y0.00000 I-1.00000 J0.00000"


def test_failed_checks_stand_first_and_stop_the_file() -> None:
    """Whoever cuts in spite of failures must have read it."""
    text = written(program(SLOT), warning="floor, window", tool_change="m6").text
    assert text.startswith(f"({FAILED})\n(Failed: floor, window)\n")
    assert f"(MSG, {FAILED})\nM0\n" in text
    assert FAILED not in written(program(SLOT)).text


def test_stop_between_passes_has_the_spindle_off_and_enters_from_above() -> None:
    """At the stop a hand reaches in: safe Z, spindle off, run-down, park; then on, run-up, X and Y
    at clear."""
    second = [rapid(30, 7, CLEAR), rapid(30, 7, 13), line(30, 7, 11, 300)]
    made = program(SLOT, second, combined=True)
    text = written(made).text
    rows = body(text)
    at = rows.index("M5", rows.index("S18000 M3"))
    assert rows[at - 1 : at + 7] == [
        "G0 Z23.6000", "M5", "G4 P8.0", "G0 X0.0000 "
                                        "Y-200.0000", "M0", "S18000 M3", "G4 P4.0",
                                        "G0 X30.0000 Y7.0000",
    ]  # fmt: skip
    assert (
        "(MSG, If the casting shows all round and at each plug, end. If not, cycle start)" in text
    )
    assert "(Pass 2 of 2: to the next plane)" in text


def test_park_reached_already_needs_no_move() -> None:
    """G0 without an axis word is an error (NIST IR 6556, 3.5.1)."""
    rows = body(written(program([rapid(0, -200, CLEAR), line(0, -200, 12, 300)])).text)
    assert rows[-3:] == ["G0 Z23.6000", "M5", "M2"]


def test_moves_that_round_to_nothing_are_dropped() -> None:
    """They would cost time at the control and are an error on a line of their own; feed words go
    with them."""
    moves = [
        rapid(1, 1, CLEAR),
        line(1, 1, 10, 300),
        line(1.00001, 1, 10, 777),
        line(2, 1, 10, 300),
    ]
    moves += [line(2, 1.00002, 10, 888), arc(False, (2.00003, 1.00002, 10), (50, 0), 999)]
    rows = body(written(program(moves)).text)
    assert [row for row in rows if row.startswith("F")] == ["F300.0"]


def test_pass_that_begins_low_still_enters_from_above() -> None:
    """X and Y before Z, at the safe height, whatever the first rapid says."""
    rows = body(written(program([rapid(5, 6, 14), line(5, 6, 12, 300)])).text)
    at = rows.index("G0 X5.0000 Y6.0000")
    assert rows[at + 1] == "G0 Z14.0000"


def test_full_circle_and_helix_are_halved() -> None:
    """Half-way a helix is half-way down; no arc turns more than 180°."""
    moves = [rapid(10, 0, CLEAR), line(10, 0, 10, 300), arc(True, (10, 0, 8), (-10, 0), 900)]
    rows = body(written(program(moves)).text)
    assert [row for row in rows if row.startswith("G2 ")] == [
        "G2 X-10.0000 Y0.0000 Z9.0000 I-10.0000 J0.0000",
        "G2 X10.0000 Y0.0000 Z8.0000 I10.0000 J0.0000",
    ]


def test_control_without_arcs_gets_chords() -> None:
    """R 10, error 0.0028: N = ceil(2 pi / 2 acos(1 - e/R)) = 133 chords a turn (geometry), Z
    falling evenly."""
    moves = [rapid(10, 0, CLEAR), line(10, 0, 10, 300), arc(False, (10, 0, 8), (-10, 0), 900)]
    rows = body(written(program(moves), arcs=False).text)
    assert not any(re.match("G[23] ", row) for row in rows)
    cut = rows[rows.index("F900.0") + 1 : rows.index("G0 Z23.6000", rows.index("F900.0"))]
    assert len(cut) == math.ceil(math.tau / (2 * math.acos(1 - 0.0028 / 10))) == 133
    assert cut[-1].endswith("Z8.0000")


def test_extents_hold_the_bulge_of_an_arc() -> None:
    """The middle of a half circle reaches farther than its ends: travel is judged by it."""
    moves = [rapid(0, -10, CLEAR), line(0, -10, 10, 300), arc(False, (0, 10, 10), (0, 10), 900)]
    made = written(program(moves))
    assert made.extents.x == pytest.approx((0.0, 10.0), abs=1e-4)
    assert made.extents.y == pytest.approx((-200.0, 10.0), abs=1e-4)
    assert made.extents.z == pytest.approx((10.0, CLEAR), abs=1e-4)
    assert made.lines == made.text.count("\n")


@pytest.mark.parametrize(
    ("way", "axis", "end"), [((1, 0), 0, 1), ((-1, 0), 0, 0), ((0, 1), 1, 1), ((0, -1), 1, 0)]
)
def test_extents_hold_the_bulge_on_each_side(way: tuple[int, int], axis: int, end: int) -> None:
    """A half circle of 10 that bulges one way, far out on that side: what juts out there meets the
    end of travel."""
    (a, b), (x, y) = way, (way[0] * 300, way[1] * 300)
    moves = [
        rapid(x + 10 * b, y - 10 * a, CLEAR),
        line(x + 10 * b, y - 10 * a, 10, 300),
        arc(False, (x - 10 * b, y + 10 * a, 10), (-10 * b, 10 * a), 900),
    ]
    extents = written(program(moves)).extents
    assert (extents.x, extents.y)[axis][end] == pytest.approx(310 if end else -310, abs=1e-4)


def test_straight_cuts_and_arcs_are_counted_apart() -> None:
    """By these counts it is judged whether a control that knows no arcs gets too long a file."""
    moves = [
        rapid(0, 0, CLEAR),
        line(0, 0, 10, 300),
        line(5, 0, 10, 900),
        arc(False, (15, 0, 10), (5, 0), 900),
    ]
    made = written(program(moves))
    assert (made.cut_lines, made.cut_arcs) == (2, 1)
    plain = written(program(moves), arcs=False)
    assert plain.cut_arcs == 0 and plain.cut_lines > 20


@pytest.mark.parametrize(
    ("count", "spindle", "told"), [(1, True, False), (2, True, True), (2, False, False)]
)
def test_passes_are_told_where_there_are_stops_between_cuts(
    count: int, spindle: bool, told: bool
) -> None:
    """One pass has no stop to wait for; a rehearsal has stops of its own."""
    text = written(program(*[SLOT] * count, spindle=spindle)).text
    assert (f"(Passes: {count}, with a stop after each but the last)\n" in text) is told


def said(text: str) -> str:
    """The comments of a file in one line, wrapped ones put together."""
    rows = [line[1:-1].strip() for line in text.splitlines() if line.startswith("(")]
    return " ".join(rows)


@pytest.mark.parametrize(
    ("zero", "message"), [(ZERO, "middle of the blank"), (FACE, "front-left corner of")]
)
def test_the_head_names_the_corner_of_the_zero(zero: Zero, message: str) -> None:
    """Taken for the other one, the whole file is cut half a board away."""
    (row,) = [
        line for line in written(program(SLOT, zero=zero)).text.splitlines() if "Zero X, Y:" in line
    ]
    assert row.startswith(f"(Zero X, Y: {message}")


@pytest.mark.parametrize(
    ("by", "message", "never"),
    [
        ("edges", "from the squared blank: touch its left and its front edge", "from the dowels"),
        (
            "kept",
            "as set for the dowel holes. If lost: from the dowels, never from an edge: dowel 1 is "
            "X20 Y45",
            "squared",
        ),
        (
            "dowels",
            "from the dowels, never from an edge: dowel 1 is X20 Y45, dowel 2 is X210.5 Y45",
            "squared",
        ),
        ("cradle", "from the marks on the cradle", "dowel"),
    ],
)
def test_the_head_says_how_x_and_y_are_found(by: Any, message: str, never: str) -> None:
    """The file that makes the dowel holes cannot be zeroed on them. Corner at -120, -45; dowels at
    -100 and 90.5."""
    zero = replace(FACE, by=by, dowels=((-100.0, 0.0), (90.5, 0.0)))
    text = said(written(program(SLOT, zero=zero)).text)
    line = text[text.index("Zero X, Y:") : text.index("Zero Z:")]
    assert message in line and never not in line


def test_a_cutter_is_fitted_then_touched_then_run() -> None:
    """Touched with the cutter before it, the file runs too deep or too high by the difference of
    their lengths."""
    text = written(program(SLOT)).text
    assert "(Order: fit T3, touch Z with it, run)" in text
    rows = text.splitlines()
    assert rows[rows.index("T3") + 1 : rows.index("T3") + 3] == [
        "(MSG, Fit T3 flat 6 mm, touch Z with it on the bed)",
        "M0",
    ]
    second = replace(ZERO, system="G55", on="the skimmed face")
    assert "touch Z of G55 with it on the skimmed face" in written(program(SLOT, zero=second)).text


def test_a_file_that_relies_on_an_earlier_touch_says_so() -> None:
    """A face that is cut away by now cannot be touched; whoever does gets every depth wrong."""
    text = written(program(SLOT, zero=FACE, kept="05-B-skim-pass-1")).text
    assert "(Order: T3 still fitted as for 05-B-skim-pass-1.nc and Z as touched then, run)" in text
    assert (
        "touch Z with it" not in text
        and "(MSG, T3 flat 6 mm stays as for 05-B-skim-pass-1: do not touch Z again)" in text
    )


def test_the_first_way_down_is_slow_and_stops() -> None:
    """Bed frame 30, zero 13.6: Z16.4 in the file, 8.2 over the face; forgotten, 5.4 lower."""
    way = Approach(10.0, 5.0, 30.0, 1000.0, 2000.0, "the raw bottom", 8.2, "the raw top", 2.8)
    text = written(program(SLOT, zero=FACE, approach=way)).text
    rows = body(text)
    first = rows.index("M0")
    assert rows[first : first + 7] == [
        "M0", "F1000.0", "G1 Z16.4000", "F2000.0", "G1 X130.0000 Y50.0000", "M0", "G0 Z10.0000",
    ]  # fmt: skip
    assert "(MSG, Tip must be about 8.2 mm above the raw bottom, else stop and touch Z)" in text
    assert (
        "with the zero of the file before, on the raw top, the tip is about 2.8 mm above the raw "
        "bottom" in said(text)
    )
    assert "about 0.32 in above" in said(written(program(SLOT, approach=way), units="inch").text)


def test_m6_waits_for_a_touch_unless_lengths_are_in_the_control() -> None:
    """Changed without a stop and without its length, the next cutter runs at the height of the
    last."""
    by_hand = body(written(program(SLOT), tool_change="m6").text)
    assert by_hand[by_hand.index("T3 M6") :][:3] == ["T3 M6", "M0", "G0 Z23.6000"]
    assert not [row for row in by_hand if row.startswith("G43")]
    text = written(program(SLOT), tool_change="m6", length_offset=True).text
    by_table = body(text)
    assert by_table[by_table.index("T3 M6") :][:3] == ["T3 M6", "G43 H3", "G0 Z23.6000"]
    assert "M0" not in by_table and "length offset H3 on" in said(text)


@pytest.mark.parametrize(
    ("finish", "message"),
    [(0.0, "feed 3600.0 mm/min"), (900.0, "feed 3600.0, finishing pass 900.0 mm/min")],
)
def test_the_feed_of_light_laps_is_told_where_it_is_another(finish: float, message: str) -> None:
    """Whoever stands by sees the cutter slow down, and has to know that it is meant to."""
    made = program(SLOT)
    cutting = replace(made.cutting, finish=finish)
    assert f"rpm, {message})\n" in written(replace(made, cutting=cutting)).text


@pytest.mark.parametrize(
    ("shape", "corner", "message"),
    [("bull", 1.5, ", corner radius 1.5 mm"), ("ball", 3.0, ""), ("flat", 0, "")],
)
def test_the_head_names_the_cutter_by_its_form(shape: Any, corner: float, message: str) -> None:
    """Of two cutters of one diameter the corner tells which is meant; a ball's is its own half."""
    made = replace(program(SLOT), cutter=Cutter(3, shape, 6.0, corner, 2, 22.0, 30.0))
    assert f"(Cutter: T3 {shape}, diameter 6 mm{message}, flutes 2," in written(made).text


def test_a_pass_is_named_where_it_has_a_name_or_others_beside_it() -> None:
    """At a stop one has to know which pass comes next."""
    assert "(Pass 1 of 1: to the next plane)\n" in written(program(SLOT)).text
    named = program(SLOT, SLOT)
    nameless = replace(named, passes=tuple(Pass.of(list(one.moves)) for one in named.passes))
    assert "(Pass 1 of 2)\n" in written(nameless).text
    assert "(Pass" not in written(replace(nameless, passes=nameless.passes[:1])).text


@pytest.mark.parametrize("warning", ["", " ", FAILED])
def test_a_warning_without_names_is_not_repeated(warning: str) -> None:
    """'Failed:' and then nothing, or the same words twice, would have one look for what is
    missing."""
    text = written(program(SLOT), warning=warning).text
    assert text.startswith(f"({FAILED})\n(File: ")


@pytest.mark.parametrize(
    ("moves", "message"),
    [
        ([line(0, 0, 0, 300)], "rapid"),
        ([rapid(0, 0, CLEAR), line(0, 0, 0, 0.0)], "feed"),
        ([rapid(0, 0, CLEAR), line(math.nan, 0, 0, 300)], "finite"),
        ([rapid(0, 0, CLEAR), arc(True, (5, 0, CLEAR), (9, 0), 300)], "radius"),
    ],
)
def test_what_is_no_program_is_refused(moves: list[Move], message: str) -> None:
    """Better no file than one that stops in the cut."""
    with pytest.raises(ValueError, match=message):
        written(program(moves))


place = st.tuples(st.floats(-640, 640), st.floats(-210, 210), st.floats(0, 20))


@settings(derandomize=True, max_examples=60, deadline=None)
@given(
    st.lists(place, min_size=1, max_size=20), st.sampled_from(["mm", "inch"]), st.floats(-700, 0)
)
def test_text_gives_the_ends_back_within_the_last_digit(
    places: list[tuple[float, float, float]], units: str, left: float
) -> None:
    """Read by a rule of our own of five lines: words, modal axes, zero added."""
    zero = Zero(left, -210.0, 13.6, "the raw top", False)
    moves = [rapid(*places[0][:2], CLEAR), *(line(*p, 1000.0) for p in places)]
    text = written(program(moves, zero=zero), units=units).text
    unit, digit = (25.4, 2.54e-4) if units == "inch" else (1.0, 1e-4)
    at, ends = {"X": 0.0, "Y": 0.0, "Z": 0.0}, []
    for row in body(text):
        if row.startswith(("G0", "G1 ")):
            at |= {word[0]: float(word[1:]) * unit for word in row.split()[1:]}
            ends.append((at["X"] + zero.x, at["Y"] + zero.y, at["Z"] + zero.z))
    k = 0
    for p in places:
        while math.dist(ends[k], p) > digit:
            k += 1
            assert k < len(ends), f"{p} is never reached"


@settings(derandomize=True, max_examples=40, deadline=None)
@given(
    st.lists(place, min_size=1, max_size=10), st.text(max_size=60), st.sampled_from(["mm", "inch"])
)
def test_every_line_is_short_ascii_without_signed_zero(
    places: list[tuple[float, float, float]], title: str, units: Any
) -> None:
    """Whatever the title: ASCII, at most 80 characters, no "-0", no exponent, comments in
    parentheses only."""
    made = program([rapid(0, 0, CLEAR), *(line(*p, 1000.0) for p in places)])
    made = program([*made.passes[0].moves], watch=(title,))
    text = write(made, Heading(title, "d", title, 0.0, title), machine=machine(), units=units).text
    assert text.isascii()
    assert text.endswith("\nM2\n")
    for row in text.splitlines():
        assert 0 < len(row) <= 80
        assert re.fullmatch(r"\([^()]*\)|[A-Z]-?\d+(\.\d+)?( [A-Z]-?\d+(\.\d+)?)*", row)
        assert not re.search(r"-0(\.0+)?( |$)", row) or row.startswith("(")


def test_same_program_gives_same_text() -> None:
    assert written(program(SLOT)).text == written(program(list(SLOT))).text
