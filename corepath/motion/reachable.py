"""Feeds that the machine can reach: on a bend no faster than its acceleration allows.

On a radius r a speed v asks for v²/r towards the middle (elementary mechanics), so v is at most
sqrt(a·r). An arc has its radius. A bend of straight cuts that go on smoothly has that of the circle
through its corners: two cuts of lengths l and m that turn by an angle t lie on one of about (l + m)
/ (4·tan(t/2)). A sharper turn is a corner, which the control rounds or stops at whatever feed is
written; the clock knows it (`corepath.motion.clock`). Lengths in mm, feeds in mm/min.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corepath.motion.clock import Limits, minutes, most_a_second, move_table, with_feeds
from corepath.motion.cutter import Cutting
from corepath.motion.feeds.line_rate import MOST_A_SECOND, paced
from corepath.motion.program import Kind, Pass, Program

__all__ = ["bend_feed", "reachable", "reached", "reached_feeds"]

Floats = NDArray[np.float64]

_SMOOTH = math.radians(25.0)
"""Straight cuts that turn by more than this make a corner and no bend."""
_SHORT = 2.0
"""mm: a cut longer than this is no part of a bend; it has room to speed up and slow down."""
_LEAST_TURN = 1e-4  # rad: even cuts of 0.1 mm then lie on a radius of 1 m, which slows no feed
_STEP = 0.97
"""A bend's feed is rounded down to a power of this below the feed of the operation: bends of nearly
the same radius share a word F. A step of 0.9 took 1.5 % more minutes over small decks."""


def bend_feed(accel: float, radius: float) -> float:
    """Returns the fastest feed, mm/min, on a `radius` (mm) with the acceleration `accel` in mm/s²:
    sqrt(a·r)."""
    return 60.0 * math.sqrt(accel * radius)


def reachable(program: Program, limits: Limits) -> Program:
    """Returns the program with each feed on an arc or bend no higher than the acceleration lets the
    axis go there, and no more moves in a second than a control reads (`line_rate.paced`).

    Its `used` lists, for each planned feed, the slowest and the fastest that its cuts now have, its
    `reading` the minutes that reading costs.
    """
    bent = tuple(reached(one, limits.accel) for one in program.passes)
    passes = tuple(_read_in_time(one, program.cutting, limits) for one in bent)
    slowed = [pair for pair in zip(bent, passes, strict=True) if pair[0] is not pair[1]]
    reading = sum(minutes([after], limits) - minutes([before], limits) for before, after in slowed)
    return replace(program, passes=passes, used=_used(program.passes, passes), reading=reading)


def _read_in_time(stretch: Pass, cutting: Cutting, limits: Limits) -> Pass:
    # nearly all passes have no second that is too full
    if most_a_second([stretch], limits) <= MOST_A_SECOND:
        return stretch
    return paced(stretch, limits, _run(stretch, cutting, limits.accel))


def _run(stretch: Pass, cutting: Cutting, accel: float) -> Floats:
    """(n,) the feed that the cutter is run at in each move, or what can be reached there if that is
    less."""
    table = move_table(stretch.moves)
    way = np.diff(table[:, 1:4], axis=0, prepend=table[:1, 1:4])
    level, down = np.hypot(way[:, 0], way[:, 1]) > 1e-6, way[:, 2] < -1e-6
    ramp, flat = min(cutting.ramp, cutting.feed), min(cutting.feed, cutting.finish)
    run = np.where(down, np.where(level, ramp, cutting.plunge), flat)
    return np.asarray(np.minimum(run, _most(table, accel)))


def _used(planned: Sequence[Pass], made: Sequence[Pass]) -> tuple[tuple[float, float, float], ...]:
    """(planned, slowest, fastest) of each feed that cuts were planned at, slowest first."""
    ends: dict[float, tuple[float, float]] = {}
    for before, after in zip(planned, made, strict=True):
        pairs = {
            (a.feed, b.feed)
            for a, b in zip(before.moves, after.moves, strict=True)
            if a.kind != Kind.RAPID
        }
        for feed, real in pairs:
            low, high = ends.get(feed, (real, real))
            ends[feed] = min(low, real), max(high, real)
    return tuple((feed, *ends[feed]) for feed in sorted(ends))


def reached(stretch: Pass, accel: float) -> Pass:
    """Returns one pass of a program likewise (`reachable`)."""
    moves = stretch.moves
    if len(moves) < 2:
        return stretch
    return replace(stretch, moves=with_feeds(moves, reached_feeds(move_table(moves), accel)))


def reached_feeds(table: Floats, accel: float) -> Floats:
    """Returns the feeds (n,), mm/min, that moves have then, given as a table (n, 7) of their
    fields: the highest step below each feed that its bend allows."""
    feeds: Floats = table[:, 4].copy()
    most = _most(table, accel)
    slow = np.flatnonzero(feeds > most)
    # 1e-9: a feed that is one of the steps must not fall to the next by rounding
    steps = np.ceil(np.log(most[slow] / feeds[slow]) / math.log(_STEP) - 1e-9)
    # few pairs of many moves
    pairs, which = np.unique(np.column_stack([feeds[slow], steps]), axis=0, return_inverse=True)
    rounded = [round(feed * _STEP ** int(step), 1) for feed, step in pairs.tolist()]
    feeds[slow] = np.array(rounded)[which.ravel()] if rounded else feeds[slow]
    return feeds


def _most(table: Floats, accel: float) -> Floats:
    """The fastest feed of each move (n,) that its bend allows; inf where nothing bends."""
    kind, ends = table[:, 0], table[:, 1:4]
    start = np.vstack((ends[:1], ends[:-1]))
    way = ends - start
    length = np.sqrt((way**2).sum(axis=1))
    radius = _bends(kind, way, length)
    curved = (kind == Kind.CW) | (kind == Kind.CCW)
    turned = np.hypot(table[:, 5], table[:, 6])
    # On a helix the way is longer than its plan: the speed in the plane is the share of it. The
    # 1e-9 and 1e-12 keep moves without length or turn from dividing by 0.
    lap = turned * _sweeps(kind, start, table)
    share = lap / np.maximum(np.hypot(lap, way[:, 2]), 1e-12)
    speed = np.sqrt(accel * np.where(curved, turned, radius)) / np.where(
        curved, np.maximum(share, 1e-9), 1.0
    )
    result: Floats = 60.0 * speed
    return result


def _sweeps(kind: Floats, start: Floats, table: Floats) -> Floats:
    """Angle (rad) of each arc, a full turn where it ends where it began; meaningless for other
    moves."""
    out, into = -table[:, 5:7], table[:, 1:3] - start[:, :2] - table[:, 5:7]
    turn = np.where(kind == Kind.CCW, 1.0, -1.0)
    cross, dot = out[:, 0] * into[:, 1] - out[:, 1] * into[:, 0], (out * into).sum(axis=1)
    sweep: Floats = turn * np.arctan2(cross, dot)
    # RS-274: an arc that ends where it begins is a full turn; 1e-9 rad is the rounding of atan2.
    sweep[sweep <= 1e-9] += math.tau
    return sweep


def _bends(kind: Floats, way: Floats, length: Floats) -> Floats:
    """Radius of the bend that each straight cut is part of: the smaller of those at its ends; inf
    where it is none."""
    # Two short cuts that turn slightly are chords of one circle; its radius holds for both of them.
    cut = (kind == Kind.LINE) & (length > 1e-9)
    both = cut[:-1] & cut[1:] & (length[:-1] <= _SHORT) & (length[1:] <= _SHORT)
    unit = way / np.maximum(length, 1e-12)[:, None]
    angle = np.arccos(np.clip((unit[:-1] * unit[1:]).sum(axis=1), -1.0, 1.0))
    bent = both & (angle > _LEAST_TURN) & (angle <= _SMOOTH)
    corner = np.full(len(angle), np.inf)
    corner[bent] = (length[:-1] + length[1:])[bent] / (4.0 * np.tan(angle[bent] / 2.0))
    radius = np.full(len(kind), np.inf)
    radius[:-1] = np.minimum(radius[:-1], corner)
    radius[1:] = np.minimum(radius[1:], corner)
    return radius
