"""Compiled loops of the virtual blank: cut columns along straight pieces, and fill polygons by
rows.

The columns are a height map (dexel field): `top[iy, ix]` is the height of column
(x0 + ix px, y0 + iy py), mm, X running fastest. A column under a piece of path is lowered to the
lowest height that any point of the cutter reaches over it. That height is exact for flat, ball and
bull end mills, on the level and on ramps: it is solved, not found by stamping the cutter at steps
along the piece. With u the place along the piece, v across it, m the slope and q the distance along
from the column to the tip, it is the minimum over q of z(u + q) + rise(hypot(v, q)), where `rise`
is the tool profile z(r); the sum is convex in q. Geometry by elementary calculus, no source needed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit
from corepath.stock.contact_kernels import (
    Underside,
    bull_table,
    looked_up,
    lowest_offset,
    meets_at,
    rise,
)

__all__ = ["cut_pieces", "fill_polygon", "pieces_near"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]

# As a length (mm): a shorter piece goes straight down. As a slope: a lesser one falls by less than
# a millionth of a millimetre over a metre, far below the single precision of the columns.
_LEVEL = 1e-9


@njit(cache=True, inline="always")
def _row_span(
    y: float,
    ax: float,
    ay: float,
    dx: float,
    dy: float,
    side_x: float,
    side_y: float,
    radius: float,
) -> tuple[float, float]:
    """Return the stretch (low, high) of row `y` within `radius` of the piece from a along d.

    low > high where no point of the row lies so near. `side` is the vector of length `radius` at
    right angles to the piece (0 where the piece is straight down).
    """
    low, high = 1e300, -1e300
    # The swept area is a stadium: two discs about the ends and a rectangle between them. It is
    # convex, so a row meets it in one stretch, whose ends lie on a disc or on a long side.
    away = radius * radius - (y - ay) * (y - ay)
    if away >= 0.0:
        w = math.sqrt(away)
        low, high = ax - w, ax + w
    away = radius * radius - (y - ay - dy) * (y - ay - dy)
    if away >= 0.0:
        w = math.sqrt(away)
        low, high = min(low, ax + dx - w), max(high, ax + dx + w)
    # A piece along the row has long sides that never cross it; there the discs alone bound it.
    if dy != 0.0:
        for sign in (-1.0, 1.0):
            share = (y - ay - sign * side_y) / dy
            if 0.0 <= share <= 1.0:
                x = ax + sign * side_x + dx * share
                low, high = min(low, x), max(high, x)
    return low, high


@njit(cache=True, inline="always")
def _around(top: Singles, x: float, y: float, circle: Floats) -> float:
    """Return the height of the highest column at the places `circle` (k, 2) about (x, y).

    Places are in columns, not in mm. Returns -1e9 where all of them lie outside the blank.
    """
    ny, nx = top.shape
    highest = -1e9
    for k in range(len(circle)):
        ix = math.floor(x + circle[k, 0])
        iy = math.floor(y + circle[k, 1])
        if 0 <= ix < nx and 0 <= iy < ny and top[iy, ix] > highest:
            highest = top[iy, ix]
    return highest


@njit(cache=True)
def _ahead(height: float, v: float, end: Underside) -> float:
    """Return how far ahead of the axis (mm) the edge meets material `height` above the tip, `v`
    beside the path."""
    reach = meets_at(height, end)
    return math.sqrt(max(reach * reach - v * v, 0.0))


@njit(cache=True, inline="always")
def _level_row(row: Singles, height: float) -> tuple[float, float, int]:
    """Lower a row of columns to `height`.

    Returns the sum of the lengths taken above the bed, the most taken from one column, and the
    index of that column.
    """
    taken, most, where = 0.0, 0.0, 0
    kept = np.float32(height)
    # Often an earlier piece has cut the row already. This loop has no branch and no sum, so it can
    # be vectorized; the loop below runs only where there is something to cut.
    higher = False
    for k in range(len(row)):
        higher |= row[k] > kept
    if not higher:
        return taken, most, where
    # Wood ends at the bed: what the cutter passes through below it is spoil board, not blank.
    least = max(height, 0.0)
    for k in range(len(row)):
        old = row[k]
        if old > kept:
            row[k] = kept
            taken += max(old - least, 0.0)
            if old - height > most:
                most, where = old - height, k
    return taken, most, where


@njit(cache=True)
def _share(x: float, ax: float, ux: float, ahead: float, length: float, count: int) -> int:
    """Return in which of `count` equal shares of a path along X from `ax`, `length` long, the edge,
    `ahead` of the axis, first meets a column at x; `ux` (1 or -1) is the way the path goes."""
    share = ((x - ax) * ux - ahead) / length
    return min(max(int(share * count), 0), count - 1)


@njit(cache=True)
def _level_shares(
    row: Singles, height: float, x0: float, px: float, py: float, begin: int, ax: float, ux: float,
    ahead: float, length: float, volume: Floats,
) -> tuple[float, int]:  # fmt: skip
    """Lower a row of columns to `height` under a level path along X; its first column is number
    `begin` of those that stand `px` apart from `x0` on.

    `volume` (k,) receives what is taken above the bed in each share, mm³; the rest is as for
    `_share`. Returns the most taken from one column, and its index.
    """
    most, where, count = 0.0, 0, len(volume)
    kept, last = np.float32(height), len(row) - 1
    higher = False
    for k in range(len(row)):
        higher |= row[k] > kept
    if not higher:
        return most, where
    least = max(height, 0.0)
    # Along the row the share only grows, or only shrinks: columns of one share lie side by side,
    # and only the last of them is looked for.
    wide = int(length / (count * px)) + 2
    first = 0
    while first <= last:
        share = _share(x0 + (begin + first) * px, ax, ux, ahead, length, count)
        low, high = first, min(first + wide, last)
        while low < high:
            if _share(x0 + (begin + high) * px, ax, ux, ahead, length, count) != share:
                break
            low, high = high, min(high + wide, last)
        # the column `low` is of this share, and none beyond `high`
        while low < high:
            middle = (low + high + 1) // 2
            if _share(x0 + (begin + middle) * px, ax, ux, ahead, length, count) == share:
                low = middle
            else:
                high = middle - 1
        taken = volume[share]
        for k in range(first, low + 1):
            old = row[k]
            if old > kept:
                row[k] = kept
                taken += max(old - least, 0.0) * px * py
                if old - height > most:
                    most, where = old - height, k
        volume[share] = taken
        first = low + 1
    return most, where


@njit(cache=True)
def _cut_piece(
    top: Singles, x0: float, y0: float, px: float, py: float, ax: float, ay: float, az: float,
    bx: float, by: float, bz: float, end: Underside, place: Floats, volume: Floats,
) -> float:  # fmt: skip
    """Lower the columns under the piece from a to b; return how far the deepest is lowered, mm.

    `place` (3,) receives the place of that column and its new height. `volume` (k,) receives the
    volume taken above the bed, mm³, in each of k equal shares of the path; a column counts in the
    share in which the edge first meets it.
    """
    ny, nx = top.shape
    radius, corner = end.radius, end.corner
    dx, dy = bx - ax, by - ay
    length = math.sqrt(dx * dx + dy * dy)
    lowest = min(az, bz)
    deepest = 0.0
    vertical = length <= _LEVEL
    ux, uy = (1.0, 0.0) if vertical else (dx / length, dy / length)
    m = 0.0 if vertical else (bz - az) / length
    level = vertical or abs(m) < _LEVEL
    beside = 0.0 if vertical else radius
    # 1e-9 of a column: a column exactly under the cutter's edge is cut, whatever the division's
    # rounding.
    iy_low = max(math.ceil((min(ay, by) - radius - y0) / py - 1e-9), 0)
    iy_high = min(math.floor((max(ay, by) + radius - y0) / py + 1e-9), ny - 1)
    # The contact offset q depends on v alone (one slope, one cutter). Along a piece parallel to X
    # all columns of a row have the same v, so q is solved once a row and not once a column.
    last_v, last_q = 1e300, 0.0
    # A bull's offset has no closed form. One table serves the whole piece; it is filled at the
    # first column that needs it, since a piece that cuts nothing needs none.
    bull = 0.0 < corner < radius and not level
    table = np.empty(0, np.float64)
    # Compared in single precision, as the columns are stored: rounded up, a column that was cut to
    # this very height would seem to stand above it and would be worked out again.
    kept, each = np.float32(lowest), 1.0 / px
    # With one share only the sum of the volume is asked, and a row may be lowered as a whole.
    whole = vertical or len(volume) == 1
    low_x, low_y = (ax, ay) if az <= bz else (bx, by)
    # A flat end mill meets all that stands above it at its radius, so along X the columns of a row
    # differ by their places alone.
    along = az == bz and uy == 0.0 and corner <= 0.0 and end.steep == math.inf and not whole
    for iy in range(iy_low, iy_high + 1):
        y = y0 + iy * py
        low, high = _row_span(y, ax, ay, dx, dy, -uy * beside, ux * beside, radius)
        if low > high:
            continue
        ix_low = max(math.ceil((low - x0) * each - 1e-9), 0)
        ix_high = min(math.floor((high - x0) * each + 1e-9), nx - 1)
        if ix_low > ix_high:
            continue
        flat_low, flat_high = ix_high + 1, ix_high
        if corner <= 0.0 and whole:
            # Under a flat end mill the columns of the disc at the piece's lower end all end at that
            # height, and on the level so do all others: no geometry a column is needed for these.
            flat_low, flat_high = ix_low, ix_high
            if not level:
                # w = -px: the disc does not meet this row, and the stretch comes out empty.
                d = radius * radius - (y - low_y) * (y - low_y)
                w = math.sqrt(d) if d >= 0.0 else -px
                flat_low = min(max(math.ceil((low_x - w - x0) * each), ix_low), ix_high + 1)
                flat_high = max(min(math.floor((low_x + w - x0) * each), ix_high), flat_low - 1)
            taken, most, k = _level_row(top[iy, flat_low : flat_high + 1], lowest)
            volume[0] += taken * px * py
            if most > deepest:
                deepest = most
                place[0], place[1], place[2] = x0 + (flat_low + k) * px, y, lowest
        elif along:
            flat_low, flat_high = ix_low, ix_high
            most, k = _level_shares(
                top[iy, ix_low : ix_high + 1], lowest, x0, px, py, ix_low, ax, ux,
                _ahead(0.0, (y - ay) * ux, end), length, volume,
            )  # fmt: skip
            if most > deepest:
                deepest = most
                place[0], place[1], place[2] = x0 + (flat_low + k) * px, y, lowest
        # The columns on either side of that disc, or the whole row, one by one.
        for first, last in ((ix_low, flat_low - 1), (flat_high + 1, ix_high)):
            for ix in range(first, last + 1):
                old = top[iy, ix]
                if old <= kept:
                    continue
                x = x0 + ix * px
                u = (x - ax) * ux + (y - ay) * uy
                v = (y - ay) * ux - (x - ax) * uy
                if vertical:
                    z = lowest + rise(math.sqrt(u * u + v * v), end)
                else:
                    q = 0.0
                    if not level:
                        if v != last_v:
                            last_v, beside_v = v, min(abs(v), radius)
                            if not bull:
                                last_q = lowest_offset(beside_v, m, end)
                            else:
                                if len(table) == 0:
                                    table = bull_table(abs(m), end)
                                last_q = math.copysign(looked_up(table, beside_v, abs(m), end), -m)
                        q = last_q
                    # The sum is convex in q: where its minimum lies beyond an end of the piece, the
                    # nearer end is the lowest that the piece reaches.
                    at = min(max(u + q, 0.0), length)
                    q = at - u
                    z = az + m * at
                    if corner > 0.0:
                        z += rise(math.sqrt(v * v + q * q), end)
                if z < old:
                    top[iy, ix] = z
                    # The edge takes a column before the axis is over it: a share belongs to where
                    # the axis stands when the edge first meets the column.
                    share = 0.0
                    if not whole:
                        share = (u - _ahead(old - az - m * u, v, end)) / length
                    bin = min(max(int(share * len(volume)), 0), len(volume) - 1)
                    volume[bin] += max(old - max(z, 0.0), 0.0) * px * py
                    if old - z > deepest:
                        deepest = old - z
                        place[0], place[1], place[2] = x, y, z
    return deepest


@njit(cache=True)
def _over(
    a: float, b: float, least: float, most: float, low: float, high: float
) -> tuple[float, float]:
    """Clip the part `low` to `high` (shares of the path from a to b) to where the coordinate lies
    between `least` and `most`; returns the two shares, equal where nothing is left."""
    if a == b:
        return (low, high) if least <= a <= most else (low, low)
    one, other = (least - a) / (b - a), (most - a) / (b - a)
    first, last = max(low, min(one, other)), min(high, max(one, other))
    return (first, last) if first <= last else (low, low)


@njit(cache=True)
def cut_pieces(
    top: Singles, x0: float, y0: float, px: float, py: float, lower: Floats, upper: Floats,
    owner: Ints,
    end: Underside, removed: Floats, where: Floats, deep: Floats, first: Ints, volume: Floats,
    highest: float,
) -> None:  # fmt: skip
    """Cut the pieces from `lower` to `upper` (m, 3) in order; `owner` (m,) is the motion of each.

    Lowers `top` in place, and sets for each motion: `removed` (n,) how far the deepest column was
    lowered, `where` (n, 3) at which place, `deep` (n,) how far the tip stood below the stock around
    it (columns at the radius and one column outside it). `volume` (k,) receives what each share of
    the path takes above the bed, mm³; the shares of piece i begin at `first[i]`, (m + 1,).
    `highest` is the height of the highest column before the first piece. Bed frame, mm.
    """
    place, radius = np.zeros(3, np.float64), end.radius
    ny, nx = top.shape
    reach = radius + 2.0 * max(px, py)
    # Sixteen places on a circle one column outside the cutter: the columns just outside the cut,
    # which this piece does not lower. 0.5 turns flooring into rounding to the nearest column.
    circle = np.empty((16, 2), np.float64)
    for k in range(16):
        angle = k * math.pi / 8.0
        circle[k, 0] = (radius + max(px, py)) * math.cos(angle) / px + 0.5
        circle[k, 1] = (radius + max(px, py)) * math.sin(angle) / py + 0.5
    for k in range(len(owner)):
        ax, ay, az = lower[k, 0], lower[k, 1], lower[k, 2]
        bx, by, bz = upper[k, 0], upper[k, 1], upper[k, 2]
        # Rapids and links above the stock cannot cut anything.
        if min(az, bz) >= highest:
            continue
        motion = owner[k]
        # The stock around is looked at every two diameters. A piece may lead far off the blank (a
        # wild coordinate in a file of any origin): only its part over the blank is walked.
        steps = max(int(math.sqrt((bx - ax) ** 2 + (by - ay) ** 2) / (4.0 * radius)), 1)
        low, high = _over(ax, bx, x0 - reach, x0 + px * (nx - 1) + reach, 0.0, 1.0)
        low, high = _over(ay, by, y0 - reach, y0 + py * (ny - 1) + reach, low, high)
        for s in range(math.floor(low * steps), min(math.ceil(high * steps), steps) + 1):
            t = s / steps
            z = az + (bz - az) * t
            stock = _around(
                top, (ax + (bx - ax) * t - x0) / px, (ay + (by - ay) * t - y0) / py, circle
            )
            if stock - z > deep[motion]:
                deep[motion] = stock - z
        cut = _cut_piece(top, x0, y0, px, py, ax, ay, az, bx, by, bz, end, place,
                         volume[first[k] : first[k + 1]])  # fmt: skip
        if cut > removed[motion]:
            removed[motion] = cut
            where[motion, 0], where[motion, 1], where[motion, 2] = place[0], place[1], place[2]
        # The look around may miss material between its steps and places; what was cut here stood
        # there for certain.
        if cut > deep[motion]:
            deep[motion] = cut


@njit(cache=True)
def pieces_near(
    lower: Floats, upper: Floats, count: int, x: float, y: float, half_x: float, half_y: float
) -> Ints:
    """Return the indices (k,) of those of the first `count` pieces, from `lower` to `upper` (n, 3),
    whose bounding box meets the box of `half_x` and `half_y` about (x, y), mm, in order."""
    found = np.empty(count, np.int64)
    size = 0
    for k in range(count):
        ax, bx, ay, by = lower[k, 0], upper[k, 0], lower[k, 1], upper[k, 1]
        if max(ax, bx) < x - half_x or min(ax, bx) > x + half_x:
            continue
        if max(ay, by) < y - half_y or min(ay, by) > y + half_y:
            continue
        found[size] = k
        size += 1
    return found[:size].copy()


@njit(cache=True, inline="always")
def _sort(values: Floats) -> None:
    """Sort in place by insertion: a row crosses few edges, and this compiles fast."""
    for k in range(1, len(values)):
        value = values[k]
        at = k
        while at > 0 and values[at - 1] > value:
            values[at] = values[at - 1]
            at -= 1
        values[at] = value


@njit(cache=True)
def fill_polygon(
    mask: NDArray[np.bool_], x0: float, y0: float, px: float, py: float, edges: Floats
) -> None:
    """Set the columns that lie inside closed rings, by the even-odd rule (a scan-line fill).

    `mask` [iy, ix] is changed in place; `edges` (k, 4) are x1, y1, x2, y2 of all rings. A column on
    an edge may count as inside or outside.
    """
    ny, nx = mask.shape
    # First pass: how many edges cross each row, so that the crossings of all rows fit in one array.
    # ceil on both ends makes the span half open: a row through a vertex crosses one of the two
    # edges that meet there, and level edges cross no row. The number of crossings stays even.
    count = np.zeros(ny + 1, np.int64)
    for e in range(len(edges)):
        y1, y2 = min(edges[e, 1], edges[e, 3]), max(edges[e, 1], edges[e, 3])
        for iy in range(max(math.ceil((y1 - y0) / py), 0), min(math.ceil((y2 - y0) / py), ny)):
            count[iy + 1] += 1
    # not by numpy's sum, for which numba loads its linear algebra, and with it scipy's
    first = np.zeros(ny + 1, np.int64)
    for iy in range(ny):
        first[iy + 1] = first[iy] + count[iy + 1]
    # Second pass: where they cross it.
    crossing = np.empty(first[ny], np.float64)
    filled = first[:ny].copy()
    for e in range(len(edges)):
        y1, y2 = min(edges[e, 1], edges[e, 3]), max(edges[e, 1], edges[e, 3])
        for iy in range(max(math.ceil((y1 - y0) / py), 0), min(math.ceil((y2 - y0) / py), ny)):
            y = y0 + iy * py
            share = (y - edges[e, 1]) / (edges[e, 3] - edges[e, 1])
            crossing[filled[iy]] = edges[e, 0] + (edges[e, 2] - edges[e, 0]) * share
            filled[iy] += 1
    # Third pass: between each odd crossing and the next even one a row lies inside.
    for iy in range(ny):
        row = crossing[first[iy] : first[iy + 1]]
        _sort(row)
        for k in range(0, len(row) - 1, 2):
            ix_low = max(math.ceil((row[k] - x0) / px), 0)
            ix_high = min(math.ceil((row[k + 1] - x0) / px), nx)
            for ix in range(ix_low, ix_high):
                mask[iy, ix] = True
