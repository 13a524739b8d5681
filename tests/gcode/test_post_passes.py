"""Passes of the skim are named by their heights in the files: a number could be that of another
plan."""

from __future__ import annotations

import pytest

from corepath.gcode.write import Heading, write
from corepath.job.model import MachineSection
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.pass_name import pass_height
from corepath.motion.program import Pass, Program, Zero, line, rapid

CUTTER = Cutter(3, "flat", 20.0, 0.0, 2, 20.0, 30.0)
CUTTING = Cutting(16000.0, 3000.0, 1000.0, 500.0, 2.0, 16.0)
ZERO = Zero(0.0, 0.0, 0.0, "the bed beside the blank", True)


def text(planes: list[tuple[float, ...]], units: str, combined: bool = True) -> str:
    """Passes of one line each, with their planes."""
    passes = tuple(
        Pass((rapid(0.0, 0.0, 20.0), line(0.0, 0.0, p[-1], 500.0), line(9.0, 0.0, p[-1], 900.0),
            rapid(9.0, 0.0, 20.0)),
             planes=p)
        for p in planes
    )  # fmt: skip
    made = Program(
        "05-B-skim-all",
        5,
        "B",
        "skim",
        CUTTER,
        CUTTING,
        ZERO,
        20.0,
        (-50.0, 50.0),
        passes,
        combined,
    )
    machine = MachineSection(travel=(1500, 600, 90))
    return write(made, Heading("t", "d", "bottom up", 1.0, None), machine=machine, units=units).text


def test_a_pass_has_a_number_in_the_file():
    told = text([(10.4, 9.9), (9.4,), (8.9,)], "mm")
    assert "(Passes at 10.40, 9.90 mm above the bed)" in told
    assert "(Pass at 9.40 mm above the bed)" in told
    assert "(Pass at 8.90 mm above the bed)" in told
    assert "Pass 1" not in told and "Pass 2" not in told
    assert "(MSG, At 9.90: if all shows, also each plug, end, else start cuts to 9.40)" in told


def test_a_pass_is_named_in_mm_in_a_file_in_inches():
    """10.4 mm are 0.40945 in, 9.9 mm 0.38976: four places, as all lengths in inches have."""
    told = text([(10.4,), (9.9,)], "inch")
    assert "(Pass at 0.4094 in above the bed)" in told
    assert "(MSG, At 0.4094: if all shows, also each plug, end, else start cuts to 0.3898)" in told


@pytest.mark.parametrize("digits", ["12.40", "0.4882"])
def test_the_message_does_not_fit_its_line(digits: str):
    """A message of more than a line shows its end only."""
    told = text([(12.4,), (12.3,)], "inch" if digits.startswith("0") else "mm")
    (asked,) = [row for row in told.splitlines() if "if all shows" in row]
    assert asked.startswith("(MSG, At " + digits) and len(asked) <= 80


def test_heights_of_passes_as_they_are_typed():
    assert (pass_height(9.8996), pass_height(9.9, "inch")) == ("9.90", "0.3898")
