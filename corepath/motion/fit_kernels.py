"""Compiled kernels of path fitting: greedy runs of polyline points that one line or one arc can
replace, and the exact test of such a move.

Points are (n, 3) float64, mm. A run i..j is accepted as a line when all points between lie within
the tolerance of the segment and advance along it; as an arc when all points *and* all chords
between them lie within the tolerance of the arc, turn one way, and Z is linear in the angle. Both
make the distance two-sided: a continuous polyline that advances along the move covers it, so no
point of the move is farther from the polyline than the tolerance either.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["centre", "chord_ends", "fit_runs", "is_line", "line_runs", "swept"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@njit(cache=True)
def is_line(p: Floats, i: int, j: int, tolerance: float) -> bool:
    """Returns whether the points between i and j of `p` (n, 3), mm, lie within `tolerance` of the
    line from the one to the other, and in its order."""
    dx, dy, dz = p[j, 0] - p[i, 0], p[j, 1] - p[i, 1], p[j, 2] - p[i, 2]
    length2 = dx * dx + dy * dy + dz * dz
    if length2 == 0.0:
        return j == i + 1
    # Points must advance along the line: a way out and back on itself lies within the tolerance of
    # its segment too, and thinning it away would leave a stretch uncut.
    slack = tolerance / math.sqrt(length2)
    before = 0.0
    for k in range(i + 1, j):
        x, y, z = p[k, 0] - p[i, 0], p[k, 1] - p[i, 1], p[k, 2] - p[i, 2]
        t = (x * dx + y * dy + z * dz) / length2
        # 1e-12 of the chord: places that repeat do not count as going back.
        if t < before - 1e-12 or t > 1.0 + slack:
            return False
        before = t
        x, y, z = x - t * dx, y - t * dy, z - t * dz
        if x * x + y * y + z * z > tolerance * tolerance:
            return False
    return before <= 1.0 + 1e-12


@njit(cache=True)
def centre(p: Floats, i: int, j: int) -> tuple[bool, float, float, float]:
    """Returns the least-squares circle through both ends of the run i..j: (found, centre x, centre
    y, radius), mm.

    In the frame of the chord (u along, v across, origin at its middle) a circle through both ends
    has its centre at (0, k) and u^2 + v^2 - 2 k v = L^2 / 4; k is the least-squares solution over
    the run.
    """
    dx, dy = p[j, 0] - p[i, 0], p[j, 1] - p[i, 1]
    length = math.sqrt(dx * dx + dy * dy)
    # mm: both ends in one place, so the chord has no direction.
    if length < 1e-9:
        return False, 0.0, 0.0, 0.0
    dx, dy = dx / length, dy / length
    mx, my = 0.5 * (p[i, 0] + p[j, 0]), 0.5 * (p[i, 1] + p[j, 1])
    top, bottom = 0.0, 0.0
    for k in range(i + 1, j):
        x, y = p[k, 0] - mx, p[k, 1] - my
        u, v = x * dx + y * dy, y * dx - x * dy
        top += (u * u + v * v - 0.25 * length * length) * v
        bottom += 2.0 * v * v
    # all points within 1e-9 mm of the chord: a line, whose circle has no centre
    if bottom < 1e-18:
        return False, 0.0, 0.0, 0.0
    h = top / bottom
    return True, mx - dy * h, my + dx * h, math.sqrt(0.25 * length * length + h * h)


@njit(cache=True)
def _is_arc(
    p: Floats, i: int, j: int, tolerance: float, least: float, largest: float, sweep: float
) -> tuple[bool, float, float, float]:
    """(accepted, centre x, centre y, signed sweep) of the run as the arc that fits it best; sweep >
    0 turns left."""
    found, cx, cy, radius = centre(p, i, j)
    if not found or radius < least or radius > largest:
        return False, 0.0, 0.0, 0.0
    total = swept(p, i, j, cx, cy, radius, tolerance, sweep)
    return total != 0.0, cx, cy, total


@njit(cache=True)
def swept(
    p: Floats, i: int, j: int, cx: float, cy: float, radius: float, tolerance: float, sweep: float
) -> float:
    """Returns the signed sweep (rad, positive to the left) of the run i..j of `p` (n, 3) about a
    centre; 0 where it is not within `tolerance` mm of that arc, turns back, or sweeps more than
    `sweep`.

    Two passes: Z is linear in the angle, so it can be tested only when the whole sweep is known.
    """
    total = 0.0
    for k in range(i, j):
        ax, ay, bx, by = p[k, 0] - cx, p[k, 1] - cy, p[k + 1, 0] - cx, p[k + 1, 1] - cy
        if abs(math.sqrt(bx * bx + by * by) - radius) > tolerance:
            return 0.0
        turn = math.atan2(ax * by - ay * bx, ax * bx + ay * by)
        if turn * total < 0.0 or turn == 0.0:
            return 0.0
        total += turn
        if abs(total) > sweep:
            return 0.0
        # a chord comes nearest to the centre at its foot, if that lies between its ends
        chord = math.sqrt((bx - ax) ** 2 + (by - ay) ** 2)
        if abs(ax * by - ay * bx) < (radius - tolerance) * chord:
            t = -(ax * (bx - ax) + ay * (by - ay)) / (chord * chord)
            if 0.0 < t < 1.0:
                return 0.0
    rise, turned = p[j, 2] - p[i, 2], 0.0
    for k in range(i, j):
        ax, ay, bx, by = p[k, 0] - cx, p[k, 1] - cy, p[k + 1, 0] - cx, p[k + 1, 1] - cy
        turned += math.atan2(ax * by - ay * bx, ax * bx + ay * by)
        dz = p[k + 1, 2] - p[i, 2] - rise * turned / total
        # both errors at once: radial and along Z stand square to each other
        dr = math.sqrt(bx * bx + by * by) - radius
        if dz * dz + dr * dr > tolerance * tolerance:
            return 0.0
    return total


@njit(cache=True)
def _line_end(p: Floats, i: int, tolerance: float) -> int:
    """Farthest end of a line from point i, by doubling and halving."""
    n = p.shape[0]
    good, step = i + 1, 1
    while good < n - 1:
        j = min(good + step, n - 1)
        if is_line(p, i, j, tolerance):
            good, step = j, step * 2
        elif step > 1:
            step = step // 4 if step >= 4 else 1
        else:
            break
    return good


@njit(cache=True, inline="always")
def _arc_end(
    p: Floats, i: int, tolerance: float, least: float, largest: float, sweep: float
) -> tuple[int, float, float, float]:
    """Farthest end of an arc from point i with its centre and sweep; (i, ...) where there is
    none."""
    n = p.shape[0]
    # three points may fail where four or five hold, so a few starts are tried before the doubling
    good, cx, cy, total = i, 0.0, 0.0, 0.0
    for first in range(i + 2, min(i + 5, n)):
        ok, x, y, turn = _is_arc(p, i, first, tolerance, least, largest, sweep)
        if ok:
            good, cx, cy, total = first, x, y, turn
    if good == i:
        return i, 0.0, 0.0, 0.0
    step = 1
    while good < n - 1:
        j = min(good + step, n - 1)
        ok, x, y, turn = _is_arc(p, i, j, tolerance, least, largest, sweep)
        if ok:
            good, step, cx, cy, total = j, step * 2, x, y, turn
        elif step > 1:
            step = step // 4 if step >= 4 else 1
        else:
            break
    return good, cx, cy, total


@njit(cache=True)
def line_runs(p: Floats, tolerance: float) -> Ints:
    """Returns the indices (m,) of the points of `p` (n, 3) to keep, first and last among them."""
    kept = np.empty(p.shape[0], np.int64)
    kept[0] = 0
    # a literal would be a type of its own, and `_line_end` would be compiled once more for it
    count, i = int(np.int64(1)), int(np.int64(0))
    while i < p.shape[0] - 1:
        i = _line_end(p, i, tolerance)
        kept[count] = i
        count += 1
    return kept[:count]


@njit(cache=True)
def fit_runs(
    p: Floats, tolerance: float, least: float, largest: float, sweep: float
) -> tuple[Ints, Floats]:
    """Returns the ends (m,) of greedy runs along `p` (n, 3), and (m, 3) centre x, centre y, sweep
    of each; sweep 0 is a line. `least` and `largest` bound the radius, mm, `sweep` the sweep,
    rad."""
    n = p.shape[0]
    ends = np.empty(n, np.int64)
    arcs = np.zeros((n, 3), np.float64)
    count, i = int(np.int64(0)), int(np.int64(0))
    while i < n - 1:
        straight = _line_end(p, i, tolerance)
        bent, cx, cy, total = _arc_end(p, i, tolerance, least, largest, sweep)
        if bent > straight:
            arcs[count, 0], arcs[count, 1], arcs[count, 2] = cx, cy, total
            i = bent
        else:
            i = straight
        ends[count] = i
        count += 1
    return ends[:count], arcs[:count]


@njit(cache=True)
def _passes(p: Floats, i: int, j: int, start: Floats, end: Floats, tolerance: float) -> bool:
    """Whether the points i..j of `p` (n, 3) lie within `tolerance` of the straight way from `start`
    to `end` (3,), and advance along it."""
    dx, dy, dz = end[0] - start[0], end[1] - start[1], end[2] - start[2]
    length2 = dx * dx + dy * dy + dz * dz
    if length2 == 0.0:
        return False
    before = -math.inf
    for k in range(i, j + 1):
        x, y, z = p[k, 0] - start[0], p[k, 1] - start[1], p[k, 2] - start[2]
        t = (x * dx + y * dy + z * dz) / length2
        if t < before - 1e-12:
            return False
        before = t
        # beyond its ends a chord is as far away as they are
        t = min(max(t, 0.0), 1.0)
        x, y, z = x - t * dx, y - t * dy, z - t * dz
        if x * x + y * y + z * z > tolerance * tolerance:
            return False
    return True


@njit(cache=True)
def _end_beside(p: Floats, j: int, off: float, end: Floats) -> bool:
    """Writes to `end` (3,) the place `off` mm to the right of point j of `p`, square to its
    neighbours' chord; returns whether there is one: not at the last point, nor at a corner."""
    n = p.shape[0]
    end[0], end[1], end[2] = p[j, 0], p[j, 1], p[j, 2]
    if j == n - 1:
        return False
    ax, ay = p[j, 0] - p[j - 1, 0], p[j, 1] - p[j - 1, 1]
    bx, by = p[j + 1, 0] - p[j, 0], p[j + 1, 1] - p[j, 1]
    # 0.9: a turn of 26 degrees; square to one edge a place is then still within 3 % square to both
    if ax * bx + ay * by < 0.9 * math.hypot(ax, ay) * math.hypot(bx, by):
        return False
    x, y = ax + bx, ay + by
    length = math.hypot(x, y)
    if length < 1e-9:
        return False
    end[0] += off * y / length
    end[1] -= off * x / length
    return True


