"""The state of a control at the start of one line of a program: modal state, place, and how the
cutter came there.

It is read from the text alone, with the words, blocks and modal machine of the read-back.
Coordinates are the program's, in mm also for a file in inches; feeds in mm/min; lines count from 1.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.errors import Fault, InputError
from corepath.gcode.read.blocks import Block, read_block
from corepath.gcode.read.modal import Machine
from corepath.gcode.read.read_program import ReadProgram
from corepath.gcode.read.words import TextLine, read_line
from corepath.gcode.write.commands import g_word
from corepath.gcode.write.restart_text import RestartState

__all__ = [
    "block_of",
    "clear_height",
    "cutting",
    "first_line",
    "plunge_feed",
    "spin_up",
    "state_at",
]

KEY = "--from-line"
SPIN_UP = 4.0
"""s, where a file never waits for its spindle (common practice, no source)."""
PLUNGE_SHARE = 0.33
"""Of the slowest feed, where a file never goes straight down (common practice, no source)."""
# mm: a move shorter than this in plan is straight down. Coordinates have four decimals, so it only
# takes up the rounding of sums.
_LEVEL = 1e-6


def block_of(text: str) -> Block:
    """Return the block of one line of text that is known to be readable."""
    return read_block(read_line(text.rstrip("\r")).words)


def state_at(lines: Sequence[str], number: int) -> RestartState:
    """Return the state at the start of line `number` of a program that the read-back reads without
    a fault."""
    # The machine of the read-back follows what motion depends on; modes that a restart must repeat
    # but that move nothing (path control, override, offset, coolant) are gathered beside it.
    machine = Machine()
    path, override, offset, changed, backwards = "", "", "G49", False, False
    coolant: list[str] = []
    for line, text in enumerate(lines[: number - 1], 1):
        found: TextLine = read_line(text.rstrip("\r"))
        if found.fault is not None or not found.words:
            continue
        block = read_block(found.words)
        machine.execute(block, line)
        # Its motions are not needed: a program of a million lines would keep them all.
        machine.rows.clear()
        if "path control" in block.g:
            path = g_word(block.g["path control"])
        if "override" in block.m:
            override = f"M{block.m['override']}"
        if "length offset" in block.g:
            code = block.g["length offset"]
            offset = g_word(code) + (
                f" H{block.words['H']:.0f}" if code == 430 and "H" in block.words else ""
            )
        if "coolant" in block.m:
            word = block.m["coolant"]
            # M7 and M8 may be on together; M9 stops both.
            coolant = (
                [] if word == 9 else [*(kept for kept in coolant if kept != f"M{word}"), f"M{word}"]
            )
        if "spindle" in block.m:
            backwards = block.m["spindle"] == 4
        changed = changed or "tool change" in block.m
    cycle = machine.cycle
    return RestartState(
        line=number,
        place=(machine.x, machine.y, machine.z),
        inch=machine.scale != 1.0,
        absolute=machine.absolute,
        inverse_time=machine.inverse_time,
        motion=machine.motion,
        cycle=(cycle.z, cycle.r, cycle.p, cycle.q),
        to_initial=machine.to_initial,
        feed=machine.feed,
        speed=machine.speed,
        spindle=machine.spindle,
        backwards=backwards,
        tool=machine.tool if machine.tool is not None else machine.selected,
        changed=changed,
        system=machine.system,
        path=path,
        coolant=tuple(coolant),
        override=override,
        offset=offset,
    )


def first_line(
    program: ReadProgram, lines: Sequence[str], number: int, file: str
) -> tuple[int, str]:
    """Return the line to begin with for line `number`, and the reason where it is another one.

    In the middle of a ramp or helix the cutter is in solid wood at a height between two layers, and
    a straight plunge there would cut full width. The restart goes back to where the descent began,
    at a height that is cleared, or above the wood. Raises InputError where no restart is possible.
    """
    _refuse(program, lines, number, file)
    index = int(np.searchsorted(program.line, number))
    begin = index
    # Also for a line right after a ramp: the cutter then stands at the ramp's lower end.
    while program.kind[index] > 0 and begin > 0 and _ramps(program, begin - 1):
        begin -= 1
    if begin == index:
        return number, ""
    back = int(program.line[begin])
    return back, f"line {number} lies in a ramp or comes right after one; it begins in line {back}"


def _ramps(program: ReadProgram, index: int) -> bool:
    """Whether a cut goes down and sideways at once."""
    start, end = program.start[index], program.end[index]
    level = float(np.hypot(*(end[:2] - start[:2])))
    if program.kind[index] >= 2:
        level = 1.0  # a full turn of a helix ends above where it began: an arc is never straight
    return bool(end[2] < start[2] - _LEVEL and level > _LEVEL)


def _refuse(program: ReadProgram, lines: Sequence[str], number: int, file: str) -> None:
    count = len(lines)
    cuts = np.flatnonzero(cutting(program))
    ends = [event.line for event in program.events if event.name == "end"]

    def fault(message: str, allowed: str) -> InputError:
        return InputError([Fault(KEY, message, value=str(number), allowed=allowed, file=file)])

    if not len(cuts):
        raise InputError(
            [Fault("", "it has no cutting move: there is nothing to restart", file=file)]
        )
    first, last = int(program.line[cuts[0]]), int(program.line[cuts[-1]])
    allowed = (
        f"{first + 1} to {last}"
        if last > first
        else "no line: its only cut is in one line; run the file itself"
    )
    if not 1 <= number <= count:
        raise fault(f"the file has {count} lines", allowed)
    if ends and number > ends[0]:
        raise fault(f"the program ends in line {ends[0]}", allowed)
    if number <= first:
        raise fault(f"nothing has been cut before line {number}; run the file itself", allowed)
    if number > last:
        raise fault(f"no cut is left from line {number} on", allowed)
    if not read_line(lines[number - 1].rstrip("\r")).words:
        following = next(
            line
            for line in range(number + 1, last + 1)
            if read_line(lines[line - 1].rstrip("\r")).words
        )
        raise fault(
            "the line is a comment or empty", f"a line with a command; the next is {following}"
        )


def cutting(program: ReadProgram) -> NDArray[np.bool_]:
    """Return which motions (n,) cut: those at feed, except before the spindle first turns, since a
    first way down to a stop cuts nothing."""
    feeds: NDArray[np.bool_] = program.kind > 0
    feeds[: next((event.index for event in program.events if event.name == "spindle-on"), 0)] = (
        False
    )
    return feeds


def clear_height(program: ReadProgram, file: str) -> float:
    """Return the greatest height of the file's rapids, mm, which must lie above all its cuts.

    Raises InputError where it does not: then the text does not show what height is safe.
    """
    rapid = program.kind == 0
    travels = program.end[rapid, 2]
    travels = travels[~np.isnan(travels)]
    # A retract at feed also ends high up, but it does not cut there.
    cuts = cutting(program) & ~(program.end[:, 2] > program.start[:, 2])
    above = program.end[cuts, 2].max(initial=-np.inf)
    if not len(travels) or travels.max() <= above + _LEVEL:
        says = (
            "no rapid of this file stands above its cuts: a height that is safe cannot be "
            "told from it"
        )
        raise InputError([Fault("", says, file=file)])
    return float(travels.max())


def plunge_feed(program: ReadProgram) -> tuple[float, str]:
    """Return the feed for going straight down, mm/min, and its origin in words.

    The slowest that the file uses for it; without any, half the slowest of its ramps, or a share of
    its slowest feed.
    """
    cuts = cutting(program) & (program.feed > 0.0)
    way = program.end - program.start
    down = cuts & (way[:, 2] < -_LEVEL)
    straight = down & (np.hypot(way[:, 0], way[:, 1]) < _LEVEL) & (program.kind == 1)
    if straight.any():
        return float(
            program.feed[straight].min()
        ), "the slowest that the file goes straight down with"
    if down.any():
        return float(program.feed[down].min()) * 0.5, "half the slowest that the file ramps with"
    return float(program.feed[cuts].min()) * PLUNGE_SHARE, "a third of the slowest feed of the file"


def spin_up(program: ReadProgram) -> float:
    """Return the seconds to wait for the spindle: the longest wait in the file between a start of
    the spindle and the next motion."""
    longest, started = 0.0, -1
    for event in program.events:
        if event.name == "spindle-on":
            started = event.index
        elif event.name == "dwell" and event.index == started:
            longest = max(longest, event.value)
    return longest or SPIN_UP
