"""How long moves take: trapezoids of speed with look-ahead.

A machine that speeds up and slows down with one acceleration along the path. Lengths in mm, speeds
inside in mm/s (`Limits` and feeds are in mm/min, acceleration in mm/s²), times in seconds. At a
*corner* between two moves the control may leave the path by a deviation d. An arc that rounds a
corner of inner angle t (180° = straight on) by d has the radius r = d s/(1 - s), s = sin(t/2)
(geometry), but it must also fit into half of either move, r <= l/2 tan(t/2); it is passed at v =
sqrt(a r). Arcs themselves are held to the same. Between corners v² grows by at most 2 a l, forwards
and backwards, so the speeds at all corners are two running minima. Speed is zero at rests: before
the first move, after the last and where told.
A machine with a *corner time* comes to rest at each corner that turns by more than `SHARP`, and
stands there for that time.

A rapid runs straight at `Limits.rapid` along its way (NIST IR 6556, 3.5.1 has all axes arrive
together); a machine whose axes each run that fast is quicker on a slant. G64 passes corners by the
deviation that the job allows, G61 by what the drives still cut off. Both keep the feed along the
tip's way, also on a helix.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from corepath.motion.cycles import expand_counted
from corepath.motion.program import FULL_TURN, Kind, Move, Pass, rapid

__all__ = [
    "EXACT_DEVIATION", "SHARP", "Limits", "corner_speed", "leg_seconds", "minutes",
    "most_a_second", "move_table", "moves_a_second", "seconds", "table_seconds", "with_feeds",
]  # fmt: skip

EXACT_DEVIATION = 0.002
"""Deviation, mm, of a control that keeps to the path: what its drives still cut off (common
practice, no source)."""

SHARP = 30.0
"""Degrees by which a way turns at a corner where a machine with a corner time comes to rest: more
than curves cut into chords do, and less than any corner that is meant (common practice, no
source)."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limits:
    """Holds what the machine can do: rapid in mm/min, acceleration in mm/s², deviation allowed at a
    corner in mm, `corner_time` in s.

    With `exact_path` (G61) the deviation is `EXACT_DEVIATION`, whatever `corner_deviation` says.
    """

    rapid: float = 6000.0
    accel: float = 500.0
    corner_deviation: float = 0.02
    exact_path: bool = False
    corner_time: float = 0.0

    @property
    def deviation(self) -> float:
        return (
            min(EXACT_DEVIATION, self.corner_deviation)
            if self.exact_path
            else self.corner_deviation
        )


@dataclass(frozen=True, slots=True)
class _Path:
    """Moves with a length: lengths (n,), top speeds (n,), unit directions at start and end (n,
    3)."""

    length: Floats
    top: Floats
    leaving: Floats
    arriving: Floats


def corner_speed(limits: Limits, inner: float) -> float:
    """Returns the speed in mm/s at which a corner of `inner` degrees (180 = straight on) between
    long moves is passed; see the module for the formula."""
    sine = math.sin(math.radians(inner) / 2.0)
    return (
        math.sqrt(limits.accel * limits.deviation * sine / (1.0 - sine)) if sine < 1.0 else math.inf
    )


def leg_seconds(length: float, top: float, accel: float, ends: float = 0.0) -> float:
    """Returns the seconds of one straight move of `length` mm at most `top` mm/min that begins and
    ends at `ends` mm/s or slower, with `accel` mm/s².

    The shortest time that its ends allow; 0 for no length.
    """
    if length <= 0.0:
        return 0.0
    fast = top / 60.0
    ends = min(ends, fast)
    peak = min(fast, math.sqrt(accel * length + ends**2))
    return 2.0 * (peak - ends) / accel + max(length - (peak**2 - ends**2) / accel, 0.0) / peak


def minutes(
    passes: Sequence[Pass],
    limits: Limits,
    *,
    dwell: float = 0.0,
    park: tuple[float, float] | None = None,
) -> float:
    """Returns the time of all `passes` in minutes, each from rest to rest; `dwell` seconds are
    added for each pass.

    With `park` each pass begins over that place, at the height of its first move, and ends there by
    a rapid; without it the first move of all takes no time.
    """
    moves: list[Move] = []
    rests = []
    for stretch in passes:
        rests.append(len(moves))
        moves += stretch.moves
        if park is not None and stretch.moves:
            moves.append(rapid(*park, stretch.moves[-1].z))
    start = None if park is None or not moves else (*park, moves[0].z)
    return (
        float(seconds(moves, limits, rests=rests[1:], start=start).sum()) + dwell * len(passes)
    ) / 60.0


