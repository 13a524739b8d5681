"""What NIST IR 6556 allows on a line and what it calls an error, case by case.

Kramer, Proctor, Messina, The NIST RS274NGC Interpreter, Version 3 (2000): the section stands with
each case. Feeds of zero: from memory of the interpreter's list of error messages.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from corepath.gcode.read.blocks import G_GROUPS, M_GROUPS, g_name
from corepath.gcode.read.motions import read_program

TABLE_4_G = (
    (
        "G0",
        "G1",
        "G2",
        "G3",
        "G38.2",
        "G80",
        "G81",
        "G82",
        "G83",
        "G84",
        "G85",
        "G86",
        "G87",
        "G88",
        "G89",
    ),
    ("G17", "G18", "G19"),
    ("G90", "G91"),
    ("G93", "G94"),
    ("G20", "G21"),
    ("G40", "G41", "G42"),
    ("G43", "G49"),
    ("G98", "G99"),
    ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"),
    ("G61", "G61.1", "G64"),
    ("G4", "G10", "G28", "G30", "G53", "G92", "G92.1", "G92.2", "G92.3"),
)
TABLE_4_M = (
    ("M0", "M1", "M2", "M30", "M60"),
    ("M6",),
    ("M3", "M4", "M5"),
    ("M7", "M8", "M9"),
    ("M48", "M49"),
)


def read(body: str, *, at: tuple[float, float, float] = (0.0, 0.0, 0.0), end: str = "M2\n"):
    x, y, z = at
    return read_program(f"G17 G21 G90 G94\nF100\nG0 X{x} Y{y} Z{z}\n{body}\n{end}", "nist.nc")


def steps(body: str, at: tuple[float, float, float]) -> list[tuple[str, float, float, float]]:
    """Motions after the first three lines: R(apid) or F(eed) and where to."""
    program = read(body, at=at)
    assert not list(program.findings)
    ends = program.end[1:].round(9).tolist()
    return [
        ("R" if kind == 0 else "F", *end)
        for kind, end in zip(program.kind[1:].tolist(), ends, strict=True)
    ]


def test_modal_groups_are_those_of_table_4():
    """A code in the wrong group would pass a line that the control refuses, or refuse one that it
    takes."""
    assert set(map(g_name, G_GROUPS)) == {code for group in TABLE_4_G for code in group}
    assert {f"M{code}" for code in M_GROUPS} == {code for group in TABLE_4_M for code in group}
    by_name = {g_name(code): group for code, group in G_GROUPS.items()}
    m_name = {f"M{code}": group for code, group in M_GROUPS.items()}
    for names, groups in ((by_name, TABLE_4_G), (m_name, TABLE_4_M)):
        assert all(len({names[code] for code in group}) == 1 for group in groups)
        assert len({names[group[0]] for group in groups}) == len(groups)


@pytest.mark.parametrize("group", TABLE_4_M, ids=lambda group: group[0])
def test_two_of_one_group_on_a_line_are_an_error(group):
    """3.3.5. Which of the two would count is open."""
    for one, other in combinations(group, 2):
        assert "syntax" in read(f"{one} {other}", end="").findings.counts, (one, other)


@pytest.mark.parametrize(
    ("body", "good"),
    [
        ("g0x +0. 12 34y 7", True),  # 3.3.2.1: spaces inside a number
        ("N00042 X1", True),  # 3.3.1: five digits
        ("N000042 X1", False),  # six
        ("N1.5 X1", False),
        ("N-1 X1", False),
        ("X1 N5", False),  # the number stands first
        ("X1" + " " * 254, True),  # 3.3: 256 characters
        ("X1" + " " * 255, False),
        ("X1E1", False),  # no exponent
        ("X 1 . 5", True),
        ("X1.2.3", False),
        ("X+-1", False),
        ("X.", False),
        ("X+.5", True),
        ("G1.00001 X1", True),  # ten times a G code is a whole number within 0.0001
        ("G1.00002 X1", False),
        ("T1.5", False),
        ("X1 X2", False),  # 3.3.5: a letter once a line
        ("M3 M7 M48 M6 S1 T1", True),  # up to four M words
        ("(one) X1 (two (three))", False),  # 3.3.4
        ("(one) X1 (two) Y2", True),
        ("X1 (open", False),
        ("U1", False),  # Table 3: letters
        ("O100", False),
        ("G0", False),  # 3.5.1: all axis words omitted
        ("G1", False),  # 3.5.2
        ("G93\nG1 X1", False),  # 3.5.19: each line its own F
        ("G93\nG1 X1 F2\nX2", False),
        ("G93\nG1 X1 F2\nX2 F2", True),
        ("G93\nG81 X1 Z-1 R1", False),  # 3.5.16.1
        ("S-1", False),  # 3.7.1
        ("T-1", False),
        ("G4 P-1", False),  # 3.5.4
        ("G4 P0.5", True),
        ("G80\nX1", False),  # 3.5.15: axis words while G80 is active
        ("G80\nG4 P1", True),
        ("G81 X1 Z-1 R2\nG53 X1", False),  # 3.5.12: G53 wants G0 or G1
        ("G43 H0", True),  # 3.5.11
        ("G43", False),
        ("G43 H-1", False),
        ("G81 Z-1 R1", True),  # 3.5.16: at least one of X, Y, Z
        ("G81 R1", False),
        ("G81 X1 R1", False),  # Z on the first line
        ("G81 X1 Z2 R1", False),  # R below Z
        ("G81 X1 Z-1 R1 L0", False),
        ("G81 X1 Z-1 R1 L1.5", False),
        ("G82 X1 Z-1 R1 P-1", False),
        ("G83 X1 Z-1 R1 Q0", False),
        ("G83 X1 Z-1 R1 Q-1", False),
        ("G1 X1 F10\nG2 X2 R0", False),  # 3.5.3: arcs
        ("G2 X0 Y0 R5", False),  # end and start the same
        ("G2 X2 Y0 R-1", True),
        ("G2 X2 R0.9", False),  # no such arc
        ("G2 X2 R0.999", True),  # within 0.002 mm
        ("G2 I1 J0", False),  # both axes omitted
        ("G2 X0 I1 J0", True),  # a full circle
        ("G2 X2 I1 R1", False),
        ("G2 X0 I0 J0", False),
        ("G2 Z1 R1", False),
        ("X1 I1", False),  # no motion uses I
        ("G28 G0 X1", False),  # 3.4: both want the axis words
        ("/X1", True),  # 3.3.2: block delete, told as such
        ("M60", True),
        ("M1", True),
        ("M9.5", False),
    ],
)  # fmt: skip
def test_errors_of_the_standard_are_errors_here(body, good):
    """What the control refuses must not be read as a motion, nor a good line refused."""
    assert ("syntax" not in read(body).findings.counts) is good


@pytest.mark.parametrize("body", ["F0\nG1 X1", "F0\nG2 X2 I1", "F0\nG81 X1 Z-1 R1"])
def test_a_feed_of_zero_is_an_error(body):
    """From memory of the interpreter's messages: lines, arcs and cycles alike."""
    assert "feed-missing" in read(body).findings.counts


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        ("G18", "plane"), ("G19", "plane"), ("G41 D1", "compensation"), ("G42 D1", "compensation"),
        ("G10 L2", "G10"),
        ("G92 X1", "G92"), ("G92.1", "G92"), ("G38.2 Z1", "probing"), ("G84 X1 Z-1 R1", "tapping"),
        ("G86 X1 Z-1 R1 "
         "P1", "boring"), ("G87 X1", "boring"), ("G88 X1", "boring"), ("A5", "rotary"),
        ("X#1", "parameters"), ("#1=2", "parameters"), ("X[1+1]", "expressions"), ("Xsin[1]",
        "expressions"),
        ("G28 Z1", "G28"), ("G30", "G30"), ("G53 X1", "G53"), ("M4", "M4"),
    ],
)  # fmt: skip
def test_what_is_not_simulated_is_refused_with_the_reason(body, reason):
    """A program that goes on from a place or in a frame that nobody knows must not look read."""
    found = [one for one in read(body).findings if one.kind == "unsupported"]
    assert (
        found and reason in found[0].message and found[0].line == 4 and body[:2] in found[0].message
    )


