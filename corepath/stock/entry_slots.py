"""Entries: where a path goes down into material, and the slot that its first lap then cuts.

A first lap cuts as wide as the cutter, and may; any later cut of that width is a fault. A slot may
begin where the way down ends, or where the wedge that a ramp left stands over the entry's own path.
The path may leave it, for example to clear a corner, and take it up again at its end, straight on.
In a narrow pocket the lap comes back beside itself: there it is no slot, and beyond that it is one
again, until it returns to where the way down ended. A cut as wide that begins anywhere else is no
part of a first lap. Lengths in mm, bed frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.geometry.boxed_places import BoxedPlaces
from corepath.geometry.masks import runs
from corepath.stock.path import Pieces

__all__ = ["Samples", "WayIn", "find_entries", "first_laps"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

# mm: heights and ends no farther apart are the same one. The text has three or four decimals.
_SAME = 0.01
# mm off the entry's own path, or off its end, that still count as on it.
_ON = 0.2
# Cosine of the largest angle (26 degrees) between two headings that count as the same: a path that
# passes the end of the entry in another direction has not completed its lap.
_SAME_WAY = 0.9
_CELL = 6.0
"""radii: more than the first diameter of a run (2), one sample beyond it (0.5), and what lies ahead
of an end (2.5) together, so that the nine cells about a run's beginning hold all ends in
question."""


@dataclass(frozen=True, slots=True)
class WayIn:
    """A way down into material: pieces `first` to `last` (both included)."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Samples:
    """Samples along a path in the order cut: of each its `piece` (k,), its `place` (k, 3), mm, and
    the length of path, `way` (k,), since the one before."""

    piece: Ints
    place: Floats
    way: Floats


@dataclass(frozen=True, slots=True)
class _End:
    """The end of a slot: place (x, y) and height z, mm, and heading (ux, uy), a unit vector."""

    x: float
    y: float
    z: float
    ux: float
    uy: float


def find_entries(down: Flags, met: Flags) -> tuple[WayIn, ...]:
    """Return the runs of pieces that go down (`down`, (m,)) and of which at least one meets
    material (`met`, (m,))."""
    return tuple(WayIn(first, stop - 1) for first, stop in runs(down) if met[first:stop].any())


def first_laps(
    pieces: Pieces, samples: Samples, wide: Flags, entries: tuple[WayIn, ...], radius: float
) -> Flags:
    """Tell which `samples` lie in an entry or its first lap, (k,); `wide` (k,) tells which cut as
    wide as only a first lap may."""
    piece, place = samples.piece, samples.place
    inside = np.zeros(len(pieces), dtype=np.bool_)
    for entry in entries:
        inside[entry.first : entry.last + 1] = True
    found = inside[piece]
    found |= _on_own_way(pieces, place, entries)
    headings = _headings(pieces)
    heading = headings[piece]
    ends = _Ends(radius)
    for entry in entries:
        ends.add(_End(*pieces.upper[entry.last].tolist(), *headings[entry.last].tolist()))
    # In the order cut, since each slot that is accepted adds an end that a later one may take up.
    for first, stop in runs(wide | found):
        x, y, _ = place[first].tolist()
        if found[first:stop].any() or _goes_on(
            ends.near(x, y), samples, heading, (first, stop), radius
        ):
            found[first:stop] = True
            ends.add(_End(*place[stop - 1].tolist(), *heading[stop - 1].tolist()))
    return found | (wide & _come_round(pieces, headings, entries, radius)[piece])


class _Ends:
    """Ends of slots by square cells, each kept once, so that the work does not grow where a slot is
    cut over and over."""

    def __init__(self, radius: float) -> None:
        self._size = _CELL * radius
        self._cells: dict[tuple[int, int], dict[tuple[float, ...], _End]] = {}

    def add(self, end: _End) -> None:
        cell = math.floor(end.x / self._size), math.floor(end.y / self._size)
        key = tuple(round(value, 3) for value in (end.x, end.y, end.z, end.ux, end.uy))
        self._cells.setdefault(cell, {}).setdefault(key, end)

    def near(self, x: float, y: float) -> list[_End]:
        """Return all ends that a run beginning at (x, y) may take up, and others not far off."""
        i, j = math.floor(x / self._size), math.floor(y / self._size)
        cells = ((i + di, j + dj) for di in (-1, 0, 1) for dj in (-1, 0, 1))
        return [end for cell in cells for end in self._cells.get(cell, {}).values()]


