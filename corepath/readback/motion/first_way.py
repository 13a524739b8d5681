"""The first approach where the work zero differs from that of the file before: slow, with a stop
clear of everything.

Someone who forgets to touch the new zero runs the file under the old one. So before the spindle
first turns the program must come down at feed and stop, and at that stop, as on the way to it, the
tip must be clear of stock and obstacles under either zero. Bed frame of the set-up, mm.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.read_program import ReadProgram
from corepath.lengths import feed, mm
from corepath.motion.program import Approach, Zero

__all__ = ["CLEAR", "Zeroed", "check_first_way", "check_length", "check_look", "first_look"]

# mm over stock and obstacles, under either zero.
CLEAR = 3.0
_ROUNDING = 0.001  # mm: of the text, and of its inches
_LEFT = 0.1  # mm of travel: a path may end a little above the lowest that it may go to
_FASTER = 1.01  # rounding of the text
_SEEN = 0.06  # mm: the message gives the height to a tenth


class Zeroed(NamedTuple):
    """A file's zero: what it refers to (the bed, a face of a set-up …), its place, mm, and the
    coordinate system, ten times its code (540 is G54)."""

    refers: str
    place: tuple[float, float, float]
    system: int

    def differs(self, other: Zeroed) -> bool:
        """Return whether it is touched anew after the other one."""
        return (self.refers, self.system) != (other.refers, other.system)


def first_look(program: ReadProgram) -> int | None:
    """Return how many motions lead to the first stop on the way down, before the spindle turns, or
    None without such a stop."""
    end = next(
        (event.index for event in program.events if event.name == "spindle-on"), program.count
    )
    return next(
        (
            event.index
            for event in program.events
            if event.name == "stop" and 0 < event.index <= end
        ),
        None,
    )


def check_first_way(
    program: ReadProgram,
    now: Zeroed,
    old: Zeroed | None,
    highest: float,
    findings: Findings,
    travel: float = math.inf,
) -> None:
    """Check the stop at which the shop looks at a new zero.

    `now` and `old` are the zeros of this file and the one before (None: the first), `highest` is
    the height of stock and obstacles. Where the axis has not the `travel` (of Z, mm) for all that
    is asked, as high as it goes is enough.
    """
    if old is None or not now.differs(old):
        return
    look = first_look(program)
    change = f"the zero was {old.refers}, it is {now.refers} now"
    if look is None:
        line = int(program.line[0]) if program.count else None
        findings.add(
            "first-way",
            f"{change}: no stop to see whether it was touched, before the spindle turns",
            line=line,
        )
        return
    first = slice(0, look)
    fast = np.flatnonzero(program.kind[first] == 0)
    if len(fast):
        says = f"{change}: the first way down goes at rapid"
        findings.add("first-way", says, line=int(program.line[fast[0]]))
    wrong = min(now.place[2], old.place[2])
    heights = program.end[first, 2] + wrong
    most = float(np.nanmin(program.end[:, 2])) + travel - _LEFT + wrong
    # Negated, so that an unknown height (NaN) counts as too low.
    low = np.flatnonzero(~(heights > min(highest + CLEAR, most) - _ROUNDING))
    if len(low):
        least = float(heights[low[0]])
        says = (
            f"{change}: with the wrong one of them the first way down comes to a height of "
            f"{mm(least):.3f}; stock or obstacles reach {mm(highest):.3f}, {mm(CLEAR):g} over them "
            "is asked"
        )
        findings.add(
            "first-way", says, line=int(program.line[low[0]]), depth=highest + CLEAR - least
        )


def check_length(
    program: ReadProgram, tools: tuple[int | None, int], over: float, findings: Findings
) -> None:
    """Check that a cutter of another length than was touched shows before it cuts.

    `tools` are the numbers of the cutter before (None: there was none) and of this one; `over` is
    how high stock and obstacles reach in the coordinates of the program, mm.
    """
    before, fitted = tools
    if before is None or before == fitted:
        return
    change, look = f"T{before} was fitted, it is T{fitted} now", first_look(program)
    if look is None:
        says = f"{change}: no stop to see its length, before the spindle turns"
        line = int(program.line[0]) if program.count else None
        findings.add("first-way", says, line=line)
        return
    fast = np.flatnonzero(program.kind[:look] == 0)
    if len(fast):
        says = f"{change}: the first way down goes at rapid"
        findings.add("first-way", says, line=int(program.line[fast[0]]))
    # Negated, so that an unknown height (NaN) counts as too low.
    low = np.flatnonzero(~(program.end[:look, 2] > over + CLEAR - _ROUNDING))
    if len(low):
        least = float(program.end[low[0], 2]) - over
        says = (
            f"{change}: the first way down comes to {mm(least):.3f} over stock or obstacles, "
            f"{mm(CLEAR):g} is asked"
        )
        findings.add("first-way", says, line=int(program.line[low[0]]), depth=CLEAR - least)


def check_look(
    program: ReadProgram, approach: Approach | None, zero: Zero, findings: Findings
) -> None:
    """Check that at the first stop of the way down the tip is where its message says, under the
    planned zero, and that it comes there slowly.

    Otherwise a right zero looks wrong, or a wrong one right.
    """
    look = first_look(program)
    if approach is None or look is None:
        return
    tip = program.end[look - 1] + (zero.x, zero.y, zero.z)
    off = tip - (approach.x, approach.y, approach.height)
    if not np.abs(off).max() <= _SEEN:  # an unknown place is one too
        where = ", ".join(
            f"{axis} {mm(value):.2f}" for axis, value in zip("XYZ", off.tolist(), strict=True)
        )
        line = int(program.line[look - 1])
        findings.add(
            "first-way", f"at the stop to look the tip is off its place by {where}", line=line
        )
    # The start of the first motion is unknown: NaN equals nothing, so it counts as going down.
    level = program.start[:look, 2] == program.end[:look, 2]
    fast = program.feed[:look] > _FASTER * np.where(level, approach.walk, approach.feed)
    for index in np.flatnonzero(fast).tolist():
        says = (
            f"the first way down goes at {feed(program.feed[index]):.0f~}, too fast to stop "
            "it by hand"
        )
        findings.add("first-way", says, line=int(program.line[index]))
