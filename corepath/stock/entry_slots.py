"""Entries: where a path goes down into material, and the slot that its first lap then cuts.

A slot may begin where the way down ends, or where the wedge that a ramp left stands over the
entry's own way. It may be left, as to clear a corner, and taken up again at its end, straight on.
In a narrow pocket the lap comes back beside itself: there it is no slot, and beyond that one again,
until it has come round to where the way down ended. A cut as wide that begins anywhere else is no
part of a first lap. Lengths in mm, bed frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.stock.path import Pieces

__all__ = ["WayIn", "find_entries", "first_laps", "runs"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

_SAME = 0.01
_ON = 0.2
_SAME_WAY = 0.9
_CELL = 6.0
"""radii: more than a run's first diameter of way, one sample over, and what lies ahead of an end,
2.5 radii."""


@dataclass(frozen=True, slots=True)
class WayIn:
    """One way down into material: pieces `first` to `last` (both included)."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class _End:
    """Where a slot ends: place and heading in the plane, height."""

    x: float
    y: float
    z: float
    ux: float
    uy: float


def runs(which: Flags) -> list[tuple[int, int]]:
    """Stretches in which `which` holds without a break, as (first, one past the last)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], which, [False])).astype(np.int8)))
    return [(int(first), int(last)) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def find_entries(down: Flags, met: Flags) -> tuple[WayIn, ...]:
    """Runs of pieces that go down (`down`), of which one meets material (`met`)."""
    return tuple(WayIn(first, stop - 1) for first, stop in runs(down) if met[first:stop].any())


def first_laps(
    pieces: Pieces,
    piece: Ints,
    place: Floats,
    way: Floats,
    wide: Flags,
    entries: tuple[WayIn, ...],
    radius: float,
) -> Flags:
    """Which samples lie in an entry or its first lap, (k,).

    `piece` (k,), `place` (k, 3), `way` (k,) of the samples in the order cut; `wide` tells which cut
    as wide as only a first lap may.
    """
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
    for first, stop in runs(wide | found):
        x, y, _ = place[first].tolist()
        if found[first:stop].any() or _goes_on(
            ends.near(x, y), place, heading, way, first, stop, radius
        ):
            found[first:stop] = True
            ends.add(_End(*place[stop - 1].tolist(), *heading[stop - 1].tolist()))
    return found | (wide & _come_round(pieces, headings, entries, radius)[piece])


class _Ends:
    """Ends of slots by square cells, each once: where a slot is cut over and over, the work must
    not grow with it."""

    def __init__(self, radius: float) -> None:
        self._size = _CELL * radius
        self._cells: dict[tuple[int, int], dict[tuple[float, ...], _End]] = {}

    def add(self, end: _End) -> None:
        cell = math.floor(end.x / self._size), math.floor(end.y / self._size)
        key = tuple(round(value, 3) for value in (end.x, end.y, end.z, end.ux, end.uy))
        self._cells.setdefault(cell, {}).setdefault(key, end)

    def near(self, x: float, y: float) -> list[_End]:
        """All ends that a run beginning at (x, y) may take up, and others not far off."""
        i, j = math.floor(x / self._size), math.floor(y / self._size)
        cells = ((i + di, j + dj) for di in (-1, 0, 1) for dj in (-1, 0, 1))
        return [end for cell in cells for end in self._cells.get(cell, {}).values()]


def _headings(pieces: Pieces) -> Floats:
    """Direction of each piece in the plane, (m, 2); zero where it is upright."""
    span = (pieces.upper - pieces.lower)[:, :2]
    return np.asarray(span / np.maximum(np.hypot(*span.T), 1e-12)[:, None], dtype=np.float64)


def _on_own_way(pieces: Pieces, place: Floats, entries: tuple[WayIn, ...]) -> Flags:
    """Samples at the height where an entry ends, over the way that it came."""
    on = np.zeros(len(place), dtype=np.bool_)
    for entry in entries:
        ends = pieces.upper[entry.first : entry.last + 1, :2]
        points = np.vstack((pieces.lower[entry.first, :2], ends))
        near = np.flatnonzero(np.abs(place[:, 2] - pieces.upper[entry.last, 2]) < _SAME)
        line = shapely.linestrings(points)
        shapely.prepare(line)
        on[near] |= shapely.dwithin(line, shapely.points(place[near, :2]), _ON)
    return on


def _come_round(
    pieces: Pieces, headings: Floats, entries: tuple[WayIn, ...], radius: float
) -> Flags:
    """Pieces from where an entry ends, level and without a break, until they pass there again the
    same way, (m,).

    None of a path that does not come round: what it cuts is no lap.
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
            ((end - a) * (b - a)).sum(axis=1) / np.maximum(((b - a) ** 2).sum(axis=1), 1e-18),
            0.0,
            1.0,
        )
        near = np.hypot(*(a + t[:, None] * (b - a) - end).T) < _ON
        away = np.append(False, np.maximum.accumulate(np.hypot(*(b - end).T) > radius)[:-1])
        back = np.flatnonzero(near & away & (headings[first:stop] @ headings[first] > _SAME_WAY))
        if len(back):
            lap[first : first + int(back[0]) + 1] = True
    return lap


def _goes_on(
    ends: list[_End],
    place: Floats,
    heading: Floats,
    way: Floats,
    first: int,
    stop: int,
    radius: float,
) -> bool:
    """Whether a run takes up one of the slots that ended earlier, within its first diameter of
    way."""
    last = first + int(np.searchsorted(np.cumsum(way[first:stop]), 2.0 * radius)) + 1
    x, y, z = place[first:last].T
    for end in ends:
        ahead = (x - end.x) * end.ux + (y - end.y) * end.uy
        aside = np.abs((y - end.y) * end.ux - (x - end.x) * end.uy)
        same = heading[first:last, 0] * end.ux + heading[first:last, 1] * end.uy > 0.5
        close = (ahead > -radius) & (ahead < 2.5 * radius) & (aside < 0.5 * radius)
        if bool((close & same & (np.abs(z - end.z) < _SAME)).any()):
            return True
    return False