def test_after_home_nothing_is_known_until_it_is_said():
    """3.5.8: G28 ends at a place kept in the machine; taking the old one would hide a crash."""
    program = read("G28 Z5\nX1 Y1\nZ3\nG1 X2")
    assert program.end[1].tolist() == [0, 0, 5]
    assert [[value == value for value in end] for end in program.end[2:].tolist()] == [
        [False, False, False], [True, True, False], [True, True, True], [True, True, True],
    ]  # fmt: skip


def test_units_on_the_line_of_a_motion_act_before_it():
    """Table 8, steps 12 and 20; F is step 3."""
    program = read("G1 X1 G20\nG21")
    assert program.end[1, 0] == pytest.approx(25.4)
    assert "units" in read("G1 X1 F5 G20\nG21").findings.counts


def test_distance_mode_on_the_line_of_a_motion_acts_before_it():
    """Table 8, steps 17 and 20."""
    assert read("X2\nX3 G91\nX1").end[1:, 0].tolist() == [2, 5, 6]


def test_dwelling_cycle_stays_at_the_bottom():
    """3.5.16.5: G82, down, P seconds, up; the dwell stands before the way up."""
    assert steps("G82 G99 X4 Y5 Z1.5 R2.8 P1.5", (1, 2, 3)) == [
        ("R", 4, 5, 3), ("R", 4, 5, 2.8), ("F", 4, 5, 1.5), ("R", 4, 5, 2.8),
    ]  # fmt: skip
    dwell = [
        event
        for event in read("G82 G99 X4 Y5 Z1.5 R2.8 P1.5", at=(1, 2, 3)).events
        if event.name == "dwell"
    ]
    assert [(event.value, event.index) for event in dwell] == [(1.5, 4)]


