"""Compiled kernels of the deck's planning: the best split into regions, and what a path leaves at
single places.

Lengths in mm. The stock left at a place is the least, over all of the path near it, of the height
of the cutter's surface there. For a straight move from a to b that is the least of z(t) +
height(distance(t)) over the stretch of t where the place lies within the cutter's radius. The
profile's height grows with the distance and is convex, and the distance is convex in t. So a flat
end has its least at an end of the stretch, a ball in closed form, and a corner's is found by golden
section.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit
from corepath.motion.cutter_profile import CutterProfile
from corepath.motion.cutter_profile_kernels import height, widest

__all__ = ["finer", "guillotine", "left_at", "reaching"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

# (√5 − 1)/2: the share by which each step shortens the stretch.
_GOLDEN = 0.6180339887498949
# Cuts at a row and at a column share one int16: 1000 columns of 20 mm are 20 m, more than any
# board.
_CUT_Y = 1000
# mm, far more than the rounding of a height: no move is left out that ties with the least.
_ROUNDING = 1e-9


@njit(cache=True)
def guillotine(
    along: Array, across: Array, turn_along: float, turn_across: float, link: float,
    best: NDArray[np.float32], choice: NDArray[np.int16],
) -> None:  # fmt: skip
    """Writes the least cost of each rectangle of cells to `best` and how to get it to `choice`, by
    dynamic programming.

    Both are indexed [i, I, j, J]: columns i to I, rows j to J. A choice is -1 for lines along X, -2
    for lines along Y, k for a cut at column k, 1000 + k for one at row k. (Made by the caller: two
    arrays of four axes take a third of a second to compile here.)

    `along` and `across` (n + 1, m + 1) are summed costs (mm of line) of lines along X and along Y,
    so that a rectangle's cost is four look-ups. `turn_along` and `turn_across` are added for each
    row or column of cells that the lines fill, `link` once for each region.
    """
    n, m = along.shape[0] - 1, along.shape[1] - 1
    # Widths and heights rise, so the parts of a rectangle are always known before it.
    for a in range(1, n + 1):
        for b in range(1, m + 1):
            for i in range(n - a + 1):
                for j in range(m - b + 1):
                    end, top = i + a, j + b
                    least = (
                        along[end, top]
                        - along[i, top]
                        - along[end, j]
                        + along[i, j]
                        + b * turn_along
                        + link
                    )
                    cut = -1
                    other = (
                        across[end, top]
                        - across[i, top]
                        - across[end, j]
                        + across[i, j]
                        + a * turn_across
                        + link
                    )
                    # A tie goes to lines along the grain, and to no cut. The margins keep rounding
                    # from deciding: `best` is kept as float32, whose steps are 0.008 at 100,000 mm
                    # of line.
                    if other < least - 1e-3:
                        least, cut = other, -2
                    # A cut costs nothing itself: the link of one more region is in its parts.
                    for k in range(i + 1, end):
                        other = best[i, k, j, top] + best[k, end, j, top]
                        if other < least - 1e-2:
                            least, cut = other, k
                    for k in range(j + 1, top):
                        other = best[i, end, j, k] + best[i, end, k, top]
                        if other < least - 1e-2:
                            least, cut = other, _CUT_Y + k
                    best[i, end, j, top] = least
                    choice[i, end, j, top] = cut


@njit(cache=True)
def _over_tip(distance: float, profile: CutterProfile) -> float:
    """Height of the cutter's surface over its tip, mm, at `distance` (mm) from the axis."""
    return height(distance - profile.flat, profile)


