"""Which lines of a path a drawing shows: none under another, and on a deck only so many that they
stand apart.

A *cover* is a raster over the sheet: what was drawn covers all within a distance of it, and what
comes later is drawn only where nothing covers it. Lengths are those of the runs that are given, mm,
the set-up's bed frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.polylines import along, part_counts

__all__ = ["Cover", "apart", "bounds_of", "straight_pieces"]

Run = NDArray[np.float64]

_TIGHT = math.radians(100)


class Cover:
    """What of a drawing is covered: everything within `distance` of what was kept, inside `bounds`
    (x0, y0, x1, y1).

    The raster has `pixels` to a `distance`. A line does not cover what follows it within three
    distances of its own length, so bends stay whole.
    """

    def __init__(
        self, bounds: tuple[float, float, float, float], distance: float, pixels: int = 3
    ) -> None:
        self.step = distance / pixels
        self._lag = 3.0 * distance
        self._x = bounds[0] - 2 * distance
        self._y = bounds[1] - 2 * distance
        self._wide = int((bounds[2] - bounds[0] + 4 * distance) / self.step) + 2 * pixels
        high = int((bounds[3] - bounds[1] + 4 * distance) / self.step) + 2 * pixels
        self._pixels = bytearray(self._wide * high)
        halves = [(row, int(math.sqrt(pixels**2 - row**2))) for row in range(1 - pixels, pixels)]
        self._rows = [(row * self._wide - half, b"\1" * (2 * half + 1)) for row, half in halves]

    def keep(self, run: Run, least: float = 0.0, *, start: bool = False) -> list[Run]:
        """The parts of `run` (n, 3) that nothing covers; they cover from now on.

        Parts shorter than `least` are dropped, but with `start` not the one with which the run
        begins.
        """
        points, places, along = self._sampled(run)
        parts: list[Run] = []
        first, stamped, lag = 0, 0, max(self._lag, least)
        for k, place in enumerate([*places, -1]):
            if place >= 0 and not self._pixels[place]:
                while along[k] - along[stamped] > lag:
                    self._stamp(places[stamped])
                    stamped += 1
                continue
            if k - first > 1 and (along[k - 1] - along[first] >= least or (start and first == 0)):
                parts.append(points[first:k])
                for one in places[stamped:k]:
                    self._stamp(one)
            first = stamped = k + 1
        return parts

    def _stamp(self, place: int) -> None:
        for row, ones in self._rows:
            at = place + row
            self._pixels[at : at + len(ones)] = ones

    def _sampled(self, run: Run) -> tuple[Run, list[int], list[float]]:
        """`run` with points no farther apart than a pixel, each point's place in the raster and its
        way along."""
        points = _denser(run, self.step)
        columns = np.floor((points[:, 0] - self._x) / self.step).astype(np.int64)
        rows = np.floor((points[:, 1] - self._y) / self.step).astype(np.int64)
        return points, (rows * self._wide + columns).tolist(), along(points).tolist()


def apart(runs: Sequence[Run], distance: float, least: float) -> tuple[Run, ...]:
    """Of `runs` what stays `distance` off what was kept before it, in pieces no shorter than
    `least`.

    Where a run turns back on itself within `distance` it is taken as two lines, so of a raster
    every n-th line stays.
    """
    if not runs:
        return ()
    cover = Cover(bounds_of(runs), distance)
    pieces = (piece for run in runs for piece in straight_pieces(run, distance))
    return tuple(part for piece in pieces for part in cover.keep(piece, least))


def bounds_of(runs: Iterable[Run]) -> tuple[float, float, float, float]:
    """The box (x0, y0, x1, y1) round all points of `runs`."""
    low = np.min([run[:, :2].min(axis=0) for run in runs], axis=0)
    high = np.max([run[:, :2].max(axis=0) for run in runs], axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def straight_pieces(run: Run, reach: float) -> Iterable[Run]:
    """`run` cut wherever it turns by more than 100° within `reach` mm of its way."""
    step = np.diff(run[:, :2], axis=0)
    ways = np.hypot(step[:, 0], step[:, 1])
    run = run[np.concatenate(([True], ways > 1e-9))]
    step, ways = step[ways > 1e-9], ways[ways > 1e-9]
    if len(step) == 0:
        return
    turn = np.diff(np.unwrap(np.arctan2(step[:, 1], step[:, 0])), prepend=0.0)
    turn[0] = 0.0
    turned, along = np.cumsum(turn), np.cumsum(ways)
    start = first = 0
    for k in range(1, len(step)):
        while along[k - 1] - along[first] > reach and first < k:
            first += 1
        if abs(turned[k] - turned[first]) > _TIGHT:
            yield run[start : k + 1]
            start = first = k
    yield run[start:]


def _denser(run: Run, step: float) -> Run:
    """`run` with each segment divided evenly into parts of at most `step`, in plan."""
    counts = part_counts(run, step)
    index = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(len(index)) - np.repeat(np.cumsum(counts) - counts, counts) + 1) / counts[
        index
    ]
    return np.concatenate([run[:1], run[index] + (run[index + 1] - run[index]) * share[:, None]])
