"""Third stage of the reader: the text of a file to motions, RS-274 as NIST IR 6556 describes it.

Plain modal lines (at most one of G0 to G3, then X Y Z I J F in this order) go through one regular
expression; every other line through words and blocks. Both ways end in the same rows. Lengths in mm,
lines count from 1. Nothing is skipped in silence: what cannot be read or simulated is a finding.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from corepath.readback.arcs import RADIUS_AGREEMENT_INCH, RADIUS_AGREEMENT_MM
from corepath.readback.blocks import read_block
from corepath.readback.findings import Findings
from corepath.readback.line_checks import Wrong
from corepath.readback.modal import Machine, Row
from corepath.readback.program import ReadProgram
from corepath.readback.words import LARGEST_DIGITS, LONGEST_LINE, read_line

__all__ = ["PREAMBLE", "read_program"]

NAN = math.nan
_NUMBER = rf"([+-]?(?:[0-9]{{1,{LARGEST_DIGITS}}}(?![0-9])\.?[0-9]*|\.[0-9]+))"
_PLAIN = re.compile(
    r"[ \t]*(?:G0?([0123])[ \t]*(?![0-9.]))?"
    + "".join(rf"(?:{letter}{_NUMBER}[ \t]*)?" for letter in "XYZIJF")
    + r"\r?\Z"
)
_CHUNK = 65_536

PREAMBLE = (
    "plane", "units", "distance", "feed mode", "coordinate system", "radius compensation", "length offset",
    "cycles off", "path control",
)  # fmt: skip


def read_program(text: str, file: str, *, fast: bool = True, inch: bool = False) -> ReadProgram:
    """Read one file. Never raises; what is wrong stands in `findings`.

    With `fast=False` every line goes through words and blocks: slower, and the same motions. With `inch` numbers
    are inches until the file states its units.
    """
    reader = _Reader(file, fast)
    reader.machine.scale = 25.4 if inch else 1.0
    reader.run(text.split("\n"))
    return reader.result()


class _Reader:
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

    def run(self, lines: Iterable[str]) -> None:
        machine = self.machine
        fast = False
        numbered = iter(enumerate(lines, 1))
        for number, text in numbered:
            if fast:
                slow = self._run_plain(chain(((number, text),), numbered))
                if slow is None:
                    break
                number, text = slow
            self.lines = number
            self._full(number, text)
            if self.refused or self.percent == 2:
                break
            fast = self.fast_wanted and self._is_plain_state()
            if len(machine.rows) >= _CHUNK:
                self._flush()

    def _is_plain_state(self) -> bool:
        machine = self.machine
        return (
            machine.motion in (0, 10, 20, 30)
            and machine.absolute
            and not machine.inverse_time
            and not machine.ended
            and machine.stated_first is not None
            and "units" in machine.stated
        )

    def _run_plain(self, numbered: Iterator[tuple[int, str]]) -> tuple[int, str] | None:
        """Read plain lines; return the first that is not plain, or None at the end of the text."""
        machine = self.machine
        x, y, z, feed, scale = machine.x, machine.y, machine.z, machine.feed, machine.scale
        kind = (machine.motion or 0) // 10
        spindle, inch = machine.spindle, machine.scale != 1.0
        rows = machine.rows
        match = _PLAIN.match
        slow: tuple[int, str] | None = None
        number = self.lines
        for number, text in numbered:
            found = match(text)
            if found is None or len(text) > LONGEST_LINE:
                slow = (number, text)
                break
            code, xs, ys, zs, si, sj, fs = found.groups()
            if xs is None and ys is None:
                if (zs is None and (code is not None or fs is None)) or si is not None or sj is not None:
                    slow = (number, text)
                    break
                if zs is None:
                    if fs[0] == "-":
                        slow = (number, text)
                        break
                    feed = float(fs) * scale
                    continue
            new = kind if code is None else int(code)
            if new >= 2:
                if (si is None and sj is None) or (xs is None and ys is None) or x != x or y != y:
                    slow = (number, text)
                    break
                cx = x if si is None else x + float(si) * scale
                cy = y if sj is None else y + float(sj) * scale
                if cx == x and cy == y:
                    slow = (number, text)
                    break
            elif si is not None or sj is not None:
                slow = (number, text)
                break
            else:
                cx = cy = NAN
            if fs is not None:
                if fs[0] == "-":
                    slow = (number, text)
                    break
                feed = float(fs) * scale
            kind = new
            if xs is not None:
                x = float(xs) * scale
            if ys is not None:
                y = float(ys) * scale
            if zs is not None:
                z = float(zs) * scale
            rows.append((kind, x, y, z, cx, cy, feed, number, spindle, inch))
            if len(rows) >= _CHUNK:
                self._flush()
                rows = machine.rows
        machine.x, machine.y, machine.z, machine.feed, machine.motion = x, y, z, feed, kind * 10
        self.lines = number
        return slow

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
            self._fault(line.fault.kind, line.fault.says, number, stripped)
            return
        if line.remark is not None:
            self._fault(line.remark.kind, line.remark.says, number, stripped)
        if line.deleted:
            says = "skipped or not, as the switch of the machine stands; taken as read"
            self._find("block-delete", says, number, stripped)
        if not line.words:
            return
        block = read_block(line.words)
        if block.faults:
            for fault in sorted(block.faults, key=lambda fault: fault.kind == "unsupported"):
                self._fault(fault.kind, fault.says, number, stripped)
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
            self._fault("syntax", "a percent sign belongs on the first line and after the last", number, "%")

    def _after_end(self, number: int, text: str) -> None:
        if not self.after_end:
            self.after_end = True
            self._find("after-end", "the control never comes to this", number, text)

    def _fault(self, kind: str, says: str, number: int, text: str) -> None:
        self._find(kind, says, number, text)
        if kind == "unsupported" and not self.refused:
            self.refused = f"line {number}: {says}"

    def _find(self, kind: str, says: str, number: int, text: str) -> None:
        shown = text if len(text) <= 60 else text[:57] + "..."
        self.findings.add(kind, f"{says}: '{shown}'", line=number)

    def _flush(self) -> None:
        rows: list[Row] = self.machine.rows
        if rows:
            self.chunks.append(np.array(rows, dtype=np.float64))
            self.machine.offset += len(rows)
            self.machine.rows = []

    def result(self) -> ReadProgram:
        self._flush()
        machine = self.machine
        table = np.concatenate(self.chunks) if self.chunks else np.empty((0, 10))
        self.chunks.clear()
        end = np.ascontiguousarray(table[:, 1:4])
        start = np.vstack((np.full((1, 3), NAN), end[:-1])) if len(end) else np.empty((0, 3))
        for index, place in machine.jumps.items():
            if index < len(start):
                start[index] = place
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
            events=tuple(machine.events),
            tool=machine.tool if machine.tool is not None else machine.selected,
            units_stated="units" in stated,
            unstated=tuple(group for group in PREAMBLE if group not in stated),
            systems=tuple(machine.systems),
            refused=self.refused,
            lines=self.lines,
            findings=self.findings,
        )
        self._whole_file(program, table[:, 9] != 0.0)
        return program

    def _whole_file(self, program: ReadProgram, inch: NDArray[np.bool_]) -> None:
        """What can only be said of all motions: feeds, radius agreement, the end."""
        self._feeds(program)
        self._radii(program, inch)
        if self.percent == 1:
            self.findings.add("syntax", "a percent sign opens the file, and none closes it", line=self.lines)
        if not program.ended and not self.refused:
            self.findings.add("missing-end", "neither M2 nor M30 ends the program", line=self.lines)

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
        bad = np.flatnonzero(apart > allowed + 1e-9)
        for which in bad[: self.findings.keep]:
            says = f"radius {first[which]:.4f} at the start, {last[which]:.4f} at the end of the arc"
            self.findings.add("arc-mismatch", says, line=int(program.line[arcs[which]]), depth=float(apart[which]))
        self.findings.more("arc-mismatch", len(bad) - self.findings.keep)
