"""Which parts of the lines of a layer are needed: what the lines beside them take anyway, and what
finishing takes in one go, nobody has to rough.

Bed frame of C, mm. All lines of a layer, as far as wood under the cutter asks for them, leave some
height over each node of a lattice. A node *asks* where that is lower than what stands there and
than what may stay for finishing. Lines are then shortened one after the other, as long as each node
that asks is reached by one of them as low as it asks. The middle ones come first: of two that would
do, the outer one remains, which is cut from outside the blank.

A node stands for the square of the lattice about it: what reaches it reaches all of that square.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.morphology import dilated, eroded_along
from corepath.motion.cutter_profile import CutterProfile, footprint, sections

__all__ = ["Standing", "Stretch"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_GAP = 120.0
"""mm of a line that nothing asks for, from which on it is left out; shorter ones are crossed, since
to turn at both its ends takes as long."""
_TO_END = 60.0
"""mm from an end of the blank within which a line goes on to that end: there it begins in air."""
_SAME = 1e-9
"""mm; heights closer than this are the same, whatever rounding does."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Samples `first` to `last` (both included) of line `row`.

    `begin` and `end` are those that all wood under the cutter asks for: there it is in air.
    """

    row: int
    first: int
    last: int
    begin: int
    end: int


class Standing:
    """What stands over a deck while it is roughed along the lines `ys` (m,), at first as high as
    `top`, over the samples `xs` (n,), equally spaced, by the nodes `places` (k,) in Y, as close.

    `may_stay` (n, k) is the height up to which stock may stay for finishing; all mm.
    """

    def __init__(
        self, xs: Array, ys: Array, places: Array, may_stay: Array, top: float, end: CutterProfile
    ) -> None:
        self._cell = float(xs[1] - xs[0])
        self._corner = self._cell * math.sqrt(0.5)
        self._end, self._ys, self._places, self._may_stay = end, ys, places, may_stay
        self._stock = np.full(may_stay.shape, top)
        self._of_all_lines = self._stock.copy()
        self._more = np.full(may_stay.shape, -np.inf)

    def shortened(self, rows: Sequence[Sequence[Stretch]], tips: Array) -> list[list[Stretch]]:
        """Cut a layer whose tip is at `tips` (m, n); return the stretches of each line, no longer
        than they are needed."""
        # what shortened lines of the layers before have left
        self._more = np.where(self._stock > self._of_all_lines + _SAME, self._stock, -np.inf)
        reached = [self._reached(row, tips[row], rows[row]) for row in range(len(rows))]
        self._of_all_lines = self._cut(self._of_all_lines, reached)
        allowed = np.maximum(self._cut(self._stock, reached), self._may_stay) + _SAME
        asks = self._stock > allowed
        lines = np.zeros(asks.shape, dtype=np.int16)
        for row, low in enumerate(reached):
            lines[:, self._near(row)] += low <= allowed[:, self._near(row)]
        found = [list(row) for row in rows]
        for row in sorted(range(len(rows)), key=lambda row: (abs(2 * row - len(rows) + 1), row)):
            near = self._near(row)
            enough = reached[row] <= allowed[:, near]
            alone = asks[:, near] & enough & (lines[:, near] == 1)
            shorter = self._asked(rows[row], tips[row], np.argwhere(alone), row, allowed)
            low = self._reached(row, tips[row], shorter)
            # Where it bends much, samples that reach a node need not hang together: then it stays.
            if np.any(alone & (low > allowed[:, near])):
                continue
            lines[:, near] -= enough & (low > allowed[:, near])
            reached[row], found[row] = low, shorter
        self._stock = self._cut(self._stock, reached)
        return found

    def over(self, row: int) -> Array:
        """Return the tip heights (n,) below which the cutter on line `row` would meet in this layer
        what shortened lines have left before; -inf where there is none."""
        near = self._near(row, self._corner)
        wide = self._end.radius + self._corner
        disc = footprint(CutterProfile(wide, wide, 0.0), self._cell)
        middle = int(np.argmin(np.abs(self._places[near] - self._ys[row])))
        found: Array = dilated(self._more[:, near], disc)[:, middle]
        return found

    def _near(self, row: int, more: float = 0.0) -> slice:
        """The nodes in Y that the cutter on line `row` can reach."""
        first, end = np.searchsorted(
            self._places, self._ys[row] + np.array([-1.0, 1.0]) * (self._end.radius + more)
        )
        return slice(int(first), int(end))

    def _sections(self, row: int) -> Array:
        """The cutter's end over the tip (k near, 2r + 1) as far as all of a node's square is under
        it."""
        aside = self._places[self._near(row)] - self._ys[row]
        return sections(self._end, self._cell, aside, self._corner)

    def _reached(self, row: int, tips: Array, stretches: Sequence[Stretch]) -> Array:
        """How low line `row` cuts the nodes near it (n, k near); inf where it does not come."""
        return eroded_along(_where_cut(tips, stretches), self._sections(row))

    def _cut(self, stock: Array, reached: Sequence[Array]) -> Array:
        left = stock.copy()
        for row, low in enumerate(reached):
            near = self._near(row)
            left[:, near] = np.minimum(left[:, near], low)
        return left

    def _asked(
        self,
        stretches: Sequence[Stretch],
        tips: Array,
        nodes: NDArray[np.int64],
        row: int,
        allowed: Array,
    ) -> list[Stretch]:
        """The parts of `stretches` that reach each of `nodes` (j, 2)."""
        over, low = self._sections(row), allowed[:, self._near(row)]
        reach = over.shape[1] // 2
        x, y = nodes.T
        padded = np.pad(_where_cut(tips, stretches), reach, constant_values=np.inf)
        # the first and the last sample that reach a node
        first, last = np.full(len(x), len(tips)), np.full(len(x), -1)
        for k in range(2 * reach + 1):
            does = padded[x + k] + over[y, k] <= low[x, y]
            sample = x + k - reach
            first = np.where(does, np.minimum(first, sample), first)
            last = np.where(does, np.maximum(last, sample), last)
        return [
            part
            for run in _fewest(first, last, round(_GAP / self._cell))
            for part in self._parts(stretches, *run, len(tips) - 1)
        ]

    def _parts(
        self, stretches: Sequence[Stretch], first: int, last: int, end: int
    ) -> list[Stretch]:
        """What of `stretches` lies from sample `first` to `last`, each on to an `end` of the blank
        that is near."""
        near, found = round(_TO_END / self._cell), []
        for one in stretches:
            a, b = max(one.first, first), min(one.last, last)
            if a > b:
                continue
            a = 0 if one.first == 0 and a < near else a
            b = end if one.last == end and b > end - near else b
            found.append(Stretch(one.row, a, b, one.begin, one.end))
        return found


def _where_cut(tips: Array, stretches: Sequence[Stretch]) -> Array:
    """The heights `tips` (n,) along a line within its stretches, inf elsewhere."""
    at = np.full(len(tips), np.inf)
    for one in stretches:
        at[one.first : one.last + 1] = tips[one.first : one.last + 1]
    return at


def _fewest(first: NDArray[np.int64], last: NDArray[np.int64], gap: int) -> list[tuple[int, int]]:
    """Runs of samples, both ends included, that meet each interval `first` to `last` (j,), with
    gaps longer than `gap` between them.

    Taken in the order of their ends, each interval that is not met yet is met at its end if a new
    run begins there, else at its beginning: the known greedy stabbing of intervals.
    """
    runs: list[tuple[int, int]] = []
    for end, begin in sorted(set(zip(last.tolist(), first.tolist(), strict=True))):
        if runs and begin <= runs[-1][1]:
            continue
        if runs and end - runs[-1][1] <= gap:
            runs[-1] = (runs[-1][0], begin)
        else:
            runs.append((end, end))
    return runs
