"""Moves prepared for drawing: runs of cutting, flattened and thinned, split by depth.

A *run* is a stretch of feed moves between two rapids, (n, 3) float, mm, bed frame of the set-up.
Arcs are flattened and lines thinned within `TOLERANCE` (or what can be seen on a sheet), for the
drawing only. *Bands* divide the height from the deepest cut to the top of the stock; each segment
belongs to the band of its middle.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.geometry import masks
from corepath.motion.cycles import expand
from corepath.motion.program import Kind, Move, Pass
from corepath.views.path_thinning import Cover, bounds_of
from corepath.views.svg import polyline_path

__all__ = [
    "TOLERANCE", "Bands", "Strokes", "arrows", "banded_paths", "entries", "nice_step", "strokes",
    "within",
]  # fmt: skip

TOLERANCE = 0.05
_MOST_BANDS = 7
_HIDES = 0.15
"""mm of the sheet that a line covers to either side: half its width"""
_LEAST = 0.8
"""mm of the sheet: a shorter remainder of a line is not drawn"""
_SEEN = 0.02
"""mm of the sheet by which a thinned line may be off"""

Run = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Strokes:
    """The runs (n, 3) of some passes and all rapids that move sideways (2, 3), mm."""

    runs: tuple[Run, ...]
    rapids: tuple[Run, ...]

    @property
    def lowest(self) -> float:
        return min((float(run[:, 2].min()) for run in self.runs), default=math.inf)


@dataclass(frozen=True, slots=True)
class Bands:
    """Bounds of the depth bands in mm above the bed, from the highest down; band k lies below bound
    k."""

    bounds: tuple[float, ...]

    @staticmethod
    def between(top: float, low: float) -> Bands:
        """Return even bands of a round size that cover `low` to `top`; the first and last end
        there."""
        # Nothing is cut below the top: one band, since a step of 0 cannot be divided.
        if top - low < 1e-6:
            return Bands((top, low))
        step = nice_step((top - low) / _MOST_BANDS)
        inner = [k * step for k in range(math.floor(low / step) + 1, math.ceil(top / step))]
        # A bound close to an end would make a sliver of a band with a shade of its own.
        inner = [round(z, 6) for z in inner if low + 0.3 * step < z < top - 0.3 * step]
        return Bands((top, *reversed(inner), low))

    @property
    def count(self) -> int:
        return len(self.bounds) - 1

    def of(self, heights: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return the band of each height (mm): 0 above the first bound, the last one below the
        last bound."""
        # Whatever its last bit, a height on a bound belongs to the band below that bound.
        inner = np.asarray(self.bounds[1:-1][::-1])
        return (len(inner) - np.searchsorted(inner, np.round(heights, 6) - 1e-9)).astype(np.int64)


def nice_step(value: float) -> float:
    """Return the least of 1, 2, 5 times a power of ten that is not less than `value` (above 0).

    >>> nice_step(0.3), nice_step(2.0)
    (0.5, 2.0)
    """
    # The 1e-9 forgives a last bit: 0.1 computed as 0.30000000000000004 - 0.2 is still 0.1.
    power = 10.0 ** math.floor(math.log10(value))
    return next(k * power for k in (1.0, 2.0, 5.0, 10.0) if k * power >= value * (1 - 1e-9))


def strokes(passes: Iterable[Pass]) -> Strokes:
    """Return runs and rapids of `passes`; straight plunges and retracts are part of a run, and have
    no length in plan."""
    runs: list[Run] = []
    rapids: list[Run] = []
    for stretch in passes:
        _collect(expand(stretch.moves), runs, rapids)
    return Strokes(tuple(runs), tuple(rapids))


def _collect(moves: Sequence[Move], runs: list[Run], rapids: list[Run]) -> None:
    here: tuple[float, float, float] | None = None
    current: list[tuple[float, float, float]] = []
    for move in moves:
        end = (move.x, move.y, move.z)
        if move.kind == Kind.RAPID:
            if len(current) > 1:
                runs.append(np.array(current))
            current = []
            if here is not None and (here[0] != end[0] or here[1] != end[1]):
                rapids.append(np.array([here, end]))
        else:
            if not current:
                current = [here if here is not None else end]
            if move.kind == Kind.LINE or here is None:
                current.append(end)
            else:
                current.extend(_flattened(here, move))
        here = end
    if len(current) > 1:
        runs.append(np.array(current))


def _flattened(start: tuple[float, float, float], move: Move) -> list[tuple[float, float, float]]:
    """Return the points of an arc after its start, within `TOLERANCE` of it; a full circle where
    start and end coincide."""
    cx, cy = start[0] + move.i, start[1] + move.j
    radius = math.hypot(move.i, move.j)
    first = math.atan2(start[1] - cy, start[0] - cx)
    sweep = math.atan2(move.y - cy, move.x - cx) - first
    way = 1.0 if move.kind == Kind.CCW else -1.0
    sweep = way * ((way * sweep) % (2 * math.pi) or 2 * math.pi)
    # Ends that differ by rounding alone mean a full turn, not one of a few nanometres: the sweep
    # above would be either.
    if math.hypot(move.x - start[0], move.y - start[1]) < 1e-6:
        sweep = math.copysign(2 * math.pi, sweep)
    # A chord of the angle w lies r (1 - cos(w / 2)) inside its arc.
    widest = 2 * math.acos(max(1 - TOLERANCE / max(radius, TOLERANCE), 0.0))
    count = max(2, math.ceil(abs(sweep) / widest))
    points = []
    for k in range(1, count):
        share = k / count
        angle = first + sweep * share
        z = start[2] + (move.z - start[2]) * share
        points.append((cx + radius * math.cos(angle), cy + radius * math.sin(angle), z))
    points.append((move.x, move.y, move.z))
    return points


