"""Compiled loop of the engagement: at places along a path, how much of the cutter's edge stands in
material.

The front half of the cutter's circle is divided into `_BINS` equal angles. The middle of each is a
point q; the material over q reaches as high as the column stood before the file, or as the lowest
earlier piece that came within the radius of q. This is exact against the pieces, without stamping;
earlier pieces are found through a grid of square cells. q lies at the radius from where the cutter
stands now, so the path just travelled must come nearer by `_NEAR` to count as having cut it. Older
parts of the path count up to `_NEAR` farther, so that a lap repeated within its chords cuts
nothing. Lengths in mm, bed frame; heights above the bed. Geometry by elementary calculus, no source
needed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["engage"]

# 5 degrees each: a wall moves into or out of the width by one bin at a time, at most 0.09 of the
# radius (at the axis; far less at the sides, where a finishing pass cuts).
_BINS = 36
# Twice the error of the chords (0.01 mm): two laps of one arc, divided at different places, differ
# by less. Ten times this would hide a finishing pass of 0.2 mm; a tenth would report the second lap
# of an arc as a cut.
_NEAR = 0.02
_LEVEL = 1e-9
# Radii from the axis within which material counts as standing under the cutter.
_INNER = 0.5
# Newest pieces of a cell that are compared with a new one: enough for a lap repeated at once, and
# a bound on the work where thousands of pieces cross one cell.
_SAME_WAY = 256

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]


@njit(cache=True)
def _gap(px: float, py: float, a: Floats, b: Floats) -> tuple[float, float]:
    """Return the squared distance in the plane from (px, py) to the piece a-b, and the share of the
    piece (0 to 1) at which it is nearest."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    squared = dx * dx + dy * dy
    # Shorter than 1e-9 mm (`_LEVEL`, squared): upright, a point in the plane.
    t = 0.0
    if squared > 1e-18:
        t = min(max(((px - a[0]) * dx + (py - a[1]) * dy) / squared, 0.0), 1.0)
    ex, ey = px - a[0] - t * dx, py - a[1] - t * dy
    return ex * ex + ey * ey, t


@njit(cache=True)
def _column(before: Singles, grid: Floats, x: float, y: float) -> float:
    """Return the height of the column nearest to (x, y) before the file; -1e9 outside the
    blank."""
    ny, nx = before.shape
    ix = math.floor((x - grid[0]) / grid[2] + 0.5)
    iy = math.floor((y - grid[1]) / grid[3] + 0.5)
    if ix < 0 or iy < 0 or ix >= nx or iy >= ny:
        return -1e9
    return float(before[iy, ix])


@njit(cache=True)
def _height(
    x: float, y: float, z: float, start: float, lower: Floats, upper: Floats, near: Ints,
    count: int, radius: float,
    recent: int, newest: int,
) -> float:  # fmt: skip
    """Return the height of the material over (x, y) as the pieces before `newest` left it.

    `start` is its height before the file; the first `count` indices of `near` are the pieces to
    look at. Those from `recent` on are the path just travelled. Stops as soon as nothing is left
    above `z`: how far below is not asked.
    """
    height = start
    far, close = (radius + _NEAR) ** 2, (radius - _NEAR) ** 2
    for k in range(count):
        if height <= z:
            break
        piece = near[k]
        if piece >= newest:
            continue
        # most pieces are older laps, above what a newer one left
        if min(lower[piece, 2], upper[piece, 2]) >= height:
            continue
        away, t = _gap(x, y, lower[piece], upper[piece])
        if away <= (close if piece >= recent else far):
            at = lower[piece, 2] + t * (upper[piece, 2] - lower[piece, 2])
            if at < height:
                height = at
    return height


