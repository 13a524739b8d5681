"""Compiled loops of the virtual blank: cut columns along straight pieces, and fill polygons by
rows.

`top[iy, ix]` is the height of column (x0 + ix px, y0 + iy py), mm, X running fastest. A column
under a piece of path is lowered to the lowest height that any point of the cutter reaches over it:
exact for flat, ball and bull on level ground and ramps, no stamping. With u the place along the
piece, v across it, m the slope and q the distance along from the column to the tip, that height is
min over q of z(u + q) + rise(hypot(v, q)), a convex function of q. Geometry by elementary calculus,
no source needed.
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

_LEVEL = 1e-9


@njit(cache=True)
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
    """The stretch of row y within `radius` of the piece from a along d, as (low, high); low > high
    where none.

    `side` is the vector of length `radius` square to the piece (0 where that is straight down):
    discs about both ends and the two edges beside the piece bound all that lies near it.
    """
    low, high = 1e300, -1e300
    away = radius * radius - (y - ay) * (y - ay)
    if away >= 0.0:
        w = math.sqrt(away)
        low, high = ax - w, ax + w
    away = radius * radius - (y - ay - dy) * (y - ay - dy)
    if away >= 0.0:
        w = math.sqrt(away)
        low, high = min(low, ax + dx - w), max(high, ax + dx + w)
    if dy != 0.0:
        for sign in (-1.0, 1.0):
            share = (y - ay - sign * side_y) / dy
            if 0.0 <= share <= 1.0:
                x = ax + sign * side_x + dx * share
                low, high = min(low, x), max(high, x)
    return low, high


@njit(cache=True)
def _around(top: Singles, x: float, y: float, circle: Floats) -> float:
    """Highest of the columns that hold the places `circle` (k, 2) from (x, y), in columns; -1e9
    where none does."""
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
    """How far ahead of the axis the edge meets material `height` above the tip, `v` beside the
    way."""
    reach = meets_at(height, end)
    return math.sqrt(max(reach * reach - v * v, 0.0))


@njit(cache=True)
def _level_row(row: Singles, height: float) -> tuple[float, float, int]:
    """Lower a row of columns to a height: lengths above the bed taken, the most of one, which
    one."""
    taken, most, where = 0.0, 0.0, 0
    kept = np.float32(height)
    higher = False
    for k in range(len(row)):
        higher |= row[k] > kept
    if not higher:
        return taken, most, where
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
def _cut_piece(
    top: Singles, x0: float, y0: float, px: float, py: float, ax: float, ay: float, az: float,
    bx: float, by: float, bz: float, end: Underside, place: Floats, volume: Floats,
) -> float:  # fmt: skip
    """Lower the columns under one piece; the depth of the deepest, its place in `place`.

    A flat lowers all that lies under it at the piece's lower end to that end, which needs no
    geometry. `volume` (k,): what is lowered above the bed, mm³, by k equal shares of the way in
    which the edge first meets it.
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
    iy_low = max(math.ceil((min(ay, by) - radius - y0) / py - 1e-9), 0)
    iy_high = min(math.floor((max(ay, by) + radius - y0) / py + 1e-9), ny - 1)
    last_v, last_q = 1e300, 0.0
    bull = 0.0 < corner < radius and not level
    table = np.empty(0)
    kept, each = np.float32(lowest), 1.0 / px
    whole = vertical or len(volume) == 1
    low_x, low_y = (ax, ay) if az <= bz else (bx, by)
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
            flat_low, flat_high = ix_low, ix_high
            if not level:
                d = radius * radius - (y - low_y) * (y - low_y)
                w = math.sqrt(d) if d >= 0.0 else -px
                flat_low = min(max(math.ceil((low_x - w - x0) * each), ix_low), ix_high + 1)
                flat_high = max(min(math.floor((low_x + w - x0) * each), ix_high), flat_low - 1)
            taken, most, k = _level_row(top[iy, flat_low : flat_high + 1], lowest)
            volume[0] += taken * px * py
            if most > deepest:
                deepest = most
                place[0], place[1], place[2] = x0 + (flat_low + k) * px, y, lowest
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
                    at = min(max(u + q, 0.0), length)
                    q = at - u
                    z = az + m * at
                    if corner > 0.0:
                        z += rise(math.sqrt(v * v + q * q), end)
                if z < old:
                    top[iy, ix] = z
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
    """The stretch of the way from a to b that lies from `least` to `most`, within `low` to `high`:
    shares of it."""
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
    """Cut all pieces in order and note, for each motion that owns them (`highest` is the highest
    column at first):

    `removed` (n,) the deepest that a column was lowered, `where` (n, 3) at which place, `deep` (n,)
    how far the tip stood below the stock around it (columns at the radius and one column outside
    it). `volume` (k,) is what each share of the way takes above the bed, mm³; those of a piece
    begin at `first` (m + 1,).
    """
    place, radius = np.zeros(3), end.radius
    ny, nx = top.shape
    reach = radius + 2.0 * max(px, py)
    circle = np.empty((16, 2))
    for k in range(16):
        angle = k * math.pi / 8.0
        circle[k, 0] = (radius + max(px, py)) * math.cos(angle) / px + 0.5
        circle[k, 1] = (radius + max(px, py)) * math.sin(angle) / py + 0.5
    for k in range(len(owner)):
        ax, ay, az = lower[k, 0], lower[k, 1], lower[k, 2]
        bx, by, bz = upper[k, 0], upper[k, 1], upper[k, 2]
        if min(az, bz) >= highest:
            continue
        motion = owner[k]
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
        if cut > deep[motion]:
            deep[motion] = cut


@njit(cache=True)
def pieces_near(
    lower: Floats, upper: Floats, count: int, x: float, y: float, half_x: float, half_y: float
) -> Ints:
    """Which of the first `count` pieces have a box that meets the box about (x, y), in their
    order."""
    found = np.empty(count, dtype=np.int64)
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


@njit(cache=True)
def _sort(values: Floats) -> None:
    """Insertion sort in place: a row crosses few edges, and this compiles fast."""
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
    """Set the columns that lie inside closed rings, by the even-odd rule.

    `edges` (k, 4) are x1, y1, x2, y2 of all rings. A column on an edge may fall either way.
    """
    ny, nx = mask.shape
    count = np.zeros(ny + 1, dtype=np.int64)
    for e in range(len(edges)):
        y1, y2 = min(edges[e, 1], edges[e, 3]), max(edges[e, 1], edges[e, 3])
        for iy in range(max(math.ceil((y1 - y0) / py), 0), min(math.ceil((y2 - y0) / py), ny)):
            count[iy + 1] += 1
    first = np.cumsum(count)
    crossing = np.empty(first[ny])
    filled = first[:ny].copy()
    for e in range(len(edges)):
        y1, y2 = min(edges[e, 1], edges[e, 3]), max(edges[e, 1], edges[e, 3])
        for iy in range(max(math.ceil((y1 - y0) / py), 0), min(math.ceil((y2 - y0) / py), ny)):
            y = y0 + iy * py
            share = (y - edges[e, 1]) / (edges[e, 3] - edges[e, 1])
            crossing[filled[iy]] = edges[e, 0] + (edges[e, 2] - edges[e, 0]) * share
            filled[iy] += 1
    for iy in range(ny):
        row = crossing[first[iy] : first[iy + 1]]
        _sort(row)
        for k in range(0, len(row) - 1, 2):
            ix_low = max(math.ceil((row[k] - x0) / px), 0)
            ix_high = min(math.ceil((row[k + 1] - x0) / px), nx)
            for ix in range(ix_low, ix_high):
                mask[iy, ix] = True
