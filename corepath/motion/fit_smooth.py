"""Compiled fitting of smooth runs: where a polyline has corners, in which directions a run begins
and ends, its moves.

Points are (n, 3) float64, mm; directions in radians in the XY plane. The moves come from the search
for the fewest that join without a kink (`corepath.motion.fit_joining`); each is checked exactly
(`corepath.motion.fit_kernels`), and one that the check refuses is replaced by greedy ones.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit
from corepath.motion.fit_joining import NO_END, join_run, reach, way_along
from corepath.motion.fit_kernels import centre, fit_runs, is_line, line_runs, swept

__all__ = ["is_corner", "joined"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

_LEVEL = 1e-9  # mm: less way than this in X and Y is none, and has no direction
# Share of the tolerance that the search may use; the exact check has all of it. The search works
# with slopes of the lead, which are right to first order: at the full tolerance some of its moves
# would fail the check and be replaced by greedy ones, which join with a kink.
_INSIDE = 0.99


@njit(cache=True)
def is_corner(p: Floats, tolerance: float, joint: float, corner: float) -> Flags:
    """Returns (n,) whether the points `p` (n, 3) turn a corner there: no arc over it and half of
    each neighbour keeps the `tolerance` (mm), or the turn is larger than `corner` (rad) and than
    three times what the turns beside it explain. A turn up to `joint` (rad) is none. Where a
    straight way down or up begins or ends is a corner as well. First and last point are none.
    """
    n = p.shape[0]
    found = np.zeros(n, np.bool_)
    turn, length = np.zeros(n, np.float64), np.zeros(n, np.float64)
    for k in range(n - 1):
        length[k] = math.hypot(p[k + 1, 0] - p[k, 0], p[k + 1, 1] - p[k, 1])
    for k in range(1, n - 1):
        # a move straight down has no direction in X and Y; its ends must not depend on one
        if length[k - 1] < _LEVEL or length[k] < _LEVEL:
            found[k] = (length[k - 1] < _LEVEL) != (length[k] < _LEVEL)
            continue
        ax, ay, bx, by = (
            p[k, 0] - p[k - 1, 0],
            p[k, 1] - p[k - 1, 1],
            p[k + 1, 0] - p[k, 0],
            p[k + 1, 1] - p[k, 1],
        )
        turn[k] = abs(math.atan2(ax * by - ay * bx, ax * bx + ay * by))
        # an arc that touches both edges at half of the shorter one passes the point by
        # half * tan(turn / 4)
        found[k] = (
            turn[k] > joint
            and 0.5 * min(length[k - 1], length[k]) * math.tan(turn[k] / 4.0) > tolerance
        )
    # Closely spaced points keep the tolerance over any turn. So a turn is also held against the
    # curvature beside it: on a curve, twice the turn over the lengths of both edges.
    for k in range(1, n - 1):
        if found[k] or turn[k] <= corner:
            continue
        bend = 0.0
        for beside in (k - 1, k + 1):
            if 0 < beside < n - 1 and not found[beside]:
                bend = max(bend, 2.0 * turn[beside] / (length[beside - 1] + length[beside]))
        # three points alone have no turns beside theirs to tell
        found[k] = turn[k] > 3.0 * bend * 0.5 * (length[k - 1] + length[k]) and n > 3
    return found


@njit(cache=True)
def _leaving(p: Floats, j: int) -> tuple[float, float]:
    """Direction at the first point of the circle that fits the points 0..j, and the length of their
    chord."""
    dx, dy = p[j, 0] - p[0, 0], p[j, 1] - p[0, 1]
    length = math.hypot(dx, dy)
    found, cx, cy, _ = centre(p, int(np.int64(0)), j)
    if not found:
        return math.atan2(dy, dx), length
    spoke = math.atan2(p[0, 1] - cy, p[0, 0] - cx)
    left = dx * (cy - p[0, 1]) - dy * (cx - p[0, 0]) > 0.0
    return spoke + 0.5 * math.pi if left else spoke - 0.5 * math.pi, length


@njit(cache=True)
def _direction(p: Floats, tolerance: float) -> float:
    """Direction in which a smooth run begins.

    The fitting circle's direction is off by what goes with the square of the chord: it is taken for
    half as far as one move could go and for half of that, and extrapolated to no length at all.
    """
    j = max(min(2, p.shape[0] - 1), reach(p, way_along(p), int(np.int64(0)), tolerance) // 2)
    far, length = _leaving(p, j)
    # half of fewer than six points is no circle of its own
    if j < 6:
        return far
    near, shorter = _leaving(p, j // 2)
    # error ~ chord²: two chords give the direction at chord 0 (Richardson's extrapolation). Chords
    # nearly alike would divide by nearly nothing and enlarge the noise of the points.
    share = (length / max(shorter, 1e-9)) ** 2
    if share < 2.0:
        return near
    apart = near - far
    return near + (apart - 2.0 * math.pi * math.floor(apart / (2.0 * math.pi) + 0.5)) / (
        share - 1.0
    )


def joined(
    p: Floats, tolerance: float, joint: float, least: float, largest: float, sweep: float
) -> tuple[Ints, Floats]:
    """Returns the ends (m,) of the moves along a run `p` (n, 3) without corners, and (m, 3) centre
    x, centre y, sweep of each; sweep 0 is a line.

    `tolerance`, and the radii `least` and `largest`, are mm, `joint` and `sweep` rad.
    """
    # Not compiled: a loop that calls all others would have numba compile each of them once more,
    # which takes longer than all that it saves.
    n = p.shape[0]
    if n == 2 or math.hypot(p[1, 0] - p[0, 0], p[1, 1] - p[0, 1]) < _LEVEL:
        kept = line_runs(p, tolerance)[1:]
        return kept, np.zeros((len(kept), 3))
    ends: list[Ints] = []
    bends: list[Floats] = []
    start = 0
    first, last = (
        _direction(p, tolerance),
        _direction(np.ascontiguousarray(p[::-1]), tolerance) + math.pi,
    )
    # Both end directions are wishes: so that parts of one curve fitted apart still join. Where they
    # cannot be met, the one at the end is given up first, then the one at the start; the first
    # edge alone is the last resort, so that each round gets on.
    while start < n - 1:
        rest = p[start:]
        found, leads, whole = join_run(rest, _INSIDE * tolerance, joint, largest, first, last)
        if not whole:
            other, others, reached = join_run(
                rest, _INSIDE * tolerance, joint, largest, first, NO_END
            )
            if reached or len(found) == 0:
                found, leads = other, others
        if len(found) == 0:
            if first == NO_END:
                found, leads = np.array([1]), np.zeros(1)
            first = NO_END
        if len(found):
            stops, arcs = _checked(rest, (found, leads), tolerance, least, largest, sweep)
            ends.append(start + stops)
            bends.append(arcs)
            start += int(found[-1])
            first = NO_END
    return np.concatenate(ends), np.concatenate(bends)


def _checked(
    p: Floats,
    moves: tuple[Ints, Floats],
    tolerance: float,
    least: float,
    largest: float,
    sweep: float,
) -> tuple[Ints, Floats]:
    """Returns the moves, given as their ends (m,) and directions at the start (m,), with greedy
    ones in place of those that do not hold; as `joined` does."""
    ends, leads = moves
    bends, holds = _held(p, ends, leads, tolerance, least, sweep)
    if holds.all():
        return ends, bends
    stops: list[Ints] = []
    arcs: list[Floats] = []
    before = 0
    for k, end in enumerate(ends.tolist()):
        if holds[k]:
            others, bent = ends[k : k + 1], bends[k : k + 1]
        else:
            others, bent = fit_runs(p[before : end + 1], tolerance, least, largest, sweep)
            others = before + others
        stops.append(others)
        arcs.append(bent)
        before = end
    return np.concatenate(stops), np.concatenate(arcs)


@njit(cache=True)
def _held(
    p: Floats, ends: Ints, leads: Floats, tolerance: float, least: float, sweep: float
) -> tuple[Floats, Flags]:
    """Holds moves of the search against all points and chords exactly. Returns (m, 3) centre x,
    centre y, sweep of each, and whether it holds."""
    bends, holds = np.zeros((len(ends), 3), np.float64), np.zeros(len(ends), np.bool_)
    i = int(np.int64(0))
    for k in range(len(ends)):
        j, lead = ends[k], leads[k]
        if lead == 0.0:
            holds[k] = is_line(p, i, j, tolerance)
        else:
            dx, dy = p[j, 0] - p[i, 0], p[j, 1] - p[i, 1]
            out = -0.5 / math.tan(lead)
            cx, cy = 0.5 * (p[i, 0] + p[j, 0]) - out * dy, 0.5 * (p[i, 1] + p[j, 1]) + out * dx
            radius = 0.5 * math.sqrt(dx * dx + dy * dy) / abs(math.sin(lead))
            total = 0.0
            if least <= radius:
                total = swept(p, i, j, cx, cy, radius, tolerance, sweep)
            holds[k] = total != 0.0
            if holds[k]:
                bends[k, 0], bends[k, 1], bends[k, 2] = cx, cy, total
        i = j
    return bends, holds
