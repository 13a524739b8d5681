"""Third stage of the reader: the text of a file to motions, RS-274 as NIST IR 6556 describes it.

There are three routes through the reader, which produce the same rows. Plain modal lines (at most
one of G0 to G3, then X Y Z I J F in this order) go through one regular expression: a few of them
line by line, long runs block by block. Every other line goes through words and blocks. Lengths in
mm, lines count from 1. Nothing is skipped silently: what cannot be read or simulated is a finding.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.arcs import RADIUS_AGREEMENT_INCH, RADIUS_AGREEMENT_MM
from corepath.gcode.read.blocks import read_block
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.line_checks import Wrong
from corepath.gcode.read.modal import Machine
from corepath.gcode.read.modal_state import Row
from corepath.gcode.read.plain import PLAIN, State, plain_block
from corepath.gcode.read.read_program import ReadProgram
from corepath.gcode.read.words import LONGEST_LINE, read_line
from corepath.lengths import mm

__all__ = ["PREAMBLE", "read_program", "stream_program"]

NAN = math.nan
# Lines of a part, and rows kept as Python tuples before they become an array: bounds memory.
_CHUNK = 65_536
# Plain lines read one by one before whole blocks are tried: a block costs array work whatever it
# holds, which a short run of plain lines between others does not pay back.
_SINGLE = 48
# Blocks double from the first size to the second: lines of a block behind one that is not plain are
# matched in vain.
_LEAST_BLOCK, _MOST_BLOCK = 512, 8192

PREAMBLE = (
    "plane", "units", "distance", "feed mode", "coordinate "
                                               "system", "radius compensation", "length offset",
    "cycles off", "path control",
)  # fmt: skip


def read_program(text: str, file: str, *, fast: bool = True, inch: bool = False) -> ReadProgram:
    """Read one file and return its motions, events and findings.

    `text` is the whole text, `file` the name in findings. With `fast=False` every line goes through
    words and blocks: slower, and the same motions. With `inch` numbers are inches until the file
    states its units. Never raises; what is wrong is in `findings` of the result.
    """
    reader = _ProgramReader(file, fast)
    reader.machine.scale = 25.4 if inch else 1.0
    reader.run(text.split("\n"), 0)
    return reader.result()


def stream_program(
    lines: Iterable[str], file: str, *, fast: bool = True, inch: bool = False
) -> Iterator[ReadProgram]:
    """Read a file in parts, one for each 65,536 lines, so that memory stays the same however long
    the file is.

    Each part has the events between its motions and those right after its last; the first part also
    has those before its first motion. Indices of events count from the part's first motion.
    `findings` are shared by all parts, and complete with the last.
    """
    reader = _ProgramReader(file, fast)
    reader.machine.scale = 25.4 if inch else 1.0
    coming, before = iter(lines), 0
    while some := list(islice(coming, _CHUNK)):
        if not reader.run(some, before):
            break
        before += len(some)
        # A part leaves its last motion to the next one, so it needs two to hand on any.
        if reader.machine.index > reader.taken + 1:
            yield reader.part()
    yield reader.result()


class _ProgramReader:
    def __init__(self, file: str, fast: bool) -> None:
        self.file = file
        self.fast_wanted = fast
        self.machine = Machine()
        self.findings = Findings(file)
        self.chunks: list[NDArray[np.float64]] = []
        self.refused = ""
        self.lines = 0
        self.percent = 0
        self.begun = False
        self.after_end = False
        self.taken = 0
        self.before = (NAN, NAN, NAN)

    def run(self, lines: Sequence[str], before: int) -> bool:
        """Read lines, of which `before` precede them in the file; return whether to read on."""
        # `many` is set once `_SINGLE` plain lines came in a row: the next ones are read as blocks.
        at, many = 0, False
        while at < len(lines):
            if self.fast_wanted and self._is_plain_state():
                begin = at
                at = (
                    self._run_blocks(lines, at, before)
                    if many
                    else self._run_plain(lines, at, before)
                )
                many = not many and at - begin == _SINGLE
                if many or at == len(lines):
                    continue
            many = False
            self.lines = before + at + 1
            self._full(before + at + 1, lines[at])
            at += 1
            if self.refused or self.percent == 2:
                return False
            if len(self.machine.rows) >= _CHUNK:
                self._flush()
        return True

    def _is_plain_state(self) -> bool:
        # Whether a plain line does no more now than move the cutter. In all other states (G91,
        # inverse time, a cycle in force, units not stated, the first move with its check of the
        # preamble, text after the end) it means more.
        machine = self.machine
        return (
            machine.motion in (0, 10, 20, 30)
            and machine.absolute
            and not machine.inverse_time
            and not machine.ended
            and machine.stated_first is not None
            and "units" in machine.stated
        )

    def _run_blocks(self, lines: Sequence[str], at: int, before: int) -> int:
        """Read plain lines from index `at` on, block by block; return the index of the first line
        that is not plain."""
        machine = self.machine
        self._flush()
        state = State(
            (machine.motion or 0) // 10,
            machine.x,
            machine.y,
            machine.z,
            machine.feed,
            machine.scale,
        )
        size = _LEAST_BLOCK
        while at < len(lines):
            block = lines[at : at + size]
            taken, motions, line, state = plain_block(block, state)
            if len(motions):
                rest = np.empty((len(motions), 3))
                rest[:, 0], rest[:, 1], rest[:, 2] = (
                    line + before + at + 1,
                    machine.spindle,
                    machine.scale != 1.0,
                )
                self.chunks.append(np.hstack((motions, rest)))
                machine.offset += len(motions)
            at += taken
            if taken < len(block):
                break
            size = min(2 * size, _MOST_BLOCK)
        machine.motion, machine.x, machine.y, machine.z, machine.feed = state.kind * 10, *state[1:5]
        self.lines = before + at
        return at

    def _run_plain(self, lines: Sequence[str], at: int, before: int) -> int:
        """Read at most `_SINGLE` plain lines from index `at` on; return the index of the first line
        that was not read.

        What makes a line not plain must be the same here as in `plain.plain_block`.
        """
        # All state is held in local names for the loop and written back after it: this runs for
        # each line of a file of a million, and attributes of an object cost a lookup each time.
        machine = self.machine
        x, y, z, feed, scale = machine.x, machine.y, machine.z, machine.feed, machine.scale
        kind = (machine.motion or 0) // 10
        spindle, inch = machine.spindle, machine.scale != 1.0
        rows = machine.rows
        match = PLAIN.match
        end = min(at + _SINGLE, len(lines))
        for place in range(at, end):
            text = lines[place]
            found = match(text)
            if found is None or len(text) > LONGEST_LINE:
                end = place
                break
            code, xs, ys, zs, si, sj, fs = found.groups()
            # A negative feed is a fault, which the full reader reports.
            if fs is not None and fs[0] == "-":
                end = place
                break
            if xs is None and ys is None:
                # Without axis words only F alone is plain: an empty line, a G word that states a
                # mode and an offset without an end are for the full reader.
                if (
                    (zs is None and (code is not None or fs is None))
                    or si is not None
                    or sj is not None
                ):
                    end = place
                    break
                if zs is None:
                    feed = float(fs) * scale
                    continue
            new = kind if code is None else int(code)
            cx = cy = NAN
            if new >= 2:
                # An arc by radius, without an end, or from an unknown place (x != x: NaN), and
                # below one about its own start.
                if (si is None and sj is None) or (xs is None and ys is None) or x != x or y != y:
                    end = place
                    break
                cx = x if si is None else x + float(si) * scale
                cy = y if sj is None else y + float(sj) * scale
                if cx == x and cy == y:
                    end = place
                    break
            elif si is not None or sj is not None:
                end = place
                break
            if fs is not None:
                feed = float(fs) * scale
            kind = new
            x = x if xs is None else float(xs) * scale
            y = y if ys is None else float(ys) * scale
            z = z if zs is None else float(zs) * scale
            rows.append((kind, x, y, z, cx, cy, feed, before + place + 1, spindle, inch))
        machine.x, machine.y, machine.z, machine.feed, machine.motion = x, y, z, feed, kind * 10
        self.lines = before + end
        return end

    def _full(self, number: int, text: str) -> None:
        stripped = text.strip(" \t\r")
        if not stripped:
            return
        if stripped == "%":
            self._percent(number)
            return
        if self.machine.ended:
            self._after_end(number, stripped)
            return
        self.begun = True
        line = read_line(text.removesuffix("\r"))
        if line.fault is not None:
            self._fault(line.fault.kind, line.fault.message, number, stripped)
            return
        if line.remark is not None:
            self._fault(line.remark.kind, line.remark.message, number, stripped)
        if line.deleted:
            says = "skipped or not, as the switch of the machine stands; taken as read"
            self._find("block-delete", says, number, stripped)
        if not line.words:
            return
        block = read_block(line.words)
        if block.faults:
            # Those of syntax first: the first unsupported one ends the reading.
            for fault in sorted(block.faults, key=lambda fault: fault.kind == "unsupported"):
                self._fault(fault.kind, fault.message, number, stripped)
            return
        try:
            self.machine.execute(block, number)
        except Wrong as wrong:
            self._fault("syntax", str(wrong), number, stripped)
        for kind, says in self.machine.notes:
            self._find(kind, says, number, stripped)
        self.machine.notes.clear()

    def _percent(self, number: int) -> None:
        if not self.begun:
            self.begun = True
            self.percent = 1
        elif self.percent == 1:
            self.percent = 2
        else:
            self._fault(
                "syntax", "a percent sign belongs on the first line and after the last", number, "%"
            )

    def _after_end(self, number: int, text: str) -> None:
        if not self.after_end:
            self.after_end = True
            self._find("after-end", "the control never comes to this", number, text)

    def _fault(self, kind: str, message: str, number: int, text: str) -> None:
        self._find(kind, message, number, text)
        if kind == "unsupported" and not self.refused:
            self.refused = f"line {number}: {message}"

    def _find(self, kind: str, message: str, number: int, text: str) -> None:
        shown = text if len(text) <= 60 else text[:57] + "..."
        self.findings.add(kind, f"{message}: '{shown}'", line=number)

    def _flush(self) -> None:
        rows: list[Row] = self.machine.rows
        if rows:
            self.chunks.append(np.array(rows, dtype=np.float64))
            self.machine.offset += len(rows)
            self.machine.rows = []

    def part(self) -> ReadProgram:
        """Take out the motions so far except the last, and return them.

        The last stays, since events right after it may still follow in the next lines.
        """
        self._flush()
        machine = self.machine
        table = np.concatenate(self.chunks)
        self.chunks = [table[-1:].copy()]
        program = self._program(table[:-1])
        machine.events = [event for event in machine.events if event.index > self.taken]
        machine.jumps = {
            index: place for index, place in machine.jumps.items() if index >= self.taken
        }
        return program

    def result(self) -> ReadProgram:
        """Return all motions, or those that are left of them, and report what can only be said of
        the whole file."""
        self._flush()
        table = np.concatenate(self.chunks) if self.chunks else np.empty((0, 10))
        self.chunks.clear()
        program = self._program(table)
        if self.percent == 1:
            self.findings.add(
                "syntax", "a percent sign opens the file, and none closes it", line=self.lines
            )
        if not self.machine.ended and not self.refused:
            self.findings.add("missing-end", "neither M2 nor M30 ends the program", line=self.lines)
        return program

    def _program(self, table: NDArray[np.float64]) -> ReadProgram:
        """Return a table of rows, which follow those taken before, as a program."""
        machine, first = self.machine, self.taken
        end = np.ascontiguousarray(table[:, 1:4])
        start = (
            np.vstack((np.array(self.before)[None, :], end[:-1])) if len(end) else np.empty((0, 3))
        )
        for index, place in machine.jumps.items():
            if index < first + len(start):
                start[index - first] = place
        if len(end):
            self.before = (float(end[-1, 0]), float(end[-1, 1]), float(end[-1, 2]))
        self.taken += len(table)
        stated = machine.stated if machine.stated_first is None else machine.stated_first
        program = ReadProgram(
            file=self.file,
            kind=table[:, 0].astype(np.int8),
            start=start,
            end=end,
            centre=np.ascontiguousarray(table[:, 4:6]),
            feed=table[:, 6].copy(),
            line=table[:, 7].astype(np.int64),
            spindle_on=table[:, 8] != 0.0,
            events=tuple(
                replace(event, index=event.index - first)
                for event in machine.events
                if event.index <= self.taken
            ),
            tool=machine.tool if machine.tool is not None else machine.selected,
            units_stated="units" in stated,
            inch=machine.scale != 1.0,
            unstated=tuple(group for group in PREAMBLE if group not in stated),
            systems=tuple(machine.systems),
            offsets=tuple(machine.offsets),
            path_modes=frozenset(machine.path_modes),
            refused=self.refused,
            lines=self.lines,
            findings=self.findings,
        )
        self._feeds(program)
        self._radii(program, table[:, 9] != 0.0)
        return program

    def _feeds(self, program: ReadProgram) -> None:
        bad = np.flatnonzero((program.kind > 0) & ~(program.feed > 0.0))
        for index in bad[: self.findings.keep]:
            says = "a cutting move with no feed set, or a feed of zero"
            self.findings.add("feed-missing", says, line=int(program.line[index]))
        self.findings.more("feed-missing", len(bad) - self.findings.keep)

    def _radii(self, program: ReadProgram, inch: NDArray[np.bool_]) -> None:
        arcs = np.flatnonzero(program.kind >= 2)
        centre = program.centre[arcs]
        first = np.hypot(*(program.start[arcs, :2] - centre).T)
        last = np.hypot(*(program.end[arcs, :2] - centre).T)
        apart = np.abs(first - last)
        allowed = np.where(inch[arcs], RADIUS_AGREEMENT_INCH, RADIUS_AGREEMENT_MM)
        # 1e-9: a disagreement of just the limit is allowed, whatever the subtraction's rounding.
        bad = np.flatnonzero(apart > allowed + 1e-9)
        for which in bad[: self.findings.keep]:
            says = (
                f"radius {mm(first[which]):.4f} at the start, {mm(last[which]):.4f} at the end "
                "of the arc"
            )
            self.findings.add(
                "arc-mismatch", says, line=int(program.line[arcs[which]]), depth=float(apart[which])
            )
        self.findings.more("arc-mismatch", len(bad) - self.findings.keep)