@njit(cache=True)
def _over(px: float, py: float, p: Array, k: int, profile: CutterProfile, best: float) -> float:
    """Least height of the cutter's surface over (px, py) on the move k to k + 1 of `p`, if below
    `best`; else inf.

    Anything not below `best` may come back as inf, since the caller keeps the smaller.
    """
    ax, ay, az = p[k, 0], p[k, 1], p[k, 2]
    dx, dy, dz = p[k + 1, 0] - ax, p[k + 1, 1] - ay, p[k + 1, 2] - az
    spare = best - min(az, az + dz)
    if spare <= 0.0:
        return math.inf
    radius = profile.radius
    wx, wy = px - ax, py - ay
    length2 = dx * dx + dy * dy
    # Where the whole move keeps farther off than this, the corner's rise alone is more than the
    # best leaves room for.
    reach = widest(spare, profile)
    along = min(max((wx * dx + wy * dy) / length2, 0.0), 1.0) if length2 > 0.0 else 0.0
    if (wx - along * dx) ** 2 + (wy - along * dy) ** 2 > reach * reach:
        return math.inf
    # Straight down or no move at all: there is no direction to divide by.
    if length2 < 1e-18:
        distance = math.hypot(wx, wy)
        return (
            float(min(az, az + dz) + _over_tip(distance, profile))
            if distance <= radius
            else math.inf
        )
    middle = (wx * dx + wy * dy) / length2
    off2 = (wx - middle * dx) ** 2 + (wy - middle * dy) ** 2
    if off2 > radius * radius:
        return math.inf
    length = math.sqrt(length2)
    # The stretch low to high of the move, as shares of it, on which the place is under the cutter.
    half = math.sqrt(radius * radius - off2) / length
    low, high = max(0.0, middle - half), min(1.0, middle + half)
    if low > high:
        return math.inf
    ball = profile.corner == radius
    if ball:
        # z + r - sqrt(q^2 - u^2) along u = (t - middle) length, q^2 = r^2 - off^2, is least at u =
        # -m q / sqrt(1 + m^2)
        slope = dz / length
        t = middle - slope * half / math.sqrt(1.0 + slope * slope)
        low = high = min(max(t, low), high)
    elif profile.flat == 0.0 and off2 < profile.cone_from**2 < math.inf:
        # The same on the ball of a tapered one: where the way is lowest there, the sum being
        # convex, it is nowhere lower on the flank.
        slope = dz / length
        back = slope * math.sqrt((profile.corner**2 - off2) / (1.0 + slope * slope))
        if off2 + back * back <= profile.cone_from**2:
            low = high = min(max(middle - back / length, low), high)
            ball = True
    # The ends of the stretch: for a flat end the answer; for a ball both are its minimum.
    least = min(
        az + low * dz + _over_tip(math.sqrt(off2 + (low - middle) ** 2 * length2), profile),
        az + high * dz + _over_tip(math.sqrt(off2 + (high - middle) ** 2 * length2), profile),
    )
    if ball or profile.corner == 0.0:
        return float(least)
    # The tip at its lowest and the axis at its nearest, both at once, is a bound from below: no
    # search where even that does not win.
    if min(az + low * dz, az + high * dz) + _over_tip(math.sqrt(off2), profile) >= min(best, least):
        return float(least)
    # Golden section, until the stretch is 0.001 mm long: on a move as steep as 45° that is 0.001 mm
    # in height at the very most, and far less near the minimum, where the curve is level.
    for _ in range(40):
        if (high - low) * length < 1e-3:
            break
        one, two = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        first = az + one * dz + _over_tip(math.sqrt(off2 + (one - middle) ** 2 * length2), profile)
        second = az + two * dz + _over_tip(math.sqrt(off2 + (two - middle) ** 2 * length2), profile)
        if first <= second:
            high = two
            least = min(least, first)
        else:
            low = one
            least = min(least, second)
    return float(least)


