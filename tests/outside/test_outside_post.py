"""Written files against the standard and against an independent parser.

The standard is NIST IR 6556 (Kramer, Proctor, Messina: The NIST RS274NGC Interpreter - Version 3,
2000), read in a copy of its text; the clauses stand beside each rule. The parser is `pygcode`.
"""

from __future__ import annotations

import itertools
import math
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.gcode.write import Heading, write
from corepath.job.model import MachineSection
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Kind, Move, Pass, Program, Zero, arc, line, rapid

pygcode = pytest.importorskip("pygcode")

CLEAR = 25.0

# Table 4, modal groups (motion, plane, distance, feed mode, units, radius and length compensation,
# return level, coordinate system, path control, non-modal; stopping, tool change, spindle, coolant,
# overrides).
MODAL_GROUPS = {
    "G1": ("G0", "G1", "G2", "G3", "G38.2", *(f"G{n}" for n in range(80, 90))),
    "G2": ("G17", "G18", "G19"),
    "G3": ("G90", "G91"),
    "G5": ("G93", "G94"),
    "G6": ("G20", "G21"),
    "G7": ("G40", "G41", "G42"),
    "G8": ("G43", "G49"),
    "G10": ("G98", "G99"),
    "G12": (*(f"G{n}" for n in range(54, 60)), "G59.1", "G59.2", "G59.3"),
    "G13": ("G61", "G61.1", "G64"),
    "G0": ("G4", "G10", "G28", "G30", "G53", "G92", "G92.1", "G92.2", "G92.3"),
    "M4": ("M0", "M1", "M2", "M30", "M60"),
    "M6": ("M6",),
    "M7": ("M3", "M4", "M5"),
    "M8": ("M7", "M8", "M9"),
    "M9": ("M48", "M49"),
}
GROUP_OF = {word: group for group, words in MODAL_GROUPS.items() for word in words}
# 3.5.3: how far start and end radius may differ, and the unit in mm.
RADII = {"mm": (0.002, 1.0), "inch": (0.0002, 25.4)}


def written(passes: list[list[Move]], units: Any = "mm", **machine: Any) -> str:
    cutter, cutting = (
        Cutter(7, "bull", 6.35, 1.0, 3, 22.0, 30.0),
        Cutting(16000, 3000, 1500, 900, 3, 2.5),
    )
    lifted = tuple(Pass.of([*moves, rapid(moves[-1].x, moves[-1].y, CLEAR)]) for moves in passes)
    made = Program(
        "05-B-skim-all", 5, "B", "skim", cutter, cutting, Zero(-10.0, 5.0, 13.6,
        "the raw bottom (x)", False),
        CLEAR, (0.0, -60.0), lifted, combined=True, watch=("look; here (often)",),
    )  # fmt: skip
    section = MachineSection(travel=(1500.0, 600.0, 100.0), **machine)
    return write(
        made, Heading("Träger (1)", "00ff", "bottom up", 1.0, None), machine=section, units=units
    ).text


SAMPLE = [
    [
        rapid(3, 4, CLEAR),
        rapid(3, 4, 14),
        line(3, 4, 12, 300),
        arc(False, (3, 4, 11), (-3, -4), 900),
        line(20, 9, 11, 900),
    ],
    [
        rapid(-3, 4, CLEAR),
        line(-3, 4, 10, 300),
        arc(True, (3, -4, 10), (3, -4), 900.5),
        line(7.77777, -1 / 3, 9.5, 1200),
    ],
]
VARIANTS = [
    {}, {"units": "inch"}, {"tool_change": "m6"}, {"exact_path": True}, {"arcs": False},
    {"units": "inch", "arcs": False},
]  # fmt: skip