@pytest.mark.parametrize("code", ["G85", "G89 P1"])
def test_boring_cycles_come_up_at_the_feed(code):
    """3.5.16.8 and 3.5.16.12: retract at the feed to R; then G98 goes on to the old height at
    rapid."""
    assert steps(f"{code} G98 X4 Y5 Z1.5 R2.8", (1, 2, 3)) == [
        ("R", 4, 5, 3), ("R", 4, 5, 2.8), ("F", 4, 5, 1.5), ("F", 4, 5, 2.8), ("R", 4, 5, 3),
    ]  # fmt: skip


def test_pecking_goes_out_after_each_delta():
    """3.5.16.6: down by Q, rapid to the safe height, rapid back to near the bottom (how near: from
    memory)."""
    found = steps("G83 G99 X0 Y0 Z-5 R1 Q3", (0, 0, 3))
    assert [step for step in found if step[0] == "F"] == [("F", 0, 0, -2), ("F", 0, 0, -5)]
    assert found[0] == ("R", 0, 0, 1) and found[2] == ("R", 0, 0, 1) and found[-1] == ("R", 0, 0, 1)
    assert found[3][0] == "R" and -2 < found[3][3] < -1.5


def test_cycle_words_that_stick_and_words_that_do_not():
    """3.5.16: Z and R hold for the next line of the cycle, L does not."""
    found = steps("G81 G99 X1 Z-1 R2 L2\nX5", (0, 0, 3))
    assert [step for step in found if step[0] == "F"] == [
        ("F", 1, 0, -1),
        ("F", 1, 0, -1),
        ("F", 5, 0, -1),
    ]
    assert "syntax" in read("G81 G99 X1 Z-1 R2\nG82 X5").findings.counts


def test_percent_signs_as_in_section_3_1():
    """A leading one needs its second; what follows that is not read; none at all needs M2 or
    M30."""
    good = "%\nG21\nG90\nG0 X1\nM2\n%\nwhatever X"
    assert not read_program(good, "x.nc").findings.counts
    assert read_program("\n \n" + good, "x.nc").findings.counts == {}
    assert "syntax" in read_program("%\nG21\nG90\nG0 X1\nM2\n", "x.nc").findings.counts
    assert read_program("G21\nG90\nG0 X1\n", "x.nc").findings.counts == {"missing-end": 1}


def test_stops_and_systems():
    """3.6.1: M0 and M60 always stop, M1 by a switch; 3.5.13: another system is another zero."""
    program = read("M0\nM1\nM60\nG59.3\nX1\nG61.1")
    assert [event.name for event in program.events] == ["stop", "optional-stop", "stop", "end"]
    assert program.systems == (593,)
    assert program.end[1].tolist()[0] == 1 and program.end[1, 1] != program.end[1, 1]