@njit(cache=True, inline="always")
def _collect(
    x: float, y: float, lower: Floats, upper: Floats, head: Ints, after: Ints, member: Ints,
    frame: Floats,
    shape: tuple[int, int], reach: float, near: Ints, seen: Ints, stamp: int,
) -> int:  # fmt: skip
    """Collect earlier pieces within `reach` of (x, y) in `near`, the newest of each cell first;
    return how many.

    `head`, `after` and `member` are linked lists, one a cell (see `engage`); `seen` (m,) holds the
    last `stamp` at which a piece was met. At most one less than `near` holds: a file that goes the
    same way thousands of times must not take hours. A piece left out can only make the material
    seem higher, so nothing is hidden.
    """
    ny, nx = shape
    cell = frame[2]
    count = 0
    ix0 = max(math.floor((x - reach - frame[0]) / cell), 0)
    ix1 = min(math.floor((x + reach - frame[0]) / cell), nx - 1)
    iy0 = max(math.floor((y - reach - frame[1]) / cell), 0)
    iy1 = min(math.floor((y + reach - frame[1]) / cell), ny - 1)
    for iy in range(iy0, iy1 + 1):
        for ix in range(ix0, ix1 + 1):
            link = head[iy * nx + ix]
            while link >= 0:
                piece = member[link]
                link = after[link]
                # A piece stands in every cell that it passes through. A stamp a sample marks what
                # has been met without clearing an array each time.
                if seen[piece] == stamp:
                    continue
                seen[piece] = stamp
                away, _ = _gap(x, y, lower[piece], upper[piece])
                if away <= reach * reach:
                    near[count] = piece
                    count += 1
                    if count == len(near) - 1:
                        return count
    return count


@njit(cache=True, inline="always")
def _again(
    link: int, a: Floats, b: Floats, lower: Floats, upper: Floats, after: Ints, member: Ints
) -> bool:
    """Tell whether one of the newest pieces of a cell equals the piece a-b, which then clears
    nothing more."""
    for _ in range(_SAME_WAY):
        if link < 0:
            return False
        k = member[link]
        if (
            lower[k, 0] == a[0] and lower[k, 1] == a[1] and lower[k, 2] == a[2]
            and upper[k, 0] == b[0] and upper[k, 1] == b[1] and upper[k, 2] == b[2]
        ):  # fmt: skip
            return True
        link = after[link]
    return False


