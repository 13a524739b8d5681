"""The judge of a restart objects to each way in which one may differ from its file, and to nothing
else."""

from __future__ import annotations

import pytest

from corepath.gcode.read.motions import read_program
from corepath.gcode.read.read_program import ReadProgram
from corepath.planning.restart.restart_proof import differs

HEAD = "G17\nG21\nG90\nG94\nG54\nG40\nG49\nG80\nG64\nT1\nM0\nG0 Z20\nS9000 M3\nG4 P3\n"
BEFORE = "G0 X-5 Y0\nF300\nG1 Z-1\nF600\nG1 X0\n"
REST = "G1 X10\nG3 X10 Y10 I0 J5\nG0 Z20\nM5\nM2\n"
APPROACH = "G0 X0 Y0\nF300\nG1 Z-1\nF600\n"
AT = 4
"""Motions of the file before its rest: up, over, down and one cut."""


def read(text: str) -> ReadProgram:
    return read_program(text, "03-A-groove.nc")


def told(made: str) -> list[str]:
    return list(differs(read(HEAD + BEFORE + REST), AT, read(made), 20.0))


def test_a_true_restart_passes() -> None:
    assert told(HEAD + APPROACH + REST) == []


@pytest.mark.parametrize(
    ("change", "by", "message"),
    [
        (APPROACH + "G1 X10\nG3 X10 Y10 I0 J5\nG0 Z20\n", "", "1 motions, where the file has 3"),
        ("G1 X10\n", "G0 X10\n", "kinds"),
        ("G1 X10\n", "G1 X10.001\n", "ends"),
        ("G0 X0 Y0\n", "G0 X0 Y0.5\n", "starts"),
        ("I0 J5", "I5 J5", "centres|arc"),
        ("F600\n", "F500\n", "feeds"),
        ("G3 X10", "M5\nG3 X10", "spindle"),
        ("G0 X0 Y0\n", "G0 X0 Y0\nG0 Z2\n", "below the safe height"),
        ("G0 X0 Y0\n", "G1 X0 Y0 F300\n", "by one plunge"),
        ("S9000 M3\n", "", "by one plunge|spindle"),
        ("G1 X10\n", "G1 X10 X11\n", "03-A-groove|twice|syntax"),
        ("G17\n", "", "not stated before its first move: plane"),
        ("G21\n", "", "not stated before its first move: units"),
        ("G54\n", "", "not stated before its first move: coordinate system"),
        ("G64\n", "", "not stated before its first move: path control"),
        ("G54\n", "G55\n", "its coordinate system"),
        ("G64\n", "G61\n", "its path control"),
        ("T1\n", "T2\n", "its cutter"),
        ("T1\n", "", "its cutter"),
        ("M0\n", "", "no stop before it moves"),
        ("S9000", "S18000", "another speed"),
        ("G4 P3\n", "", "wait for the spindle"),
        ("G4 P3\n", "G4 P1\n", "wait for the spindle"),
        ("G0 Z20\nS9000 M3\nG4 P3\n", "G0 Z20\nG4 P3\nS9000 M3\n", "wait for the spindle"),
        ("G4 P3\nG0 X0 Y0\nF300\nG1 Z-1\n", "G0 X0 Y0\nF300\nG1 Z-1\nG4 P3\n", "wait for the sp"),
        ("G4 P3\n", "G4 P3\nM5\nS9000 M3\n", "wait for the spindle"),
        ("X10 Y10 I0 J5\n", "X10 Y10 I0 J5\nM0\n", "its stops"),
        ("G0 Z20\nM5\nM2", "G0 Z20\nM2", "its stops"),
        ("G0 Z20\nS9000", "S9000", "below the safe height|start-unknown"),
        ("F300\nG1 Z-1", "F301\nG1 Z-1", "goes down faster"),
        ("G0 X0 Y0\nF300\nG1 Z-1", "G0 X1 Y0\nF300\nG1 X0 Z-1", "straight down"),
        ("F300\nG1 Z-1", "G0 Z-1", "below the safe height"),
    ],
)
def test_each_way_of_going_wrong_is_told(change: str, by: str, message: str) -> None:
    """A restart that was wrong and passed would cut the board in a place or at a feed that nobody
    planned."""
    good = HEAD + APPROACH + REST
    bad = good.replace(change, by)
    assert bad != good
    found = told(bad)
    assert any(word in text for text in found for word in message.split("|")), found


def test_a_stop_on_the_first_way_down_is_kept() -> None:
    """Its zero is another than that of the file before: whoever restarts it must see the tip first,
    at that height."""
    way = "F1000\nG1 Z30\nM0\n"
    file = HEAD.replace("G0 Z20", f"{way}G0 Z20") + BEFORE + REST
    good = HEAD.replace("G0 Z20", f"{way}G0 Z20") + APPROACH + REST

    def wrong(made: str) -> list[str]:
        return [
            text for text in differs(read(file), AT + 1, read(made), 20.0) if "first way" in text
        ]

    assert list(differs(read(file), AT + 1, read(good), 20.0)) == []
    assert wrong(good.replace(way, "F1000\nG1 Z30\n"))
    assert wrong(good.replace("G1 Z30", "G1 Z31"))
    assert wrong(good.replace("F1000\nG1 Z30", "F1000\nG0 Z30"))
    assert wrong(good.replace("F1000\nG1 Z30", "F3000\nG1 Z30"))