def _headings(pieces: Pieces) -> Floats:
    """Return the direction of each piece in the plane, (m, 2); zero where it is upright."""
    span = (pieces.upper - pieces.lower)[:, :2]
    # 1e-12: an upright piece gets 0, not NaN.
    return np.asarray(span / np.maximum(np.hypot(*span.T), 1e-12)[:, None], dtype=np.float64)


def _on_own_way(pieces: Pieces, place: Floats, entries: tuple[WayIn, ...]) -> Flags:
    """Tell which samples lie over an entry's own path, at the height at which it ends: there the
    wedge under the ramp is cut, as wide as the cutter."""
    on = np.zeros(len(place), dtype=np.bool_)
    boxed = BoxedPlaces(place)
    for entry in entries:
        ends = pieces.upper[entry.first : entry.last + 1, :2]
        points = np.vstack((pieces.lower[entry.first, :2], ends))
        near = boxed.about(points, _ON)
        near = near[np.abs(place[near, 2] - pieces.upper[entry.last, 2]) < _SAME]
        line = shapely.linestrings(points)
        shapely.prepare(line)
        on[near] |= shapely.dwithin(line, shapely.points(place[near, :2]), _ON)
    return on


def _come_round(
    pieces: Pieces, headings: Floats, entries: tuple[WayIn, ...], radius: float
) -> Flags:
    """Tell which pieces belong to a closed lap, (m,): from where an entry ends, level and without a
    break, until they pass there again in the same direction.

    A path that does not return is no lap, and no piece of it counts.
    """
    lap = np.zeros(len(pieces), dtype=np.bool_)
    fall = np.abs(pieces.upper[:, 2] - pieces.lower[:, 2]) > _SAME
    gap = np.append(False, np.abs(pieces.lower[1:] - pieces.upper[:-1]).max(axis=1) > _SAME)
    breaks = np.append(np.flatnonzero(fall | gap), len(pieces))
    for entry in entries:
        first = entry.last + 1
        stop = int(breaks[np.searchsorted(breaks, first)])
        if stop <= first:
            continue
        end, a, b = (
            pieces.upper[entry.last, :2],
            pieces.lower[first:stop, :2],
            pieces.upper[first:stop, :2],
        )
        t = np.clip(
            # 1e-18 mm²: a point has no direction to divide by.
            ((end - a) * (b - a)).sum(axis=1) / np.maximum(((b - a) ** 2).sum(axis=1), 1e-18),
            0.0,
            1.0,
        )
        near = np.hypot(*(a + t[:, None] * (b - a) - end).T) < _ON
        # The first pieces pass the end of the entry because they begin there: a lap has returned
        # only after it was a radius away.
        away = np.append(False, np.maximum.accumulate(np.hypot(*(b - end).T) > radius)[:-1])
        back = np.flatnonzero(near & away & (headings[first:stop] @ headings[first] > _SAME_WAY))
        if len(back):
            lap[first : first + int(back[0]) + 1] = True
    return lap


def _goes_on(
    ends: list[_End], samples: Samples, heading: Floats, run: tuple[int, int], radius: float
) -> bool:
    """Tell whether a run of samples takes up one of the slots that ended earlier, within its first
    diameter of path."""
    first, stop = run
    # Straight on means: within half a radius of the slot's line, heading within 60 degrees of it,
    # at the same height, and not far from its end.
    last = first + int(np.searchsorted(np.cumsum(samples.way[first:stop]), 2.0 * radius)) + 1
    x, y, z = samples.place[first:last].T
    for end in ends:
        ahead = (x - end.x) * end.ux + (y - end.y) * end.uy
        aside = np.abs((y - end.y) * end.ux - (x - end.x) * end.uy)
        same = heading[first:last, 0] * end.ux + heading[first:last, 1] * end.uy > 0.5
        close = (ahead > -radius) & (ahead < 2.5 * radius) & (aside < 0.5 * radius)
        if bool((close & same & (np.abs(z - end.z) < _SAME)).any()):
            return True
    return False
