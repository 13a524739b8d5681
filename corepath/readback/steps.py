"""Snapshots of the virtual blank before and after each file, for views.

A `FileStep` holds the motions of one file on the bed and the blank before and after them, thinned
to about `MOST_COLUMNS` columns: every n-th column as it is, nothing is averaged. Bed frame of the
set-up, mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from corepath.geometry.step_counts import fewest_steps
from corepath.readback.remaining import KeptBlank, Remaining
from corepath.readback.result import FileStep
from corepath.stock.material import Grid, Stock
from corepath.stock.path import Path
from corepath.work.works import Work

__all__ = ["MOST_COLUMNS", "StockSnapshots", "few", "thinned"]

MOST_COLUMNS = 320_000
"""Columns kept of one state: 1.5 mm apart on a long board, as they stand on a coupon."""


@dataclass(frozen=True, slots=True)
class _Open:
    """A file that is being cut."""

    work: Work
    zero: tuple[float, float, float]
    before: KeptBlank


class StockSnapshots:
    """Collects the snapshots of one read-back; with `keep` false it does nothing."""

    def __init__(self, keep: bool) -> None:
        self.keep = keep
        self.steps: list[FileStep] = []
        self._open: _Open | None = None
        self._last: KeptBlank | None = None

    def begin(self, work: Work, zero: tuple[float, float, float], stock: Stock) -> None:
        """Keep the blank before a file, with the zero of the file on the bed."""
        self._open = _Open(work, zero, self._kept(stock, work.setup)) if self.keep else None

    def _kept(self, stock: Stock, setup: str) -> KeptBlank:
        """Keep the blank as it is now; what has not changed is shared with the state before."""
        self._last = KeptBlank.of(thinned(stock, setup), self._last)
        return self._last

    def end(self, file: str, path: Path, stock: Stock) -> None:
        """Keep the blank after the same file, and its motions."""
        if self._open is None:
            return
        work = self._open.work
        after = self._kept(stock, work.setup)
        self.steps.append(
            FileStep(file, work.setup, work.name, path, self._open.zero, self._open.before, after)
        )
        self._open = None


def thinned(stock: Stock, setup: str) -> Remaining:
    """Return the blank as it is now, every n-th column of it."""
    grid, pick = few(stock.grid)
    wood = Remaining.interval(stock.wood_bottom[pick], stock.wood_top[pick])
    casting = Remaining.interval(stock.cast_bottom[pick], stock.cast_top[pick])
    return Remaining(setup, grid, wood, casting)


def few(grid: Grid, most: int = MOST_COLUMNS) -> tuple[Grid, tuple[slice, slice]]:
    """Return a grid of at most `most` (or a few more) of the same columns, and the slices that pick
    them from an array [iy, ix]."""
    every = max(fewest_steps(math.sqrt(grid.nx * grid.ny / most), 1.0), 1)
    # The middle one of each group, so that the picture does not shift towards one side.
    first = (every - 1) // 2
    pick = (slice(first, None, every), slice(first, None, every))
    nx, ny = (len(range(first, n, every)) for n in (grid.nx, grid.ny))
    px, py = grid.px, grid.py
    return Grid(grid.x0 + first * px, grid.y0 + first * py, every * px, every * py, nx, ny), pick