@njit(cache=True)
def _reached(p: Floats, i: int, start: Floats, off: float, tolerance: float) -> int:
    """The farthest point, by doubling and halving, beside which at `off` a chord from `start` at
    point i may end; i where there is none."""
    n = p.shape[0]
    end = np.empty(3, np.float64)
    good, step = i, 1
    while good < n - 1:
        j = min(good + step, n - 1)
        if off != 0.0 and not _end_beside(p, j, off, end):
            break
        if off == 0.0:
            end[0], end[1], end[2] = p[j, 0], p[j, 1], p[j, 2]
        if not _passes(p, i, j, start, end, tolerance):
            break
        good, step = j, 2 * step
    low, high = good, min(good + step, n)
    while high - low > 1:
        j = (low + high) // 2
        holds = True
        if off == 0.0:
            end[0], end[1], end[2] = p[j, 0], p[j, 1], p[j, 2]
        else:
            holds = _end_beside(p, j, off, end)
        if holds and _passes(p, i, j, start, end, tolerance):
            low = j
        else:
            high = j
    return low


@njit(cache=True)
def chord_ends(p: Floats, tolerance: float) -> Floats:
    """Returns the (m, 3) ends of straight moves along `p` (n, 3), few, with the first and the last
    point among them; the others lie up to `tolerance` mm to the left or right of a point.

    All points lie within `tolerance` of the moves, in their order, and the ends within it of the
    points. Round a circle a chord between places that far outside is longer by sqrt(2) than one
    between places on it, since it passes the circle as far inside.
    """
    n = p.shape[0]
    ends = np.empty((n, 3), np.float64)
    ends[0] = p[0]
    # a hair less, so that the place beside a point is within the tolerance whatever the rounding
    most = 0.999 * tolerance
    end = np.empty(3, np.float64)
    i, m = 0, 1
    while i < n - 1:
        start = ends[m - 1]
        # the next point itself can always be reached: the place before lies that near its own
        best, off = max(_reached(p, i, start, 0.0, tolerance), i + 1), 0.0
        if best < n - 1:
            for k in range(1, 5):
                for side in (-1.0, 1.0):
                    far = _reached(p, i, start, side * 0.25 * k * most, tolerance)
                    # as far with the end on the outside of the bend leaves more for the next chord
                    if far > best or (far == best and _bends(p, far, side)):
                        best, off = far, side * 0.25 * k * most
        if off == 0.0 or not _end_beside(p, best, off, end):
            end[0], end[1], end[2] = p[best, 0], p[best, 1], p[best, 2]
        ends[m] = end
        i, m = best, m + 1
    return ends[:m].copy()


@njit(cache=True)
def _bends(p: Floats, j: int, side: float) -> bool:
    """Whether the points turn away at j from what lies to the right (`side` 1) or left (-1)."""
    if j == 0 or j == p.shape[0] - 1:
        return False
    ax, ay = p[j, 0] - p[j - 1, 0], p[j, 1] - p[j - 1, 1]
    bx, by = p[j + 1, 0] - p[j, 0], p[j + 1, 1] - p[j, 1]
    left: bool = side * (ax * by - ay * bx) > 0.0
    return left
