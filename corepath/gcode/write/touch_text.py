"""Writes a file that feels for faces with a probe.

The words beyond those of other files: G38.2, straight probe (NIST IR 6556, 3.5.9); G10 L2, set
coordinate system data (3.5.5); #5061 to #5063, where the probe tripped (3.5.9.1), and #5221 to
#5223, #5241 to #5243, the origins of G54 and G55 (3.2.1, Table 2); #1 to #4, which hold a touched
coordinate until the other of a pair is touched; parameters (3.3.2.2), expressions in brackets
(3.3.2.3) and the setting of a parameter (3.3.3); G91 (3.5.17) while nothing is known of Z.
"""

from __future__ import annotations

from collections.abc import Iterator

from corepath.gcode.write.commands import preamble, stop, tool_call
from corepath.gcode.write.comments import comment
from corepath.gcode.write.head import Heading
from corepath.gcode.write.numbers import GRIDS, TickGrid, Units
from corepath.job.model import MachineSection
from corepath.lengths import marked, units_of
from corepath.work.touch_program import Feel, Rise, SetZero, Tell, To, TouchProgram, TouchStep

__all__ = ["write_touch"]

_P = {"G54": 1, "G55": 2}
"""P of G10 L2 (3.5.5)."""


def write_touch(
    program: TouchProgram, heading: Heading, *, machine: MachineSection, units: Units
) -> str:
    """Return the text of a touch file: ASCII, lines of at most 80 characters."""
    grid = GRIDS[units]
    writer = _TouchWriter(program, grid, machine.probe_reports == "machine")
    lines = [line for text in _head(program, heading) for line in comment(_shown(text, grid))]
    path = "G61" if machine.exact_path else "G64"
    lines += preamble(grid, program.zero.system, path)
    if heading.warning is not None:
        from corepath.gcode.write.head import FAILED

        lines += stop(FAILED)
    if program.call is not None:
        lines += [tool_call(program.call, changes=True), f"G43 H{program.call}"]
    for step in program.steps:
        lines += writer.lines(step)
    return "\n".join([*lines, "M5", "M2"]) + "\n"


def _shown(text: str, grid: TickGrid) -> str:
    return units_of(grid.units).text(marked(text))


def _head(program: TouchProgram, heading: Heading) -> Iterator[str]:
    yield f"File: {program.stem}.nc"
    yield f"Job: {heading.title}"
    yield f"Plan: {heading.digest}"
    yield f"Set-up: {program.setup}, touch {program.title}"
    yield f"Face up: {heading.face_up}"
    yield from program.message
    yield "Spindle: off all the time. Keep a hand on the stop"


class _TouchWriter:
    """Turns steps into lines; feeds are written where they change."""

    def __init__(self, program: TouchProgram, grid: TickGrid, by_machine: bool) -> None:
        self.zero = (program.zero.x, program.zero.y, program.zero.z)
        self.system = program.zero.system
        self.grid = grid
        self.by_machine = by_machine
        self.feed = 0.0

    def lines(self, step: TouchStep) -> Iterator[str]:
        if isinstance(step, Tell):
            yield from stop(_shown(step.message, self.grid))
        elif isinstance(step, SetZero):
            yield self._zeroing(step)
        elif isinstance(step, Rise):
            yield from self._at(step.feed)
            yield from ("G91", f"G1 Z{self.grid.coordinate(step.by)}", "G90")
        elif isinstance(step, To):
            yield from self._at(step.feed)
            yield f"G1{self._words(step)}"
        else:
            yield from self._feeling(step)

    def _at(self, feed: float) -> Iterator[str]:
        if feed != self.feed:
            self.feed = feed
            yield f"F{self.grid.feed(feed)}"

    def _words(self, step: To) -> str:
        given = zip("XYZ", (step.x, step.y, step.z), self.zero, strict=True)
        return "".join(
            f" {axis}{self.grid.coordinate(value - zero)}"
            for axis, value, zero in given
            if value is not None
        )

    def _feeling(self, step: Feel) -> Iterator[str]:
        yield from self._at(step.feed)
        k = "XYZ".index(step.axis)
        to = step.to - (0.0 if step.relative else self.zero[k])
        word = f"G38.2 {step.axis}{self.grid.coordinate(to)}"
        yield from ("G91", word, "G90") if step.relative else (word,)
        if step.keep is not None:
            yield f"#{step.keep}=#{5061 + k}"

    def _zeroing(self, step: SetZero) -> str:
        k, number = "XYZ".index(step.axis), _P[self.system]
        touched = f"#{5061 + k}"
        if step.kept:
            one, other = step.kept
            touched = f"[#{one} + #{other}] / 2"
        # Work coordinates count from the origin that is in force, those of the machine do not.
        origin = "" if self.by_machine else f"#{5221 + 20 * (number - 1) + k} + "
        sign = "-" if step.wanted >= 0.0 else "+"
        wanted = f"{sign} {self.grid.coordinate(abs(step.wanted))}"
        return f"G10 L2 P{number} {step.axis}[{origin}{touched} {wanted}]"
