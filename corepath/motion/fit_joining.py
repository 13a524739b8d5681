"""Compiled search for the fewest lines and arcs that follow a smooth run of points and join without
a kink.

Points are (n, 3) float64, mm; only X and Y make directions. Of an arc from point i to point j one
number is free: the *lead* f, the angle from the chord to the direction in which the arc starts. It
sweeps -2 f, ends at -f from the chord, and f = 0 is a line. The arc through a point (u, v) of the
chord's frame has f = atan2(v L, u (L - u) - v^2) (angle of tangent and chord, Euclid III.32), and
moving the point by d along the arc's normal changes f by d L over the product of its distances from
both ends. So each point between, and the middle of each chord between, leaves an interval of f, and
the run can be one move where the intervals meet.

The search keeps, for each number of moves, the points reached and the interval of directions in
which they can be reached: a move may begin where its direction and the one of the move before
differ by at most `joint`. Reaching is exact in the directions and keeps the `_BEAM` farthest points
of each number of moves, so its time grows with the points and not with their square. The directions
are chosen backwards from the end, each as close to that of the next move as its interval allows.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["NO_END", "join_run", "reach", "way_along"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_END = 9.0
"""A direction (rad) that means: any."""
_BEAM = 10  # states kept for each number of moves: bounds the search to so many times the points
_TRIES = 9
_SPREAD = 3  # chords of a move that are looked at first
_STEEPEST = 1.3  # rad: |lead| of an arc; the sweep is twice that, 2.6, and so below `LARGEST_SWEEP`
_WHOLE = 2.0 * math.pi


@njit(cache=True)
def _near(angle: float, to: float) -> float:
    """`angle` plus whole turns, so that it lies within half a turn of `to`."""
    return angle - _WHOLE * math.floor((angle - to) / _WHOLE + 0.5)


@njit(cache=True)
def _leads(p: Floats, along: Floats, i: int, j: int, tolerance: float) -> tuple[bool, float, float]:
    """(possible, least lead, largest lead) of one move from point i to point j."""
    # In X and Y the move is the arc of one lead. Z is left to grow evenly along the way; what a
    # point is off in Z uses up part of the tolerance, since both errors stand square to each other.
    dx, dy, rise = p[j, 0] - p[i, 0], p[j, 1] - p[i, 1], p[j, 2] - p[i, 2]
    length = math.sqrt(dx * dx + dy * dy)
    if length < 1e-9:
        return False, 0.0, 0.0
    dx, dy = dx / length, dy / length
    way = along[j] - along[i]
    low, high = -_STEEPEST, _STEEPEST
    # Each chord once, but every `stride`-th first: a move that is too long fails after a few chords
    # spread over it. The interval is that of all chords, in whatever order they come.
    stride = max((j - i) // _SPREAD, 1)
    for lap in range(stride):
        for k in range(i + (lap + stride // 2) % stride, j, stride):
            for half in range(2):
                # Middles of chords too: between two points on one side of an arc its chord may
                # still leave it. They have no Z of their own to miss.
                if half == 0:
                    x, y = (
                        0.5 * (p[k, 0] + p[k + 1, 0]) - p[i, 0],
                        0.5 * (p[k, 1] + p[k + 1, 1]) - p[i, 1],
                    )
                    off = 0.0
                # the last point is an end of the move and on it whatever the lead
                elif k + 1 == j:
                    break
                else:
                    x, y = p[k + 1, 0] - p[i, 0], p[k + 1, 1] - p[i, 1]
                    off = p[k + 1, 2] - p[i, 2] - rise * (along[k + 1] - along[i]) / way
                room = tolerance * tolerance - off * off
                if room <= 0.0:
                    return False, 0.0, 0.0
                # in the chord's frame: the lead of the arc through the point, and by how much it
                # may change while the arc passes within the room of it
                u, v = x * dx + y * dy, y * dx - x * dy
                lead = math.atan2(v * length, u * (length - u) - v * v)
                ends = math.sqrt((u * u + v * v) * ((length - u) * (length - u) + v * v))
                slack = math.sqrt(room) * length / max(ends, 1e-12)
                low, high = max(low, lead - slack), min(high, lead + slack)
                if low > high:
                    return False, 0.0, 0.0
    return True, low, high


@njit(cache=True)
def way_along(p: Floats) -> Floats:
    """Returns the length of way (n,) in X and Y from the first of the points `p` (n, 3) to each."""
    along = np.zeros(p.shape[0], np.float64)
    for k in range(1, p.shape[0]):
        along[k] = along[k - 1] + math.hypot(p[k, 0] - p[k - 1, 0], p[k, 1] - p[k - 1, 1])
    return along


@njit(cache=True)
def reach(p: Floats, along: Floats, i: int, tolerance: float) -> int:
    """Returns the farthest of the points `p` (n, 3), mm, that one move from point i can end at, by
    doubling and halving; `along` (n,) is the length up to each.

    Points that can be reached need not be all those up to the farthest, so this may stop early;
    testing all of them would cost the square of their number.
    """
    good, step, n = i + 1, 1, p.shape[0]
    while good < n - 1:
        j = min(good + step, n - 1)
        if _leads(p, along, i, j, tolerance)[0]:
            good, step = j, step * 2
        elif step > 1:
            step = step // 4 if step >= 4 else 1
        else:
            break
    return good


@njit(cache=True)
def _try(i: int, far: int, k: int) -> int:
    """The k-th point (0 to `_TRIES` - 1) to end a move at, the farthest first; may repeat the one
    before."""
    # the three farthest, five spread over the span, and the next point: where the farthest leave a
    # direction that the next move cannot take up, a shorter move may
    span = far - i
    if k < 3:
        back = min(k, span - 1)
    elif k < _TRIES - 1:
        back = max(min(2, span - 1), (k - 2) * span // (_TRIES - 3))
    else:
        back = span - 1
    return far - back


@njit(cache=True, inline="always")
def _look_on(
    p: Floats, along: Floats, i: int, tolerance: float, largest: float, room: Floats
) -> int:
    """Returns the farthest point that a move from point i can end at, and fills `room` (`_TRIES`,
    4) for the moves tried from there: least and largest lead (the least above the largest where
    there is none), direction of the chord, and the lead of an arc of the `largest` radius, which a
    flatter one would exceed."""
    far, j = reach(p, along, i, tolerance), -1
    for k in range(_TRIES):
        again = _try(i, far, k) == j
        j = _try(i, far, k)
        room[k, 0], room[k, 1] = 1.0, -1.0
        if again:
            continue
        ok, low, high = _leads(p, along, i, j, tolerance)
        if ok:
            dx, dy = p[j, 0] - p[i, 0], p[j, 1] - p[i, 1]
            half = 0.5 * math.sqrt(dx * dx + dy * dy)
            room[k, 0], room[k, 1], room[k, 2] = low, high, math.atan2(dy, dx)
            room[k, 3] = math.asin(min(half / largest, 1.0))
    return far


@njit(cache=True, inline="always")
def _grow(states: Floats, count: int) -> Floats:
    # room for all that one state can add: `_TRIES` ends of three kinds each
    if count < states.shape[0] - 64:
        return states
    larger = np.empty((2 * states.shape[0], states.shape[1]), np.float64)
    # a slice assigned compiles numba's texts of mismatched shapes: three seconds
    for k in range(count):
        for c in range(states.shape[1]):
            larger[k, c] = states[k, c]
    return larger


@njit(cache=True, inline="always")
def _keep_far(states: Floats, first: int, last: int) -> int:
    """Keep a beam of the states first..last, the farthest first, at most three at one point; the
    new end."""
    # More than three at one point would crowd out the others, and a beam whose states all end at
    # one point dies where no move can leave it in their directions.
    kept, at_point = first, 0
    while kept - first < _BEAM:
        best = -1
        for k in range(kept, last):
            if states[k, 0] >= 0.0 and (best < 0 or states[k, 0] > states[best, 0]):
                best = k
        if best < 0:
            break
        same = kept > first and states[kept - 1, 0] == states[best, 0]
        at_point = at_point + 1 if same else 1
        if at_point > 3:
            states[best, 0] = -1.0
            continue
        for c in range(5):
            states[kept, c], states[best, c] = states[best, c], states[kept, c]
        kept += 1
    return kept


@njit(cache=True)
def join_run(
    p: Floats, tolerance: float, joint: float, largest: float, first: float, last: float
) -> tuple[Ints, Floats, bool]:
    """Returns the ends (m,) and leads (m,) of the moves along the points `p` (n, 3), and whether
    they reach its last point.

    `tolerance` is mm, `joint` rad.
    `first` and `last` are directions (rad) to start and end in within half of `joint`, or `NO_END`.
    `largest` is the largest radius of an arc. Where no move can go on, the moves up to the farthest
    point are given.
    """
    n = p.shape[0]
    along = way_along(p)
    farthest_of = np.zeros(n, np.int64)
    # Where moves are short, most points are left from by two or three numbers of moves: what may go
    # on from a point is kept.
    rooms = np.empty((n, _TRIES, 4), np.float64)
    # A state: point, least and largest direction on arrival, state before, whether it came by a
    # line.
    states = np.empty((256, 5), np.float64)
    states[0, 0], states[0, 3], states[0, 4] = 0.0, -1.0, 0.0
    # Least above largest on purpose: every joint widens the interval by `joint` on both sides, and
    # what is left of that here is half of `joint` about `first`.
    states[0, 1], states[0, 2] = (
        (first + 0.5 * joint, first - 0.5 * joint) if first != NO_END else (-1e3, 1e3)
    )
    # A literal would be a type of its own, and all that it is handed to would be compiled twice.
    level, count, goal, farthest = (
        int(np.int64(0)),
        int(np.int64(1)),
        int(np.int64(-1)),
        int(np.int64(0)),
    )
    # breadth first: all that k moves reach before any of k + 1, so the first state at the last
    # point has the fewest moves of all that the beam kept
    while goal < 0 and level < count:
        begin = count
        for s in range(level, begin):
            i = int(states[s, 0])
            if farthest_of[i] == 0:
                farthest_of[i] = _look_on(p, along, i, tolerance, largest, rooms[i])
            for k in range(_TRIES):
                low, high = rooms[i, k, 0], rooms[i, k, 1]
                if low > high:
                    continue
                j = _try(i, farthest_of[i], k)
                chord = rooms[i, k, 2]
                # a move starts at chord + lead, within `joint` of where the one before arrived
                if states[s, 1] > -1e2:
                    turned = _near(chord, 0.5 * (states[s, 1] + states[s, 2]))
                    low = max(low, states[s, 1] - joint - turned)
                    high = min(high, states[s, 2] + joint - turned)
                    chord = turned
                # leads between -flat and flat are possible as a line alone; the three kinds are
                # states of their own
                flat = rooms[i, k, 3]
                for kind in range(3):
                    a, b = low, high
                    if kind == 0:
                        a = max(a, flat)
                    elif kind == 1:
                        a, b = max(a, 0.0), min(b, 0.0)
                    else:
                        b = min(b, -flat)
                    if a > b:
                        continue
                    # from leads to directions on arrival: an arc turns by twice its lead
                    a, b = chord - b, chord - a
                    if j == n - 1 and last != NO_END:
                        end = _near(last, 0.5 * (a + b))
                        a, b = max(a, end - 0.5 * joint), min(b, end + 0.5 * joint)
                        if a > b:
                            continue
                    states = _grow(states, count)
                    states[count, 0], states[count, 1], states[count, 2] = j, a, b
                    states[count, 3], states[count, 4] = s, 1.0 if kind == 1 else 0.0
                    count += 1
        count = _keep_far(states, begin, count)
        level = begin
        if count > begin:
            farthest = begin
            if states[begin, 0] == n - 1:
                goal = begin
    return _chosen(p, states, farthest if goal < 0 else goal, last, goal >= 0)


@njit(cache=True, inline="always")
def _chosen(
    p: Floats, states: Floats, state: int, last: float, whole: bool
) -> tuple[Ints, Floats, bool]:
    """Ends and leads along the chain of states that ends at `state`, chosen backwards."""
    # Each state holds an interval of directions. Going back from the end, each move arrives in the
    # direction nearest to the one in which the next starts, so that joints are used only where
    # an interval forces them to be.
    count, s = 0, state
    while states[s, 3] >= 0.0:
        count, s = count + 1, int(states[s, 3])
    ends, leads = np.empty(count, np.int64), np.empty(count, np.float64)
    wish = 0.5 * (states[state, 1] + states[state, 2])
    if whole and last != NO_END:
        wish = _near(last, wish)
    s = state
    for k in range(count - 1, -1, -1):
        before = int(states[s, 3])
        i, j = int(states[before, 0]), int(states[s, 0])
        arrival = min(max(wish, states[s, 1]), states[s, 2])
        chord = _near(math.atan2(p[j, 1] - p[i, 1], p[j, 0] - p[i, 0]), arrival)
        ends[k], leads[k] = j, 0.0 if states[s, 4] != 0.0 else chord - arrival
        wish = chord + leads[k]
        s = before
        if states[s, 1] > -1e2:
            wish = _near(wish, 0.5 * (states[s, 1] + states[s, 2]))
    return ends, leads, whole