def seconds(
    moves: Sequence[Move],
    limits: Limits,
    *,
    rests: Sequence[int] = (),
    start: tuple[float, float, float] | None = None,
) -> Floats:
    """Returns the seconds that each of `moves` takes, (n,) float.

    `rests` are the indices of moves that begin from rest, beside the first. `start` is where the
    cutter stands before the first move; where it is not known, that move takes no time. Moves
    without length take none either. A drilling cycle takes the time of all its motions. Raises
    ValueError for a cut without a feed.
    """
    # a cycle is timed as its motions, and their times are added up for the move they come from
    plain, owner = expand_counted(moves)
    if plain is not moves:
        first = np.searchsorted(np.asarray(owner), np.asarray(rests, dtype=int))
        spent = seconds(plain, limits, rests=first.tolist(), start=start)
        return np.bincount(np.asarray(owner), spent, minlength=len(moves)).astype(np.float64)
    return table_seconds(move_table(moves), limits, rests=rests, start=start)


def move_table(moves: Sequence[Move]) -> Floats:
    """Returns moves as a table (n, 7) of their fields: kind, x, y, z, feed, i, j."""
    return np.fromiter(chain.from_iterable(moves), float, count=7 * len(moves)).reshape(-1, 7)


def with_feeds(moves: Sequence[Move], feeds: Floats) -> tuple[Move, ...]:
    """Returns the moves at these feeds (n,), mm/min."""
    return tuple(
        move if feed == move.feed else move._replace(feed=feed)
        for move, feed in zip(moves, feeds.tolist(), strict=True)
    )


def table_seconds(
    table: Floats,
    limits: Limits,
    *,
    rests: Sequence[int] = (),
    start: tuple[float, float, float] | None = None,
) -> Floats:
    """Returns what `seconds` does for a table (n, 7) of moves with no drilling cycle among them."""
    times = np.zeros(len(table))
    if not len(table):
        return times
    if ((table[:, 0] != Kind.RAPID) & ~(table[:, 4] > 0.0)).any():
        raise ValueError("a cut without a feed takes for ever")
    ends = table[:, 1:4]
    starts = np.vstack([ends[:1] if start is None else np.array([start], dtype=float), ends[:-1]])
    path = _path(table, starts, limits)
    # moves without length would be corners of no direction between those beside them
    moving = np.flatnonzero(path.length > 0.0)
    if not len(moving):
        return times
    path = _Path(path.length[moving], path.top[moving], path.leaving[moving], path.arriving[moving])
    corners, sharp = _corners(path, limits)
    # a rest at a move without length is that of the next one that moves
    corners[np.searchsorted(moving, np.asarray(rests, dtype=int))] = 0.0
    times[moving] = _times(path, corners, limits.accel)
    times[moving[1:][sharp]] += limits.corner_time
    return times


def most_a_second(passes: Sequence[Pass], limits: Limits) -> int:
    """Returns how many moves a control must take in within the busiest second of any of the
    `passes`: those that end in it. 0 for no moves."""
    counts = (moves_a_second(seconds(stretch.moves, limits)) for stretch in passes)
    return max((int(count.max()) for count in counts if len(count)), default=0)


def moves_a_second(spent: Floats) -> NDArray[np.int64]:
    """Returns how many moves end in the second that begins where each of them ends, (n,); `spent`
    has the seconds of each."""
    ends = np.cumsum(spent)
    within = np.searchsorted(ends, ends + 1.0, side="right") - np.arange(len(ends)) - 1
    return np.asarray(within, dtype=np.int64)


def _path(table: Floats, starts: Floats, limits: Limits) -> _Path:
    delta = table[:, 1:4] - starts
    length = np.sqrt((delta**2).sum(axis=1))
    top = np.where(table[:, 0] == Kind.RAPID, limits.rapid, table[:, 4]) / 60.0
    leaving = delta / np.where(length > 0.0, length, 1.0)[:, None]
    arriving = leaving.copy()
    bent = np.flatnonzero(table[:, 0] >= Kind.CW)
    if len(bent):
        _bend(table[bent], starts[bent], bent, limits, _Path(length, top, leaving, arriving))
    return _Path(length, top, leaving, arriving)