@pytest.mark.parametrize("variant", VARIANTS, ids=str)
def test_every_line_is_legal(variant: dict[str, Any]) -> None:
    """3.3: length, letters, numbers, comments, one word of a letter and of a modal group; 3.5: axis
    words."""
    for row in written(SAMPLE, **variant).splitlines():
        assert len(row) <= 80 < 256, "3.3: at most 256 characters; ours stay within 80"
        if row.startswith("("):
            assert re.fullmatch(r"\([^()]*\)", row), "3.3.4: closes on its line, none inside"
            continue
        words = row.split(" ")
        assert all(re.fullmatch(r"[ABCDFGHIJKLMNPQRSTXYZ]-?\d+(\.\d+)?", word) for word in words), (
            "Table 3, 3.3.2.1"
        )
        codes = [word for word in words if word[0] in "GM"]
        groups = [GROUP_OF[code] for code in codes]
        assert len(set(groups)) == len(groups), "3.3.5: no two of one modal group"
        others = [word[0] for word in words if word[0] not in "GM"]
        assert len(set(others)) == len(others), "3.3.5: every other letter once"
        axes = set(others) & set("XYZ")
        if set(codes) & {"G0", "G1"}:
            assert axes, "3.5.1, 3.5.2: all axis words omitted is an error"
        if set(codes) & {"G2", "G3"}:
            assert axes & set("XY"), "3.5.3: at least one axis word"
            assert set(others) & set("IJ"), "3.5.3: at least one offset word"
            assert "R" not in others
        if axes:
            assert set(codes) & {"G0", "G1", "G2", "G3"}, (
                "3.5.12: axis words need a motion while G80 is active"
            )


@pytest.mark.parametrize("variant", VARIANTS, ids=str)
def test_modes_are_set_before_they_matter(variant: dict[str, Any]) -> None:
    """Table 8: F is read before the units on its line, M6 stops the spindle (3.6.3), a cut needs a
    feed."""
    active: dict[str, str] = {}
    feed, spindle, moved = 0.0, False, False
    rows = [row for row in written(SAMPLE, **variant).splitlines() if not row.startswith("(")]
    for row in rows:
        words = row.split(" ")
        for word in words:
            if word in GROUP_OF:
                active[GROUP_OF[word]] = word
        if set(words) & {"G20", "G21"}:
            assert words == [words[0]], "units on a line of their own"
        if words[0].startswith("F"):
            assert len(words) == 1
            assert "G6" in active
            feed = float(words[0][1:])
        if "M6" in words:
            spindle = False
        if set(words) & {"M3", "M5"}:
            spindle = "M3" in words
        if words[0] in ("M0", "M2"):
            assert not spindle, "nobody reaches in under a turning cutter"
        if words[0] in ("G0", "G1", "G2", "G3"):
            needed = {"G2", "G3", "G5", "G6", "G7", "G8", "G12", "G13"}
            assert needed <= active.keys(), "the start state is not to be relied on"
            assert active["G8"] == "G49"
            assert active["G7"] == "G40"
            assert moved or set("XY").isdisjoint(word[0] for word in words), "Z goes first"
            moved = True
        if words[0] in ("G1", "G2", "G3"):
            assert spindle
            assert feed > 0.0
    assert rows[-1] == "M2", "3.1: without percent signs the file must end by M2 or M30"
    dwells = [float(row.split("P")[1]) for row in rows if row.startswith("G4 ")]
    assert all(1.0 <= dwell <= 60.0 for dwell in dwells), "3.5.4: P is in seconds"


def _parse(text: str) -> list[tuple[int, tuple[float, float, float], float, tuple[float, float]]]:
    """Motions as pygcode has them: G number, end, feed, I and J; in the file's unit."""
    machine, feed, found = pygcode.Machine(), 0.0, []
    for row in text.splitlines():
        block = pygcode.Line(row).block
        machine.process_block(block)
        for code in block.gcodes:
            if isinstance(code, pygcode.gcodes.GCodeFeedRate):
                feed = float(code.word.value)
            if isinstance(code, pygcode.gcodes.GCodeMotion):
                at, params = machine.pos.values, code.params
                offsets = tuple(float(params[k].value) if k in params else 0.0 for k in "IJ")
                found.append((int(code.word.value), (at["X"], at["Y"], at["Z"]), feed, offsets))
    return found


def test_golden_arc_of_the_standard() -> None:
    """3.5.3.2: from (7, 7, 9), G17 G2 X10 Y16 I3 J4 Z9 is an arc about (10, 11) of radius 5,
    clockwise."""
    cutter, cutting = (
        Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 30.0),
        Cutting(16000, 3000, 1500, 900, 3, 2.5),
    )
    moves = [
        rapid(7, 7, CLEAR),
        line(7, 7, 9, 300),
        arc(True, (10, 16, 9), (3, 4), 300),
        rapid(10, 16, CLEAR),
    ]
    made = Program(
        "x", 1, "A", "x", cutter, cutting, Zero(0, 0, 0, "", True), CLEAR, (0, 0), (Pass.of(moves),)
    )
    section = MachineSection(travel=(1500.0, 600.0, 100.0))
    text = write(made, Heading("", "", "", 0, None), machine=section, units="mm").text
    assert "G2 X10.0000 Y16.0000 I3.0000 J4.0000\n" in text


