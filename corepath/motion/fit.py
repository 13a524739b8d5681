"""Thinning and arc fitting: makes few lines and arcs of a polyline of many points.

Points are (n, 3) float, mm, in the bed frame; the first is where the cutter already is. The
distance between polyline and moves is at most the tolerance both ways. Arcs lie in the XY plane or
are helices of constant pitch; none sweeps more than `LARGEST_SWEEP`, so that rounding the ends
cannot push one past the half turn that the output allows.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.motion.program import FULL_TURN, Kind, Move, arc, line

__all__ = [
    "JOINT",
    "LARGEST_RADIUS",
    "LARGEST_SWEEP",
    "LEAST_RADIUS",
    "TOLERANCE",
    "fit_arcs",
    "flatten",
    "thin",
]

TOLERANCE = 0.003
"""mm; the share of thinning and arcs in the error budget."""
JOINT = math.radians(0.1)
"""rad: how far directions may differ where moves join. At 60 mm/s that is a jump of 0.1 mm/s, less
than 500 mm/s² gains in a quarter of a millisecond."""
_CORNER = math.radians(5.0)
"""rad: a turn at one point that is sharper, and three times what its neighbours explain, is a
corner."""
LEAST_RADIUS = 0.05  # mm
LARGEST_RADIUS = 5000.0  # mm; at 0.003 mm such an arc is a line up to 11 mm long, sqrt(8 r e)
LARGEST_SWEEP = 2.8
"""rad, about 160 degrees."""

Floats = NDArray[np.float64]


def _distinct(points: ArrayLike) -> Floats:
    """(m, 3) points without repeats of the one before."""
    given = np.ascontiguousarray(points, dtype=np.float64)
    if given.ndim != 2 or given.shape[1] != 3 or len(given) == 0:
        raise ValueError(f"points must be (n, 3) with n >= 1, got shape {given.shape}")
    # a step without length has no direction; 1e-9 mm is far below the figures that are written
    keep = np.concatenate([[True], np.abs(np.diff(given, axis=0)).max(axis=1) > 1e-9])
    return np.ascontiguousarray(given[keep])


def thin(points: ArrayLike, tolerance: float = TOLERANCE) -> Floats:
    """Returns the (m, 3) points that are needed for every one of `points` (n, 3) to lie within
    `tolerance` mm of the polyline.

    First and last stay; the order stays; nothing is moved. Raises ValueError for another shape.
    """
    from corepath.motion.fit_kernels import line_runs

    given = _distinct(points)
    return given[line_runs(given, tolerance)] if len(given) > 2 else given


def _chords(given: Floats, tolerance: float) -> Floats:
    """The (m, 3) places of the fewest lines along `given` (n, 3): some of its points, or places
    beside them where that takes fewer."""
    from corepath.motion.fit_kernels import chord_ends

    kept = thin(given, tolerance)
    if len(kept) < 3:
        return kept
    beside = chord_ends(given, tolerance)
    return beside if len(beside) < len(kept) else kept


def fit_arcs(
    points: ArrayLike, *, feed: float, tolerance: float = TOLERANCE, arcs: bool = True
) -> list[Move]:
    """Returns moves from the first of the (n, 3) `points` to the last, as few as `tolerance` mm
    allows, at `feed` mm/min.

    Where the points run smoothly, neighbouring moves join within `JOINT`; a corner of the points
    stays one. A run starts and ends in the direction that its first and last three points give, so
    that parts of one curve fitted apart join as well. `arcs=False` gives lines only. One point, or
    n equal ones, give no move. Raises ValueError for another shape.

    >>> [move.kind.name for move in fit_arcs([[0, 0, 0], [5, 0, 0], [9, 0, 0]], feed=1000)]
    ['LINE']
    """
    from corepath.motion.fit_smooth import is_corner, joined

    # Corners first: between them the run is smooth, so directions exist at all of its points and no
    # move can pass over a corner.
    given = _distinct(points)
    if not arcs or len(given) < 3:
        return [line(x, y, z, feed) for x, y, z in _chords(given, tolerance)[1:].tolist()]
    moves: list[Move] = []
    at = np.flatnonzero(is_corner(given, tolerance, JOINT, _CORNER)).tolist()
    for first, last in itertools.pairwise([0, *at, len(given) - 1]):
        run = np.ascontiguousarray(given[first : last + 1])
        ends, bends = joined(run, tolerance, JOINT, LEAST_RADIUS, LARGEST_RADIUS, LARGEST_SWEEP)
        moves += _moves(run, ends, bends, feed)
    return moves


def _moves(run: Floats, ends: NDArray[np.int64], bends: Floats, feed: float) -> Iterator[Move]:
    start = 0
    for end, (cx, cy, sweep) in zip(ends.tolist(), bends.tolist(), strict=True):
        x, y, z = run[end].tolist()
        if sweep == 0.0:
            yield line(x, y, z, feed)
        else:
            sx, sy = run[start, :2].tolist()
            yield arc(sweep < 0.0, (x, y, z), (cx - sx, cy - sy), feed)
        start = end


def flatten(start: tuple[float, float, float], move: Move, tolerance: float = 0.0005) -> Floats:
    """Returns (n, 3) points along one move from `start`, both ends among them, whose chords keep
    within `tolerance` mm of it.

    Of an arc whose ends coincide a full turn is meant (RS-274: NIST IR 6556, 3.5.3.2).
    """
    if move.kind in (Kind.RAPID, Kind.LINE):
        return np.array([start, (move.x, move.y, move.z)])
    cx, cy = start[0] + move.i, start[1] + move.j
    radius = float(np.hypot(move.i, move.j))
    first = np.arctan2(start[1] - cy, start[0] - cx)
    turn = (np.arctan2(move.y - cy, move.x - cx) - first) % (2 * np.pi)
    if np.hypot(move.x - start[0], move.y - start[1]) < FULL_TURN:
        # told by the ends, not by the angle: rounding may put that on either side of the start
        turn = 2 * np.pi
        if move.kind is Kind.CW:
            turn = -turn
    elif move.kind is Kind.CW:
        turn -= 2 * np.pi
    # chord error of an arc: r (1 - cos(step / 2))
    step = 2 * np.arccos(max(1 - tolerance / radius, 0.0)) if radius > 0 else np.pi
    t = np.linspace(0.0, 1.0, int(np.ceil(abs(turn) / step)) + 1)
    angle = first + turn * t
    flat = np.column_stack(
        [
            cx + radius * np.cos(angle),
            cy + radius * np.sin(angle),
            start[2] + (move.z - start[2]) * t,
        ]
    )
    # the ends as given, not as sine and cosine round them: moves join exactly
    flat[0], flat[-1] = start, (move.x, move.y, move.z)
    return flat