def _bend(
    arcs: Floats, starts: Floats, where: NDArray[np.intp], limits: Limits, path: _Path
) -> None:
    """Writes length, top speed and directions of the arcs (helices) into `path`, at `where`."""
    # The feed counts along the helix, but only its share in the plane is turned: v_plane² / r is
    # what the acceleration bounds. The 1e-9 keeps a helix of nearly no turn from dividing by 0.
    turn = np.where(arcs[:, 0] == Kind.CCW, 1.0, -1.0)
    out = -arcs[:, 5:7]
    into = arcs[:, 1:3] - (starts[:, :2] + arcs[:, 5:7])
    radius = np.sqrt((out**2).sum(axis=1))
    if (radius == 0.0).any():
        raise ValueError("an arc without a radius")
    sweep = turn * np.arctan2(
        out[:, 0] * into[:, 1] - out[:, 1] * into[:, 0], (out * into).sum(axis=1)
    )
    sweep = np.where(sweep < 0.0, sweep + math.tau, sweep)
    sweep = np.where(np.sqrt(((into - out) ** 2).sum(axis=1)) < FULL_TURN, math.tau, sweep)
    level, rise = radius * sweep, arcs[:, 3] - starts[:, 2]
    length = np.hypot(level, rise)
    share = level / np.where(length > 0.0, length, 1.0)
    path.length[where] = length
    path.top[where] = np.minimum(
        # A helix so steep that its level share is 0 is held by the feed alone.
        path.top[where],
        np.sqrt(limits.accel * radius) / np.maximum(share, 1e-9),
    )
    # the tangent is the spoke turned by a right angle, to the left or right, with the slope of Z
    for spoke, target in ((out, path.leaving), (into, path.arriving)):
        reach = np.sqrt((spoke**2).sum(axis=1))
        target[where, 0] = -turn * spoke[:, 1] / reach * share
        target[where, 1] = turn * spoke[:, 0] / reach * share
        target[where, 2] = rise / np.where(length > 0.0, length, 1.0)


def _corners(path: _Path, limits: Limits) -> tuple[Floats, NDArray[np.bool_]]:
    """Squares of the highest speeds at the n + 1 ends of the moves; zero at the first and the last.
    Then which of the n - 1 corners between them are sharp, where the machine comes to rest if it
    has a corner time."""
    squares = np.zeros(len(path.length) + 1)
    straight = (path.arriving[:-1] * path.leaving[1:]).sum(axis=1).clip(-1.0, 1.0)
    # Inner angle t: cos t = -straight, so sin(t/2) and cos(t/2) follow from the half-angle
    # formulas.
    sine, cosine = np.sqrt((1.0 + straight) / 2.0), np.sqrt((1.0 - straight) / 2.0)
    # straight on, 1 - sine and cosine are 0: both radii are infinite, and chosen so below
    with np.errstate(divide="ignore", invalid="ignore"):
        rounded = limits.deviation * sine / (1.0 - sine)
        fits = np.minimum(path.length[:-1], path.length[1:]) / 2.0 * sine / cosine
    radius = np.where(cosine < 1e-7, np.inf, np.minimum(rounded, fits))
    slower = np.minimum(path.top[:-1], path.top[1:])
    squares[1:-1] = np.minimum(limits.accel * radius, slower**2)
    sharp = np.asarray(straight < math.cos(math.radians(SHARP)), dtype=np.bool_)
    if limits.corner_time > 0.0:
        squares[1:-1][sharp] = 0.0
    return squares, sharp


def _times(path: _Path, corners: Floats, accel: float) -> Floats:
    # v² may grow by 2 a l over a move of length l. With g the sum of that up to each corner, the
    # highest v² looking forwards is g + min(v² - g) over all corners before, and backwards alike:
    # two running minima where a loop over the moves would do the same one by one.
    gained = np.concatenate([[0.0], np.cumsum(2.0 * accel * path.length)])
    forward = np.minimum.accumulate(corners - gained) + gained
    both = np.minimum.accumulate((forward + gained)[::-1])[::-1] - gained
    squares = np.maximum(both, 0.0)
    first, last = squares[:-1], squares[1:]
    # speeding up from the first and slowing down to the last, v² meets in the middle at this peak,
    # unless the feed is reached before and held over the rest of the way
    peak = np.minimum(path.top**2, accel * path.length + (first + last) / 2.0)
    entry, exit_, top = np.sqrt(first), np.sqrt(last), np.sqrt(peak)
    steady = np.maximum(path.length - (2.0 * peak - first - last) / (2.0 * accel), 0.0)
    times: Floats = (2.0 * top - entry - exit_) / accel + steady / top
    return times