@njit(cache=True, inline="always")
def _bins(p: Array, radius: float, frame: Array, columns: int, rows: int) -> tuple[Ints, Ints]:
    """Which moves come within the radius of each cell: starts (cells + 1,), and the items they
    point into.

    Two turns over the moves: the first counts, the second fills, so that no list grows. By bounding
    boxes: a long diagonal move is put in cells that it does not come near; `reaching` sorts those
    out.
    """
    counts = np.zeros(columns * rows + 1, np.int64)
    for turn in range(2):
        if turn == 1:
            starts = np.zeros(columns * rows + 1, np.int64)
            # A slice assigned compiles numba's texts of mismatched shapes: two seconds.
            for cell in range(columns * rows):
                starts[cell + 1] = starts[cell] + counts[cell]
            at = starts.copy()
            items = np.empty(starts[-1], np.int64)
        for k in range(p.shape[0] - 1):
            i0 = max(int((min(p[k, 0], p[k + 1, 0]) - radius - frame[0]) / frame[2]), 0)
            i1 = min(int((max(p[k, 0], p[k + 1, 0]) + radius - frame[0]) / frame[2]), columns - 1)
            j0 = max(int((min(p[k, 1], p[k + 1, 1]) - radius - frame[1]) / frame[2]), 0)
            j1 = min(int((max(p[k, 1], p[k + 1, 1]) + radius - frame[1]) / frame[2]), rows - 1)
            for j in range(j0, j1 + 1):
                for i in range(i0, i1 + 1):
                    cell = i + j * columns
                    if turn == 0:
                        counts[cell] += 1
                    else:
                        items[at[cell]] = k
                        at[cell] += 1
    return starts, items


@njit(cache=True)
def _nearest(p: Array, k: int, x: float, y: float) -> tuple[float, float]:
    """Share of the move k to k + 1 at which it comes nearest to (x, y), and how near, mm."""
    dx, dy = p[k + 1, 0] - p[k, 0], p[k + 1, 1] - p[k, 1]
    length2 = dx * dx + dy * dy
    t = (
        min(max(((x - p[k, 0]) * dx + (y - p[k, 1]) * dy) / length2, 0.0), 1.0)
        if length2 > 0.0
        else 0.0
    )
    return t, math.hypot(p[k, 0] + t * dx - x, p[k, 1] + t * dy - y)


@njit(cache=True)
def _deciding(
    p: Array, moves: Ints, x: float, y: float, half: float, profile: CutterProfile, out: Ints
) -> int:
    """Writes to the start of `out` those of the moves that may decide what is left somewhere within
    `half` (mm) of (x, y), and returns how many; `out` may be `moves` itself."""
    # One stand of the cutter that covers all of the circle bounds what is left in it. On each move
    # the nearest to the middle is tried.
    ceiling = math.inf
    for q in range(moves.shape[0]):
        k = moves[q]
        # The profile only adds to the tip's height, so a higher move cannot lower the bound.
        if min(p[k, 2], p[k + 1, 2]) < ceiling:
            t, away = _nearest(p, k, x, y)
            if away + half <= profile.radius:
                tip = p[k, 2] + t * (p[k + 1, 2] - p[k, 2])
                ceiling = min(ceiling, tip + _over_tip(away + half, profile))
    ceiling += _ROUNDING
    count = 0
    for q in range(moves.shape[0]):
        k = moves[q]
        low = min(p[k, 2], p[k + 1, 2])
        if low <= ceiling:
            # Nowhere in the circle is the move nearer than this, nor its tip lower than its lower
            # end.
            away = max(_nearest(p, k, x, y)[1] - half, 0.0)
            if away <= profile.radius and low + _over_tip(away, profile) <= ceiling:
                out[count] = k  # never ahead of what is still to be read
                count += 1
    return count