lengths = st.floats(-600, 600)
steps = st.one_of(
    st.tuples(st.just(Kind.LINE), lengths, lengths, st.floats(0, 14)),
    st.tuples(
        st.sampled_from([Kind.CW, Kind.CCW]),
        st.floats(0.05, 400),
        st.floats(-3.1, 3.1),
        st.floats(0.05, 6.2),
    ),
)


def _walk(choices: list[tuple[Kind, float, float, float]]) -> list[Move]:
    moves, x, y, z = [rapid(1, 2, CLEAR), line(1, 2, 12, 300.0)], 1.0, 2.0, 12.0
    for kind, a, b, c in choices:
        if kind is Kind.LINE:
            x, y, z = a, b, c
            moves.append(line(x, y, z, 1234.5))
            continue
        turn = c if kind is Kind.CCW else -c
        i, j = -a * math.cos(b), -a * math.sin(b)
        x, y, z = x + i + a * math.cos(b + turn), y + j + a * math.sin(b + turn), z - 0.01
        moves.append(arc(kind is Kind.CW, (x, y, z), (i, j), 900.0))
    return moves


@pytest.mark.parametrize("units", ["mm", "inch"])
@settings(derandomize=True, max_examples=25, deadline=None)
@given(choices=st.lists(steps, min_size=1, max_size=8))
def test_independent_parser_finds_the_same_moves(
    units: str, choices: list[tuple[Kind, float, float, float]]
) -> None:
    """Same ends in the same order, same kinds, same feeds; arcs obey the radii rule of 3.5.3 (ours:
    a tenth)."""
    allowed, unit = RADII[units]
    digit = 1e-4 if units == "mm" else 1e-5
    moves = _walk(choices)
    found = _parse(written([moves], units=units))
    wanted = [((m.x + 10.0) / unit, (m.y - 5.0) / unit, (m.z - 13.6) / unit) for m in moves]
    k = 0
    for move, end in zip(moves, wanted, strict=True):
        while math.dist(found[k][1], end) > 1.5 * digit:
            k += 1
            assert k < len(found), f"{move} is not reached"
        if move.kind is not Kind.RAPID:
            assert found[k][0] in (move.kind, Kind.LINE)
            assert found[k][2] == pytest.approx(move.feed / unit, abs=0.06)
    for (_, start, _, _), (g, end, _, (i, j)) in itertools.pairwise(found):
        if g in (Kind.CW, Kind.CCW):
            r0, r1 = math.hypot(i, j), math.hypot(start[0] + i - end[0], start[1] + j - end[1])
            assert abs(r0 - r1) <= allowed / 10.0 + 1e-9


@pytest.mark.parametrize(
    ("offset", "then"),
    [(False, ["GCodePauseProgram"]), (True, ["GCodeToolLengthOffset", "GCodeRapidMove"])],
)
def test_parser_sees_the_whole_preamble(offset: bool, then: list[str]) -> None:
    """pygcode must know each word by its meaning: a typing slip in a code would pass our own
    eyes."""
    text = written(SAMPLE, tool_change="m6", length_offset=offset)
    rows = [row for row in text.splitlines() if not row.startswith("(")]
    names = [
        type(code).__name__
        for row in rows[: 11 + len(then)]
        for code in pygcode.Line(row).block.gcodes
    ]
    assert names == [
        "GCodeSelectXYPlane", "GCodeUseMillimeters", "GCodeAbsoluteDistanceMode",
        "GCodeUnitsPerMinuteMode",
        "GCodeSelectCoordinateSystem1", "GCodeCutterRadiusCompOff", "GCodeCancelToolLengthOffset",
        "GCodeCancelCannedCycle", "GCodePathBlendingMode", "GCodeStopSpindle", "GCodeSelectTool",
        "GCodeToolChange",
        *then,
    ]  # fmt: skip
