"""Removal measured again on finer columns, where those of the blank stand too far apart.

A finishing pass takes a strip narrower than the spacing of the blank's columns: along a wall
parallel to a row of them it meets either a whole row or none. Such a stretch of path is cut once
more on a small grid of its own. Its columns stand at most a tenth of a millimetre or a fortieth of
the diameter apart, and the grid is turned against the path, so that no wall is parallel to a row.
All earlier cuts of the set-up are made on it first, in their order. Lengths in mm, bed frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from corepath.stock.column_kernels import cut_pieces, pieces_near
from corepath.stock.contact_kernels import Underside, underside_of
from corepath.stock.material import NOWHERE, Cut, Grid, Past, Singles, Stock
from corepath.stock.path import Path

__all__ = ["finer_volumes", "runs"]

# mm: two columns over a finishing pass of 0.2 mm; turned, the grid averages over its length.
_CELL = 0.1
_CELLS = 40.0  # columns over the diameter, at least
# The slope is the golden ratio, which fractions of small whole numbers approximate worst: the
# columns beside a straight wall never repeat after a few rows.
_TURN = math.atan((math.sqrt(5.0) - 1.0) / 2.0)
_LONGEST = 40.0  # mm of way measured on one grid, which bounds its size
_DIAMETERS = 3.0  # the same in diameters, where that is more

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Ends = tuple[Floats, Floats]


def runs(shares: Ints, cut: Cut, diameter: float) -> Iterator[Ints]:
    """Divide `shares` (k,), sorted, into runs without a gap, each short enough for one grid.

    `cut` gives the length of each share, `diameter` (mm) is that of the cutter.
    """
    most = max(_LONGEST, _DIAMETERS * diameter)
    gaps = np.diff(shares) > 1
    along = np.cumsum(cut.way[shares])
    begin = 0
    for k in range(1, len(shares) + 1):
        if k == len(shares) or gaps[k - 1] or along[k] - along[begin] > most:
            yield shares[begin:k]
            begin = k


def finer_volumes(stock: Stock, path: Path, cut: Cut, shares: Ints) -> Floats:
    """Return what each of `shares` (k,) takes above the bed, mm³.

    `path` must be the last that was cut on `stock`, `cut` what that took.
    """
    low, high = _ends(path, cut, shares)
    radius = path.cutter.radius
    turned = _turn(low, high)
    grid = _grid(low @ turned.T, high @ turned.T, radius, min(_CELL, 2.0 * radius / _CELLS))
    patch = _Patch(grid, turned)
    patch.begin(stock, low, high, radius)
    # The last of `past` is this path itself; it is cut below, as far as the last share asked.
    for past in stock.past[:-1]:
        patch.cut(past, len(past.lower))
    last = int(cut.of[shares[-1]])
    mine = Past(path.pieces.lower, path.pieces.upper, underside_of(path.cutter))
    volume = patch.cut(mine, last + 1, cut)
    return volume[shares]


def _ends(path: Path, cut: Cut, shares: Ints) -> Ends:
    """Return both ends (k, 2) of each share of the path."""
    of = cut.of[shares]
    first, count = np.searchsorted(cut.of, of), np.searchsorted(cut.of, of, side="right")
    begin = (shares - first) / (count - first)
    end = (shares - first + 1) / (count - first)
    lower, way = path.pieces.lower[of, :2], (path.pieces.upper - path.pieces.lower)[of, :2]
    return lower + way * begin[:, None], lower + way * end[:, None]


def _turn(low: Floats, high: Floats) -> Floats:
    """Return the rotation (2, 2) that lays the longest share askew to the rows."""
    way = high - low
    # Rounded, so that of shares of one length the first wins on every machine.
    longest = way[int(np.argmax(np.round((way**2).sum(axis=1), 6)))]
    angle = _TURN - math.atan2(longest[1], longest[0])
    return np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])


def _grid(low: Floats, high: Floats, radius: float, cell: float) -> Grid:
    """Return a grid over all that the cutter sweeps between `low` and `high` (k, 2)."""
    least = np.minimum(low, high).min(axis=0) - radius
    nx, ny = (
        int(n) for n in np.ceil((np.maximum(low, high).max(axis=0) + radius - least) / cell) + 1
    )
    return Grid(float(least[0]), float(least[1]), cell, cell, nx, ny)


class _Patch:
    """A small turned grid: its columns, and what is cut on it.

    `turned` (2, 2) takes bed coordinates to those of the grid.
    """

    def __init__(self, grid: Grid, turned: Floats) -> None:
        self.grid, self.turned = grid, turned
        self.top: Singles = np.full((grid.ny, grid.nx), NOWHERE, dtype=np.float32)

    def begin(self, stock: Stock, low: Floats, high: Floats, radius: float) -> None:
        """Set the columns within `radius` of the stretches from `low` to `high` (k, 2) to their
        height at the beginning of the set-up."""
        # A flat cutter of height 0 swept over columns of height 1 marks the columns in question.
        # The others stay at NOWHERE, so that earlier cuts pass over them at no cost.
        swept, level = np.ones_like(self.top), np.zeros((len(low), 1))
        lower, upper = (np.hstack((end @ self.turned.T, level)) for end in (low, high))
        _cut(swept, self.grid, lower, upper, Underside(radius, 0.0, radius))
        iy, ix = np.nonzero(swept < 1.0)
        places = np.column_stack((self.grid.xs[ix], self.grid.ys[iy])) @ self.turned
        blank = stock.grid
        across = np.clip(np.rint((places[:, 0] - blank.x0) / blank.px), -1, blank.nx).astype(
            np.int64
        )
        along = np.clip(np.rint((places[:, 1] - blank.y0) / blank.py), -1, blank.ny).astype(
            np.int64
        )
        inside = (across >= 0) & (across < blank.nx) & (along >= 0) & (along < blank.ny)
        self.top[iy[inside], ix[inside]] = stock.began[along[inside], across[inside]]

    def cut(self, past: Past, count: int, cut: Cut | None = None) -> Floats:
        """Cut the first `count` pieces of a path; return the volume of each share of `cut`, mm³, 0
        for those far away, and nothing without `cut`."""
        near = self._near(past, count)
        lower, upper = (
            np.hstack((end[near, :2] @ self.turned.T, end[near, 2:]))
            for end in (past.lower, past.upper)
        )
        if cut is None:
            _cut(self.top, self.grid, lower, upper, past.end)
            return np.zeros(0)
        begin, end = np.searchsorted(cut.of, near), np.searchsorted(cut.of, near, side="right")
        first = np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(end - begin)))
        found = _cut(self.top, self.grid, lower, upper, past.end, first)
        volume = np.zeros(len(cut.of))
        volume[np.repeat(begin - first[:-1], end - begin) + np.arange(len(found))] = found
        return volume

    def _near(self, past: Past, count: int) -> Ints:
        """Return the indices of those of the first `count` pieces that may meet a column of the
        grid, in order."""
        # The box in the bed frame about the turned grid.
        half = (
            np.array([(self.grid.nx - 1) * self.grid.px, (self.grid.ny - 1) * self.grid.py]) / 2.0
        )
        middle = (np.array([self.grid.x0, self.grid.y0]) + half) @ self.turned
        reach = np.abs(self.turned.T) @ half + past.end.radius
        return pieces_near(
            np.ascontiguousarray(past.lower), np.ascontiguousarray(past.upper), count,
            float(middle[0]), float(middle[1]), float(reach[0]), float(reach[1]),
        )  # fmt: skip


def _cut(
    top: Singles, grid: Grid, lower: Floats, upper: Floats, end: Underside,
    first: Ints | None = None,
) -> Floats:  # fmt: skip
    """Cut pieces on a small grid; return what each share of them takes, mm³ (one share a piece
    unless `first` divides them)."""
    count = len(lower)
    first = np.arange(count + 1, dtype=np.int64) if first is None else first
    volume, owner = np.zeros(int(first[-1])), np.zeros(count, dtype=np.int64)
    cut_pieces(
        top, grid.x0, grid.y0, grid.px, grid.py, np.ascontiguousarray(lower),
        np.ascontiguousarray(upper), owner,
        end, np.zeros(1), np.zeros((1, 3)), np.zeros(1), first, volume, float(top.max()),
    )  # fmt: skip
    return volume