@njit(cache=True)
def reaching(p: Array, profile: CutterProfile, frame: Array) -> tuple[Ints, Ints]:
    """Moves of the polyline `p` (m, 3) that may decide what is left somewhere in each cell of
    `frame`.

    `frame` is (x0, y0, size of a cell, columns, rows), mm. Returns starts (cells + 1,) and moves,
    the cells row by row; cell c has moves[starts[c] : starts[c + 1]].
    """
    columns, rows, size = int(frame[3]), int(frame[4]), frame[2]
    starts, items = _bins(p, profile.radius, frame, columns, rows)
    half = 0.70711 * size  # from a cell's middle to its corners
    kept = np.empty(columns * rows + 1, np.int64)
    kept[0] = count = 0
    for c in range(columns * rows):
        x, y = frame[0] + (c % columns + 0.5) * size, frame[1] + (c // columns + 0.5) * size
        moves = items[starts[c] : starts[c + 1]]
        count += _deciding(p, moves, x, y, half, profile, items[count:])
        kept[c + 1] = count
    return kept, items[:count].copy()


@njit(cache=True)
def finer(
    p: Array, profile: CutterProfile, frame: Array, parts: int, starts: Ints, moves: Ints
) -> tuple[Array, Ints, Ints]:
    """Return what `reaching` gives, for cells `parts` times as small: their frame, the place in
    `moves` at which each cell begins (cells + 1,), and the moves of one cell after the other.

    `starts` and `moves` are those of `reaching` for the cells of `frame`. Far fewer moves decide in
    a small cell, but to find them from all moves would take far longer.
    """
    columns, size = int(frame[3]) * parts, frame[2] / parts
    cells = columns * int(frame[4]) * parts
    half = 0.70711 * size
    kept, items = np.empty(cells + 1, np.int64), np.empty(4 * cells, np.int64)
    kept[0] = count = 0
    for c in range(cells):
        i, j = c % columns, c // columns
        cell = i // parts + j // parts * int(frame[3])
        mine = moves[starts[cell] : starts[cell + 1]]
        if count + mine.shape[0] > items.shape[0]:
            longer = np.empty(2 * items.shape[0] + mine.shape[0], np.int64)
            for q in range(count):  # see `_bins` for why this is no slice
                longer[q] = items[q]
            items = longer
        x, y = frame[0] + (i + 0.5) * size, frame[1] + (j + 0.5) * size
        count += _deciding(p, mine, x, y, half, profile, items[count:])
        kept[c + 1] = count
    small = np.empty(5, np.float64)
    small[0], small[1], small[2] = frame[0], frame[1], size
    small[3], small[4] = columns, frame[4] * parts
    return small, kept, items[:count].copy()


@njit(cache=True)
def left_at(
    p: Array, profile: CutterProfile, places: Array, frame: Array, starts: Ints, moves: Ints
) -> Array:
    """Heights (n,), mm, that a cutter leaves at the `places` (n, 3) along the polyline `p` (m, 3);
    inf where it does not come.

    A place has its x, its y and the height from which on nobody asks how low it is: the search ends
    at any height found that is no higher. `starts` and `moves` are those that `reaching` gives for
    the same path, cutter and `frame`, in which all places must lie.
    """
    columns, rows = int(frame[3]), int(frame[4])
    out = np.empty(places.shape[0], np.float64)
    for n in range(places.shape[0]):
        x, y, enough = places[n, 0], places[n, 1], places[n, 2]
        i = min(max(int((x - frame[0]) / frame[2]), 0), columns - 1)
        j = min(max(int((y - frame[1]) / frame[2]), 0), rows - 1)
        cell = i + j * columns
        best = math.inf
        if profile.corner > 0.0:  # a first guess spares most of the search below
            for q in range(starts[cell], starts[cell + 1]):
                k = moves[q]
                spare = best - p[k, 2]
                if spare > 0.0:
                    away2 = (p[k, 0] - x) ** 2 + (p[k, 1] - y) ** 2
                    if away2 <= widest(spare, profile) ** 2:
                        best = min(best, p[k, 2] + _over_tip(math.sqrt(away2), profile))
        for q in range(starts[cell], starts[cell + 1]):
            if best <= enough:
                break
            best = min(best, _over(x, y, p, moves[q], profile, best))
        out[n] = best
    return out
