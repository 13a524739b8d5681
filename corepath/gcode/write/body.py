"""Writes moves as lines: rounds to the grid, drops what does not move, one move a line.

Coordinates come in the bed frame of the set-up, mm; the zero is subtracted here. X, Y and Z are
written when they change (on an arc X, Y, I and J always), the G word on each line, the feed on a
line of its own before the line that needs it. A run of drilling cycles begins with G99 (back to R
after each hole) on a line of its own, each cycle has all of its words, and G80 ends the run before
anything else moves.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.write.arc_words import Arc, ArcPiece, chords, pieces
from corepath.gcode.write.head import Extents
from corepath.gcode.write.numbers import TickGrid
from corepath.motion.clock import move_table
from corepath.motion.cycles import CYCLES
from corepath.motion.program import Kind, Move, Zero

__all__ = ["Body"]

_RAPID, _LINE = int(Kind.RAPID), int(Kind.LINE)
_CYCLES = frozenset(int(kind) for kind in CYCLES)


class Body:
    """Collects the lines of a file, and follows where the cutter stands (ticks; None where
    unknown).

    `zero` is the work zero in the bed frame, `grid` the unit and decimals; without `arcs` all arcs
    are written as chords.
    """

    def __init__(self, zero: Zero, grid: TickGrid, arcs: bool) -> None:
        self.lines: list[str] = []
        self._zero = np.array([zero.x, zero.y, zero.z])
        self._grid = grid
        self._arcs = arcs
        self._at: list[int | None] = [None, None, None]
        self.cut_lines = self.cut_arcs = 0
        self._mm, self._unit = grid.per_mm, grid.per_unit
        self._feed, self._feed_text = 0.0, ""
        self._in_cycle = False
        self._low: list[float] = [float("inf")] * 3
        self._high: list[float] = [float("-inf")] * 3
        self._words = tuple(f"{axis}%.{grid.decimals}f" for axis in ("X", "Y", "Z"))
        flat, offsets = self._words[:2], [f"{axis}%.{grid.decimals}f" for axis in ("I", "J")]
        self._flat_arc = " ".join([*flat, *offsets])
        self._helix = " ".join([*self._words, *offsets])

    def add(self, *lines: str) -> None:
        """Add lines that do not move the cutter."""
        self.lines += lines

    def rapid(self, x: float | None = None, y: float | None = None, z: float | None = None) -> None:
        """Add a rapid to the axes given (bed frame, mm); nothing where the cutter stands there."""
        target = list(self._at)
        for axis, value in enumerate((x, y, z)):
            if value is not None:
                target[axis] = self._reach(axis, value)
        self._straight(0, target[0], target[1], target[2])

    def walk(
        self, feed: float, x: float | None = None, y: float | None = None, z: float | None = None
    ) -> None:
        """Add a move in the air at `feed` (mm/min) to the axes given (bed frame, mm)."""
        target = list(self._at)
        for axis, value in enumerate((x, y, z)):
            if value is not None:
                target[axis] = self._reach(axis, value)
        if self._at != target:
            self._take(feed)
            self._straight(1, target[0], target[1], target[2])

    def _reach(self, axis: int, value: float) -> int:
        """Return a coordinate of the bed frame in ticks of the program; the extents grow to it."""
        ticks = self._grid.ticks(value - float(self._zero[axis]))
        self._low[axis] = min(self._low[axis], ticks)
        self._high[axis] = max(self._high[axis], ticks)
        return ticks

    def replay(self, moves: Sequence[Move]) -> None:
        """Add all `moves` of a pass; the cutter stands at the safe height over an unknown place.

        Raises ValueError where a number is not finite, a cut has no feed, or the pass does not
        begin with a rapid.
        """
        table = _table(moves)
        exact = (table[:, 1:4] - self._zero) * self._mm
        ticks = np.rint(exact).astype(np.int64)
        self._low = np.minimum(self._low, ticks.min(axis=0)).tolist()
        self._high = np.maximum(self._high, ticks.max(axis=0)).tolist()
        self.rapid(x=moves[0].x, y=moves[0].y)
        # Walked as plain Python numbers: an index into an array costs more than writing the line.
        # In columns: with a list for each move Python would go through all that is alive, to free
        # what is not, which takes longer than the writing.
        kinds = table[:, 0].astype(np.int64).tolist()
        columns = [column.tolist() for column in ticks.T]
        xs, ys, zs = (column.tolist() for column in exact.T)
        for k, (kind, x, y, z) in enumerate(zip(kinds, *columns, strict=True)):
            if kind == _LINE:
                if self._at != [x, y, z]:
                    self._leave_cycle()
                    self._take(moves[k].feed)
                    self._straight(1, x, y, z)
            elif kind == _RAPID:
                self._straight(0, x, y, z)
            elif kind in _CYCLES:
                self._cycle(moves[k], x, y, z)
                zs[k] = (moves[k].i - float(self._zero[2])) * self._mm
            else:
                before, place = (xs[k - 1], ys[k - 1], zs[k - 1]), (xs[k], ys[k], zs[k])
                self._arc(moves[k], before, place, z)
        self._leave_cycle()

    @property
    def extents(self) -> Extents:
        """What has been reached so far, in program coordinates, mm."""
        mm = self._grid.per_mm
        pairs = [
            (round(low / mm, 6), round(high / mm, 6))
            for low, high in zip(self._low, self._high, strict=True)
        ]
        return Extents(pairs[0], pairs[1], pairs[2])

    def _take(self, feed: float) -> None:
        if feed == self._feed:
            return
        self._feed, text = feed, self._grid.feed(feed)
        if text != self._feed_text:
            self._feed_text = text
            self.lines.append(f"F{text}")

    def _straight(self, g: int, x: int | None, y: int | None, z: int | None) -> None:
        at, words, unit = self._at, self._words, self._unit
        line = ""
        if x is not None and x != at[0]:
            line = " " + words[0] % (x / unit)
            at[0] = x
        if y is not None and y != at[1]:
            line += " " + words[1] % (y / unit)
            at[1] = y
        if z is not None and z != at[2]:
            line += " " + words[2] % (z / unit)
            at[2] = z
        if line:
            self._leave_cycle()
            self.lines.append(f"G{g}{line}")
            self.cut_lines += g

    def _cycle(self, move: Move, x: int, y: int, z: int) -> None:
        """Add a drilling cycle; the tip ends at its retract height."""
        retract, peck = self._grid.ticks(move.i - float(self._zero[2])), self._grid.ticks(move.j)
        if retract <= z or (move.kind == Kind.PECK and peck <= 0):
            raise ValueError(
                f"a cycle down to {move.z:g} that retracts to {move.i:g} and pecks by {move.j:g}"
            )
        self._take(move.feed)
        if not self._in_cycle:
            self.lines.append("G99")
            self._in_cycle = True
        unit, decimals = self._unit, self._grid.decimals
        words = [word % (value / unit) for word, value in zip(self._words, (x, y, z), strict=True)]
        words.append(f"R{retract / unit:.{decimals}f}")
        if move.kind == Kind.PECK:
            words.append(f"Q{peck / unit:.{decimals}f}")
        self.lines.append(f"G{int(move.kind)} {' '.join(words)}")
        self._at[:] = [x, y, retract]
        self._high[2] = max(self._high[2], retract)

    def _leave_cycle(self) -> None:
        if self._in_cycle:
            self.lines.append("G80")
            self._in_cycle = False

    def _arc(
        self,
        move: Move,
        before: tuple[float, float, float],
        place: tuple[float, float, float],
        z: int,
    ) -> None:
        """Add an arc from `before` to `place` (ticks, before rounding) that ends at height `z`."""
        # The circle is that of the places before rounding: with a rounded start its centre, which
        # counts from there, would be rounded as well.
        x0, y0, _ = self._at
        if x0 is None or y0 is None:
            raise ValueError("an arc from an unknown place")
        mm = self._mm
        sx, sy, sz = before
        ex, ey, ez = place
        arc = Arc.between((sx, sy), (ex, ey), move.i * mm, move.j * mm, move.kind == Kind.CCW, mm)
        for x, y in arc.extremes():
            self._low[0], self._high[0] = min(self._low[0], x), max(self._high[0], x)
            self._low[1], self._high[1] = min(self._low[1], y), max(self._high[1], y)
        end = round(ex), round(ey)
        for part in pieces(arc, (x0, y0), end, mm) if self._arcs else chords(arc, end, mm):
            height = z if part.share == 1.0 else round(sz + (ez - sz) * part.share)
            self._piece(move, part, height)

    def _piece(self, move: Move, part: ArcPiece, height: int) -> None:
        if not (part.i or part.j):
            if self._at != [part.x, part.y, height]:
                self._leave_cycle()
                self._take(move.feed)
                self._straight(1, part.x, part.y, height)
            return
        if self._in_cycle:
            self._leave_cycle()
        if move.feed != self._feed:
            self._take(move.feed)
        self.cut_arcs += 1
        unit, at = self._unit, self._at
        ends, offsets = (part.x / unit, part.y / unit), (part.i / unit, part.j / unit)
        if height == at[2]:
            words = self._flat_arc % (*ends, *offsets)
        else:
            words = self._helix % (*ends, height / unit, *offsets)
        self.lines.append(f"G{int(move.kind)} {words}")
        at[:] = part.x, part.y, height


def _table(moves: Sequence[Move]) -> NDArray[np.float64]:
    """Return the moves as (n, 7) floats: kind, x, y, z, feed, i, j. Raises ValueError where they
    cannot be written."""
    table = move_table(moves)
    if not len(table) or table[0, 0] != Kind.RAPID:
        raise ValueError("a pass must begin with a rapid")
    if not np.isfinite(table).all():
        raise ValueError(
            f"move {int(np.argmin(np.isfinite(table).all(axis=1)))} has a number that is not finite"
        )
    idle = (table[:, 0] != Kind.RAPID) & (table[:, 4] <= 0.0)
    if idle.any():
        raise ValueError(f"move {int(np.argmax(idle))} cuts without a feed")
    return table