def banded_paths(runs: Sequence[Run], bands: Bands, places: int, unit: float = 0.0) -> list[str]:
    """Return path data of each band, the shallowest first: every segment once, neighbours joined,
    thinned.

    With `unit`, the model mm of one mm of the sheet, segments hidden by other lines are left out:
    under a deeper one, or under another turn or layer of the same band.
    """
    pieces: list[list[Run]] = [[] for _ in range(bands.count)]
    for run in runs:
        for band, piece in _split(run, bands):
            pieces[band].append(piece)
    if unit > 0 and runs:
        cover = Cover(bounds_of(runs), _HIDES * unit, 2)
        # From the deepest up: it is drawn last, on top of all others.
        for band in reversed(range(bands.count)):
            pieces[band] = [
                part
                for piece in pieces[band]
                for part in cover.keep(piece, _LEAST * unit, start=True)
            ]
    within = max(TOLERANCE, _SEEN * unit)
    return [
        "".join(polyline_path(points, places) for points in _thinned(band, within))
        for band in pieces
    ]


def _split(run: Run, bands: Bands) -> Iterable[tuple[int, Run]]:
    points = _subdivided(run, (bands.bounds[0] - bands.bounds[-1]) / max(bands.count, 1))
    middle = (points[1:, 2] + points[:-1, 2]) / 2
    band = bands.of(middle)
    cuts = np.flatnonzero(np.diff(band)) + 1
    starts = np.concatenate(([0], cuts))
    ends = np.concatenate((cuts, [len(band)]))
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        yield int(band[a]), points[a : b + 1]


def _subdivided(run: Run, height: float) -> Run:
    """Return `run` with long ramps divided, so that no segment spans more than about half a band.

    A segment gets one shade only, so a ramp over many bands must be drawn in parts.
    """
    rise = np.abs(np.diff(run[:, 2]))
    if height <= 0 or not np.any(rise > height / 2):
        return run
    out = [run[:1]]
    for k in range(len(run) - 1):
        count = max(1, min(math.ceil(rise[k] / (height / 2)), 40))
        share = (np.arange(1, count + 1) / count)[:, None]
        out.append(run[k] + (run[k + 1] - run[k]) * share)
    return np.concatenate(out)


def _thinned(pieces: Sequence[Run], within: float) -> Iterable[NDArray[np.float64]]:
    lines = [
        shapely.LineString(piece[:, :2])
        for piece in pieces
        # mm: seen from above straight down, it is no line.
        if np.ptp(piece[:, :2], axis=0).max() > 1e-9
    ]
    for line in shapely.simplify(np.array(lines, dtype=object), within) if lines else ():
        yield np.asarray(line.coords)


def entries(runs: Sequence[Run], apart: float, most: int) -> list[tuple[float, float]]:
    """Return the places (x, y) where a run enters, none closer than `apart` mm to an earlier one,
    at most `most`."""
    kept: list[tuple[float, float]] = []
    for run in runs:
        x, y = float(run[0, 0]), float(run[0, 1])
        if all(math.hypot(x - a, y - b) >= apart for a, b in kept):
            kept.append((x, y))
            if len(kept) == most:
                break
    return kept


def arrows(runs: Sequence[Run], apart: float, most: int) -> list[tuple[float, float, float]]:
    """Return places and directions (x, y, angle in radians) of at most `most` arrows along the
    cuts, at least `apart` mm apart."""
    if not runs:
        return []
    start = np.concatenate([run[:-1, :2] for run in runs])
    step = np.concatenate([np.diff(run[:, :2], axis=0) for run in runs])
    length = np.hypot(step[:, 0], step[:, 1])
    along = np.cumsum(length)
    # mm: seen from above straight down, it is no line.
    if along[-1] < 1e-9:
        return []
    kept: list[tuple[float, float, float]] = []
    # Four times as many candidates as wanted, evenly along all cuts: many lie too close together.
    for k in range(4 * most):
        place = along[-1] * (k + 0.37) / (4 * most)
        index = min(int(np.searchsorted(along, place)), len(length) - 1)
        if length[index] < 1e-9:
            continue
        share = 1 - (along[index] - place) / length[index]
        x, y = (start[index] + share * step[index]).tolist()
        if len(kept) < most and all(math.hypot(x - a, y - b) >= apart for a, b, _ in kept):
            kept.append((x, y, math.atan2(step[index, 1], step[index, 0])))
    return kept


def within(runs: Sequence[Run], x0: float, y0: float, x1: float, y1: float) -> tuple[Run, ...]:
    """Return the parts of `runs` whose segments' bounding boxes meet the window, whole segments, in
    order."""
    kept: list[Run] = []
    for run in runs:
        low = np.minimum(run[:-1, :2], run[1:, :2])
        high = np.maximum(run[:-1, :2], run[1:, :2])
        near = (low[:, 0] <= x1) & (high[:, 0] >= x0) & (low[:, 1] <= y1) & (high[:, 1] >= y0)
        kept += [run[first : last + 1] for first, last in masks.runs(near)]
    return tuple(kept)