@njit(cache=True, inline="always")
def _insert(
    piece: int,
    lower: Floats,
    upper: Floats,
    head: Ints,
    after: Ints,
    member: Ints,
    used: int,
    frame: Floats,
    nx: int,
) -> int:
    """Enter a piece into the cells over the blank that it passes through; return the number of
    links in use.

    `frame` is x0, y0 and side of the cells, `nx` how many there are in a row.
    """
    a, b = lower[piece], upper[piece]
    cell = frame[2]
    way = math.sqrt((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2)
    # Two samples a cell may miss a corner that the piece cuts off. The samples on either side lie
    # within half a cell of it, in cells that `_collect` looks through as well.
    steps = int(way / (0.5 * cell)) + 1
    last = -1
    for s in range(steps + 1):
        t = s / steps
        ix = math.floor((a[0] + t * (b[0] - a[0]) - frame[0]) / cell)
        iy = math.floor((a[1] + t * (b[1] - a[1]) - frame[1]) / cell)
        at = iy * nx + ix
        if at == last or ix < 0 or iy < 0 or ix >= nx or at >= len(head):
            continue
        last = at
        if _again(head[at], a, b, lower, upper, after, member):
            continue
        member[used] = piece
        after[used] = head[at]
        head[at] = used
        used += 1
    return used


@njit(cache=True)
def engage(
    lower: Floats, upper: Floats, cuts: NDArray[np.bool_], before: Singles, grid: Floats,
    radius: float,
    least: float, layer: float, first: Ints, found: Floats,
) -> None:  # fmt: skip
    """Find the engagement at samples along the pieces: at the middle of equal shares of each, on
    the way down at their ends.

    `lower`, `upper` (m, 3) are the pieces in the order cut, `cuts` (m,) tells which are feeds
    (rapids clear nothing and are not sampled); `before[iy, ix]` are the columns before the file,
    `grid` their x0, y0, px, py. Material counts when it stands more than `least` above the tip.
    `first` (m + 1,) is the row of each piece's first sample in `found` (k, 6), which is filled in:

    0, 1  width of cut to the right of the path and to the left,
    2     greatest axial depth of cut,
    3     height of material above the tip within half the radius of the axis,
    4     share of the piece at which the sample lies,
    5     width of what stands more than `layer` above the tip.
    """
    count = len(cuts)
    # A cell a radius wide: `_collect` then looks through 25 to 36 of them. At least 1 mm, so that a
    # thin cutter over a long blank does not ask for millions.
    cell = max(radius, 1.0)
    low_x, low_y = grid[0] - 2.0 * radius, grid[1] - 2.0 * radius
    high_x, high_y = (
        grid[0] + grid[2] * before.shape[1] + radius,
        grid[1] + grid[3] * before.shape[0] + radius,
    )
    links = 0
    for k in range(count):
        if cuts[k]:
            way = math.sqrt((upper[k, 0] - lower[k, 0]) ** 2 + (upper[k, 1] - lower[k, 1]) ** 2)
            links += int(way / (0.5 * cell)) + 2
    if links == 0:
        return
    frame = np.empty(3, np.float64)
    frame[0], frame[1], frame[2] = low_x - cell, low_y - cell, cell
    nx, ny = int((high_x - low_x) / cell) + 3, int((high_y - low_y) / cell) + 3
    # Linked lists in arrays, since numba has no fast lists of lists: `head` is the newest link of
    # each cell, `member` the piece of a link, `after` the next older link of the same cell.
    head = np.full(nx * ny, -1, np.int64)
    after, member = np.empty(links, np.int64), np.empty(links, np.int64)
    near, seen = np.empty(4096, np.int64), np.full(count, -1, np.int64)
    # A typed counter: with a plain 0 numba would compile `_insert` a second time.
    used = int(np.int64(0))
    width = np.empty(_BINS, np.float64)
    angle = np.empty(_BINS, np.float64)
    for j in range(_BINS):
        a, b = math.pi * j / _BINS - math.pi / 2.0, math.pi * (j + 1) / _BINS - math.pi / 2.0
        width[j] = radius * (math.sin(b) - math.sin(a))
        angle[j] = 0.5 * (a + b)
    recent = 0
    travelled = 0.0
    ended = np.zeros(count, np.float64)
    for k in range(count):
        if not cuts[k]:
            continue
        rows = first[k + 1] - first[k]
        dx, dy, dz = upper[k, 0] - lower[k, 0], upper[k, 1] - lower[k, 1], upper[k, 2] - lower[k, 2]
        way = math.sqrt(dx * dx + dy * dy)
        upright = way <= _LEVEL
        heading = math.atan2(dy, dx)
        # Pieces from `recent` on ended less than half a radius of path ago: those just travelled.
        while recent < k and ended[recent] < travelled - 0.5 * radius:
            recent += 1
        end = upper[k].copy()
        for s in range(rows):
            # On the way down at the end of each share, where the cutter is deepest in it.
            t = (s + (0.5 if dz >= -_LEVEL else 1.0)) / rows
            x, y, z = lower[k, 0] + t * dx, lower[k, 1] + t * dy, lower[k, 2] + t * dz
            row = first[k] + s
            found[row, 4] = t
            got = _collect(
                x,
                y,
                lower,
                upper,
                head,
                after,
                member,
                frame,
                (ny, nx),
                2.0 * radius + _NEAR,
                near,
                seen,
                row,
            )
            deepest = 0.0
            if not upright:
                # The piece itself as far as this sample belongs to what has been cut. Its end is
                # set back for that, and restored below.
                upper[k, 0], upper[k, 1], upper[k, 2] = x, y, z
                near[got] = k
                got += 1
                for j in range(_BINS):
                    qx, qy = (
                        x + radius * math.cos(heading + angle[j]),
                        y + radius * math.sin(heading + angle[j]),
                    )
                    top = _height(
                        qx,
                        qy,
                        z + least,
                        _column(before, grid, qx, qy),
                        lower,
                        upper,
                        near,
                        got,
                        radius,
                        recent,
                        count,
                    )
                    if top > z + least:
                        found[row, 0 if angle[j] < 0.0 else 1] += width[j]
                        deepest = max(deepest, top - z)
                        if top > z + layer:
                            found[row, 5] += width[j]
                upper[k, 0], upper[k, 1], upper[k, 2] = end[0], end[1], end[2]
                got -= 1
            found[row, 2] = deepest
            under = 0.0
            if upright or dz < -_LEVEL:
                # Down a ramp the path just travelled has cleared what lies behind the axis, though
                # the tip pushes into solid wood all the same: it does not count as cleared.
                newest = count if upright else recent
                for j in range(9):
                    share = 0.0 if j == 8 else _INNER * radius
                    qx, qy = (
                        x + share * math.cos(j * math.pi / 4.0),
                        y + share * math.sin(j * math.pi / 4.0),
                    )
                    top = _height(
                        qx,
                        qy,
                        z + least,
                        _column(before, grid, qx, qy),
                        lower,
                        upper,
                        near,
                        got,
                        radius,
                        recent,
                        newest,
                    )
                    under = max(under, top - z)
            found[row, 3] = under
        travelled += way
        ended[k] = travelled
        used = _insert(k, lower, upper, head, after, member, used, frame, nx)
