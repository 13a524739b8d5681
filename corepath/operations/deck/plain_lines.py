"""Finishing lines over the deck along the grain (X), back and forth, as close as the ridges ask
for.

Bed frame of C, mm. The blank is cut in *strips* across Y, all one after another without a lift.
Where one line a strip leaves ridges higher than the allowed scallop, the strip is split along X
into *cells* with 3, 5, 7 … lines, so that the close lines lie only where the ground asks for them.
Their number is odd, since a cell is entered at one end and left at the other. How far apart lines
may lie is worked out in `corepath.work.cutting.deck_steps`.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.motion.cutter import Cutter
from corepath.work.cutting.deck_steps import allowed_steps, least_by_axis, level_step

__all__ = ["Cell", "Strip", "strips"]

Array = NDArray[np.float64]

# mm; size along X and Y of the bins of the table of steps by which the strips are laid.
_BIN_X = 5.0
_BIN_Y = 1.0
_LEAST_CELL = 40.0
"""mm; shorter cells are joined with a neighbour, as turning costs more than the lines saved."""


@dataclass(frozen=True, slots=True)
class Cell:
    """`lines` parallel lines between x `left` and `right`, mm."""

    left: float
    right: float
    lines: int


@dataclass(frozen=True, slots=True)
class Strip:
    """Cells in order of X between `low` and `high` in Y, mm; line k of n lies at low + (k +
    ½)·(high − low)/n."""

    low: float
    high: float
    cells: tuple[Cell, ...]


def strips(
    surface: DeckSurface,
    cutter: Cutter,
    scallop: float,
    stepover: float,
    bounds: tuple[float, float, float, float],
) -> list[Strip]:
    """Strips in order of Y over the rectangle `bounds` (left, low, right, high), mm.

    `scallop` is the highest ridge allowed, `stepover` the widest step on level ground, both mm.
    """
    left, low, right, high = bounds
    widest = level_step(cutter, scallop, stepover)
    steps = allowed_steps(surface.grid, surface.step, cutter, scallop)
    table = least_by_axis(surface, cutter, steps, widest, bounds, (_BIN_X, _BIN_Y))
    # A contact on the edge between two columns counts in both.
    wider = np.pad(table, 1, mode="edge")
    table = np.min([wider[:-2, 1:-1], wider[2:, 1:-1], table], axis=0)
    found: list[Strip] = []
    y = low
    # 1e-9 mm: no strip more where the last ended there but for rounding.
    while y < high - 1e-9:
        width = _best_width(table, y - low, min(widest, high - y))
        # No sliver as the last strip: two even ones instead, or one if that is wide enough.
        if high - y - width < 0.2 * widest:
            width = high - y if high - y <= widest else (high - y) / 2.0
        found.append(Strip(y, y + width, _cells(table, y - low, width, left, right)))
        y += width
    return found


def _passes(table: Array, start: float, width: float) -> NDArray[np.int64]:
    """Lines needed in each column of the table (odd numbers) for a strip from `start` on, mm from
    the lowest Y."""
    # Half a bin more on both sides: the edges of a strip need not fall on those of bins.
    first = max(math.floor((start - 0.5 * _BIN_Y) / _BIN_Y), 0)
    last = min(math.floor((start + width + 0.5 * _BIN_Y) / _BIN_Y) + 1, table.shape[1])
    first = min(first, last - 1)
    needed: NDArray[np.int64] = np.ceil(width / table[:, first:last].min(axis=1) - 1e-9).astype(
        np.int64
    )
    # The next odd number at or above.
    odd: NDArray[np.int64] = needed | 1
    return odd


def _best_width(table: Array, start: float, widest: float) -> float:
    """Width, mm, of the strip that costs least per mm of its width: lines · length / width."""
    # Down to 0.09 of the widest; rounded, so that a tie goes to the wider strip on every machine.
    widths = [widest * 0.96**k for k in range(60)]
    costs = [round(float(_passes(table, start, width).mean()) / width, 9) for width in widths]
    return widths[costs.index(min(costs))]


def _cells(table: Array, start: float, width: float, left: float, right: float) -> tuple[Cell, ...]:
    counts = _passes(table, start, width)
    edges = [0, *(np.flatnonzero(np.diff(counts)) + 1).tolist(), len(counts)]
    runs = [[a, b, int(counts[a])] for a, b in itertools.pairwise(edges)]
    least = max(1, round(_LEAST_CELL / _BIN_X))
    while len(runs) > 1:
        # Neighbours with equally many lines are one cell. Of those too short the shortest goes
        # first, into the neighbour where the extra lines cost less.
        short = [k for k, run in enumerate(runs) if run[1] - run[0] < least]
        merge = next((k for k in range(len(runs) - 1) if runs[k][2] == runs[k + 1][2]), None)
        if merge is None and not short:
            break
        if merge is None:
            k = min(short, key=lambda at: (runs[at][1] - runs[at][0], at))
            merge = _cheaper_side(runs, k)
        a, b = runs[merge], runs[merge + 1]
        runs[merge : merge + 2] = [[a[0], b[1], max(a[2], b[2])]]
    bound = [left + run[0] * _BIN_X for run in runs] + [right]
    return tuple(Cell(bound[k], bound[k + 1], run[2]) for k, run in enumerate(runs))


def _cheaper_side(runs: list[list[int]], k: int) -> int:
    """Index of the first of two runs to join: the short run `k` and the neighbour where the extra
    lines cost less."""
    costs = []
    for a in (k - 1, k):
        if 0 <= a < len(runs) - 1:
            (s, e, n), (t, f, m) = runs[a], runs[a + 1]
            costs.append(((e - s) * (max(n, m) - n) + (f - t) * (max(n, m) - m), a))
    return min(costs)[1]
