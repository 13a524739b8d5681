"""Drilling cycles as text: what is written is what the motions say, word by word and read back as a
stranger does."""

from __future__ import annotations

import itertools

import pytest

from corepath.gcode.read.canned_cycles import PECK_CLEARANCE
from corepath.gcode.read.motions import read_program
from corepath.gcode.write import Heading, write
from corepath.job.model import MachineSection
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.cycles import BACK_OFF, expand
from corepath.motion.program import Kind, Move, Pass, Program, Zero, drill, line, rapid

DRILL = Cutter(4, "drill", 5.0, 0.0, 2, 40.0, 45.0)
CUTTING = Cutting(rpm=8000, feed=1600, ramp=800, plunge=528, depth=2.5, stepover=2.0)
ZERO = Zero(-10.0, -20.0, 12.0, "the skimmed face", True)
MOVES = (
    rapid(1, 2, 20), drill(1, 2, 3.25, 528, 13), drill(31.5, 2, 3.25, 528, 13), drill(31.5, 40, -6,
        528, 13, 5),
    rapid(31.5, 40, 20), rapid(31.5, 40, -5.5), line(31.5, 40, -8, 264), rapid(31.5, 40, 20),
)  # fmt: skip


def text(moves: tuple[Move, ...] = MOVES, units: str = "mm", **machine: object) -> str:
    program = Program(
        "06-B-inserts-2",
        6,
        "B",
        "inserts",
        DRILL,
        CUTTING,
        ZERO,
        20.0,
        (-50.0, 50.0),
        (Pass.of(moves),),
    )
    section = MachineSection.model_validate(
        {"travel": (500, 500, 100), "canned_cycles": True, **machine}
    )
    return write(
        program, Heading("t", "d", "bottom up", 1.0, None), machine=section, units=units
    ).text


def body(written: str) -> list[str]:
    lines = written.splitlines()
    start = next(k for k, row in enumerate(lines) if row.startswith("G4 "))
    return lines[start + 1 : lines.index("M5", start)]


def test_a_run_of_cycles_states_its_return_and_is_ended_before_anything_else_moves() -> None:
    """A control left in a cycle drills at the next X and Y; one in G98 retracts to another
    height."""
    rows = body(text())
    assert rows == [
        "G0 X11.0000 Y22.0000", "F528.0", "G99", "G81 X11.0000 Y22.0000 Z-8.7500 R1.0000",
        "G81 X41.5000 Y22.0000 Z-8.7500 R1.0000", "G83 X41.5000 Y60.0000 Z-18.0000 R1.0000 "
                                                  "Q5.0000", "G80",
        "G0 Z8.0000", "G0 Z-17.5000", "F264.0", "G1 Z-20.0000", "G0 Z8.0000",
    ]  # fmt: skip


def test_one_command_of_a_modal_group_a_line() -> None:
    """NIST IR 6556, 3.4: two words of one modal group on a line are an error."""
    for row in text().splitlines():
        if not row.startswith("("):
            assert row.count("G") <= 1 and row.count("M") <= 1


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("canned", [True, False])
def test_the_reader_finds_the_motions_of_the_program(units: str, canned: bool) -> None:
    """Cycles that a control would run otherwise than they were checked and timed."""
    read = read_program(text(units=units, canned_cycles=canned), "x.nc")
    assert [str(finding) for finding in read.findings] == []
    assert BACK_OFF == PECK_CLEARANCE
    wanted = [(int(m.kind), m.x + 10, m.y + 20, m.z - 12, m.feed) for m in expand(MOVES)]
    moving = [wanted[0]] + [b for a, b in itertools.pairwise(wanted) if a[1:4] != b[1:4]]
    got = list(zip(read.kind.tolist(), *read.end.T.tolist(), read.feed.tolist(), strict=True))[1:-1]
    assert len(got) == len(moving)
    for mine, theirs in zip(moving, got, strict=True):
        assert mine[0] == theirs[0]
        assert mine[1:4] == pytest.approx(theirs[1:4], abs=6e-4)
        assert mine[0] == Kind.RAPID or mine[4] == pytest.approx(theirs[4], abs=0.3)


def test_without_the_capability_there_is_no_cycle() -> None:
    """A control that knows no G81 stops, or worse, goes on."""
    plain = text(canned_cycles=False)
    assert (
        not any(word in plain for word in ("G81", "G83", "G98", "G99")) and plain.count("G80") == 1
    )


def test_extents_count_the_bottom_of_a_cycle() -> None:
    """A head that promises a shallower file than it is."""
    assert "(Extent Z: -20.0000 to 8.0000 mm)" in text()
    assert "(Extent Z: -18.0000 to 8.0000 mm)" in text(MOVES[:5])


def test_an_impossible_cycle_is_not_written() -> None:
    """R under Z or Q of nothing are errors of the control (NIST IR 6556, 3.5.16)."""
    for bad in (drill(0, 0, 5, 100, 5), Move(Kind.PECK, 0, 0, 1, 100, 5, 0.0)):
        with pytest.raises(ValueError, match="a cycle"):
            text((rapid(0, 0, 20), bad))
