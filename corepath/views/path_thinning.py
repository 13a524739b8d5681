"""Select the lines of a path that a drawing shows: none under another, and on a deck only so many
that they can be seen singly.

A *cover* is a raster over the sheet: what has been drawn covers everything within a distance of it,
and later lines are drawn only where nothing covers them. Lengths are those of the runs, mm, in the
set-up's bed frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.polylines import along, part_counts

__all__ = ["Cover", "apart", "bounds_of", "straight_pieces"]

Run = NDArray[np.float64]

_TIGHT = math.radians(100)  # more than a right-angled corner of a path, less than a turn back


class Cover:
    """The covered part of a drawing: everything within `distance` of what was kept, inside `bounds`
    (x0, y0, x1, y1).

    The raster has `pixels` to a `distance`. A line does not cover its own continuation within three
    distances along it, so bends stay whole.
    """

    def __init__(
        self, bounds: tuple[float, float, float, float], distance: float, pixels: int = 3
    ) -> None:
        # One flat array of pixels with a margin of two distances, so that a stamp never needs
        # clipping; a stamp is a disc, stored as place and length of a run for each of its rows.
        self.step = distance / pixels
        self._lag = 3.0 * distance
        self._x = bounds[0] - 2 * distance
        self._y = bounds[1] - 2 * distance
        self._wide = int((bounds[2] - bounds[0] + 4 * distance) / self.step) + 2 * pixels
        high = int((bounds[3] - bounds[1] + 4 * distance) / self.step) + 2 * pixels
        self._pixels = np.zeros(self._wide * high, np.bool_)
        halves = [(row, int(math.sqrt(pixels**2 - row**2))) for row in range(1 - pixels, pixels)]
        self._rows = np.array([(row * self._wide - half, 2 * half + 1) for row, half in halves])

    def keep(self, run: Run, least: float = 0.0, *, start: bool = False) -> list[Run]:
        """Return the parts of `run` (n, 3) that nothing covers; from now on they cover.

        Parts shorter than `least` are dropped, with `start` except the one at the start of the run.
        """
        from corepath.views.path_thinning_kernels import kept

        points, places, along = self._sampled(run)
        lag = max(self._lag, least)
        ends = kept(self._pixels, self._rows, places, along, lag, least, start)
        return [points[first:end] for first, end in ends.tolist()]

    def _sampled(self, run: Run) -> tuple[Run, NDArray[np.int64], NDArray[np.float64]]:
        """Return `run` with points no farther apart than a pixel, each point's index in the raster
        and its length along the run."""
        points = _denser(run, self.step)
        columns = np.floor((points[:, 0] - self._x) / self.step).astype(np.int64)
        rows = np.floor((points[:, 1] - self._y) / self.step).astype(np.int64)
        return points, rows * self._wide + columns, along(points)


def apart(runs: Sequence[Run], distance: float, least: float) -> tuple[Run, ...]:
    """Return the parts of `runs` that keep `distance` from all parts kept before, in pieces no
    shorter than `least`; all mm.

    Where a run turns back on itself within `distance` it is taken as two lines, so that of the
    lines of a zigzag every n-th one stays.
    """
    if not runs:
        return ()
    cover = Cover(bounds_of(runs), distance)
    pieces = (piece for run in runs for piece in straight_pieces(run, distance))
    return tuple(part for piece in pieces for part in cover.keep(piece, least))


def bounds_of(runs: Iterable[Run]) -> tuple[float, float, float, float]:
    """Return the box (x0, y0, x1, y1) around all points of `runs`."""
    low = np.min([run[:, :2].min(axis=0) for run in runs], axis=0)
    high = np.max([run[:, :2].max(axis=0) for run in runs], axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def straight_pieces(run: Run, reach: float) -> Iterable[Run]:
    """Yield `run` in pieces, cut wherever it turns by more than 100° within `reach` mm."""
    step = np.diff(run[:, :2], axis=0)
    ways = np.hypot(step[:, 0], step[:, 1])
    # mm: moves straight down, which have no direction from above.
    run = run[np.concatenate(([True], ways > 1e-9))]
    step, ways = step[ways > 1e-9], ways[ways > 1e-9]
    if len(step) == 0:
        return
    turn = np.diff(np.unwrap(np.arctan2(step[:, 1], step[:, 0])), prepend=0.0)
    turn[0] = 0.0
    turned, along = np.cumsum(turn), np.cumsum(ways)
    # A window that ends at segment k and is `reach` long: its turning is the difference of sums. A
    # turn back may be made of many short steps, none of them sharp by itself.
    start = first = 0
    for k in range(1, len(step)):
        while along[k - 1] - along[first] > reach and first < k:
            first += 1
        if abs(turned[k] - turned[first]) > _TIGHT:
            yield run[start : k + 1]
            start = first = k
    yield run[start:]


def _denser(run: Run, step: float) -> Run:
    """Return `run` with each segment divided evenly into parts of at most `step` mm in plan."""
    counts = part_counts(run, step)
    index = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(len(index)) - np.repeat(np.cumsum(counts) - counts, counts) + 1) / counts[
        index
    ]
    return np.concatenate([run[:1], run[index] + (run[index + 1] - run[index]) * share[:, None]])
