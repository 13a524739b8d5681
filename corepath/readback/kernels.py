"""Compiled loops of the virtual blank: cut columns along straight pieces, and fill polygons by rows.

`top[iy, ix]` is the height of column (x0 + ix px, y0 + iy py), mm, X running fastest. A cutter is a
radius and a corner radius (flat: 0, ball: the radius). A column under a piece of path is lowered to
the lowest height that any point of the cutter reaches over it: exact for flat, ball and bull on level
ground and ramps, no stamping. With u the place along the piece, v across it, m the slope and q the
distance along from the column to the tip, that height is min over q of z(u + q) + rise(hypot(v, q)),
a convex function of q. Geometry by elementary calculus, no source needed.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["cut_pieces", "fill_polygon", "lowest_offset", "rise"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]

_LEVEL = 1e-9


@njit(cache=True)
def lowest_offset(v: float, m: float, radius: float, corner: float) -> float:
    """The q in [-w, w], w = sqrt(radius² - v²), where m q + rise(hypot(v, q)) is least (m > 0: q <= 0)."""
    w = math.sqrt(max(radius * radius - v * v, 0.0))
    if corner <= 0.0:
        return -w if m > 0.0 else w
    land = radius - corner
    if land <= 0.0:
        return -m * w / math.sqrt(1.0 + m * m)
    slope = abs(m)
    low = 0.0
    if abs(v) < land:
        low = math.sqrt(land * land - v * v)
    high = w
    for _ in range(60):
        q = 0.5 * (low + high)
        d = math.sqrt(v * v + q * q)
        e = d - land
        under = corner * corner - e * e
        if under <= 0.0:
            high = q
            continue
        if e / math.sqrt(under) * q / max(d, 1e-12) > slope:
            high = q
        else:
            low = q
        if high - low < 1e-7:
            break
    q = 0.5 * (low + high)
    return -q if m > 0.0 else q


@njit(cache=True)
def rise(distance: float, radius: float, corner: float) -> float:
    e = distance - (radius - corner)
    if e <= 0.0 or corner <= 0.0:
        return 0.0
    return corner - math.sqrt(max(corner * corner - e * e, 0.0))


@njit(cache=True)
def _row_span(y: float, ax: float, ay: float, bx: float, by: float, radius: float) -> tuple[float, float]:
    """The stretch of row y within `radius` of the piece a-b, as (low, high); low > high where none."""
    low, high = 1e300, -1e300
    d = radius * radius - (y - ay) * (y - ay)
    if d >= 0.0:
        w = math.sqrt(d)
        low, high = min(low, ax - w), max(high, ax + w)
    d = radius * radius - (y - by) * (y - by)
    if d >= 0.0:
        w = math.sqrt(d)
        low, high = min(low, bx - w), max(high, bx + w)
    dx, dy = bx - ax, by - ay
    length = math.sqrt(dx * dx + dy * dy)
    if length > _LEVEL:
        nx, ny = -dy / length * radius, dx / length * radius
        corner_x = (ax + nx, bx + nx, bx - nx, ax - nx)
        corner_y = (ay + ny, by + ny, by - ny, ay - ny)
        for k in range(4):
            x1, y1 = corner_x[k], corner_y[k]
            x2, y2 = corner_x[(k + 1) % 4], corner_y[(k + 1) % 4]
            if min(y1, y2) <= y <= max(y1, y2) and y1 != y2:
                x = x1 + (x2 - x1) * (y - y1) / (y2 - y1)
                low, high = min(low, x), max(high, x)
    return low, high


@njit(cache=True)
def _around(top: Singles, x0: float, y0: float, px: float, py: float, x: float, y: float, reach: float) -> float:
    """Highest of sixteen columns on a circle of radius `reach` about (x, y); -1e9 where all lie outside."""
    ny, nx = top.shape
    highest = -1e9
    for k in range(16):
        angle = k * math.pi / 8.0
        ix = math.floor((x + reach * math.cos(angle) - x0) / px + 0.5)
        iy = math.floor((y + reach * math.sin(angle) - y0) / py + 0.5)
        if 0 <= ix < nx and 0 <= iy < ny and top[iy, ix] > highest:
            highest = top[iy, ix]
    return highest


@njit(cache=True)
def _ahead(height: float, v: float, radius: float, corner: float) -> float:
    """How far ahead of the axis the edge meets material `height` above the tip, `v` beside the way."""
    reach = radius
    if 0.0 < height < corner:
        reach = radius - corner + math.sqrt(height * (2.0 * corner - height))
    return math.sqrt(max(reach * reach - v * v, 0.0))


@njit(cache=True)
def _cut_piece(
    top: Singles, x0: float, y0: float, px: float, py: float, ax: float, ay: float, az: float,
    bx: float, by: float, bz: float, radius: float, corner: float, place: Floats, volume: Floats,
) -> float:  # fmt: skip
    """Lower the columns under one piece; the depth of the deepest, its place in `place`.

    `volume` (k,): what is lowered above the bed, mm³, by k equal shares of the way in which the edge first meets it.
    """
    ny, nx = top.shape
    dx, dy = bx - ax, by - ay
    length = math.sqrt(dx * dx + dy * dy)
    lowest = min(az, bz)
    deepest = 0.0
    vertical = length <= _LEVEL
    ux, uy = (1.0, 0.0) if vertical else (dx / length, dy / length)
    m = 0.0 if vertical else (bz - az) / length
    level = vertical or abs(m) < _LEVEL
    iy_low = max(math.ceil((min(ay, by) - radius - y0) / py - 1e-9), 0)
    iy_high = min(math.floor((max(ay, by) + radius - y0) / py + 1e-9), ny - 1)
    last_v, last_q = 1e300, 0.0
    for iy in range(iy_low, iy_high + 1):
        y = y0 + iy * py
        low, high = _row_span(y, ax, ay, bx, by, radius)
        if low > high:
            continue
        ix_low = max(math.ceil((low - x0) / px - 1e-9), 0)
        ix_high = min(math.floor((high - x0) / px + 1e-9), nx - 1)
        for ix in range(ix_low, ix_high + 1):
            old = top[iy, ix]
            if old <= lowest:
                continue
            x = x0 + ix * px
            u = (x - ax) * ux + (y - ay) * uy
            v = (y - ay) * ux - (x - ax) * uy
            if vertical:
                z = lowest + rise(math.sqrt(u * u + v * v), radius, corner)
            else:
                q = 0.0
                if not level:
                    if v != last_v:
                        last_q = lowest_offset(min(abs(v), radius), m, radius, corner)
                        last_v = v
                    q = last_q
                at = min(max(u + q, 0.0), length)
                q = at - u
                z = az + m * at
                if corner > 0.0:
                    z += rise(math.sqrt(v * v + q * q), radius, corner)
            if z < old:
                top[iy, ix] = z
                share = 0.0
                if not vertical:
                    share = (u - _ahead(old - az - m * u, v, radius, corner)) / length
                bin = min(max(int(share * len(volume)), 0), len(volume) - 1)
                volume[bin] += max(old - max(z, 0.0), 0.0) * px * py
                if old - z > deepest:
                    deepest = old - z
                    place[0], place[1], place[2] = x, y, z
    return deepest


@njit(cache=True)
def _over(a: float, b: float, least: float, most: float, low: float, high: float) -> tuple[float, float]:
    """The stretch of the way from a to b that lies from `least` to `most`, within `low` to `high`: shares of it."""
    if a == b:
        return (low, high) if least <= a <= most else (low, low)
    one, other = (least - a) / (b - a), (most - a) / (b - a)
    first, last = max(low, min(one, other)), min(high, max(one, other))
    return (first, last) if first <= last else (low, low)


@njit(cache=True)
def cut_pieces(
    top: Singles, x0: float, y0: float, px: float, py: float, lower: Floats, upper: Floats, owner: Ints,
    radius: float, corner: float, removed: Floats, where: Floats, deep: Floats, first: Ints, volume: Floats,
) -> None:  # fmt: skip
    """Cut all pieces in order and note, for each motion that owns them:

    `removed` (n,) the deepest that a column was lowered, `where` (n, 3) at which place, `deep` (n,) how
    far the tip stood below the stock around it (columns at the radius and one column outside it).
    `volume` (k,) is what each share of the way takes above the bed, mm³; those of a piece begin at `first` (m + 1,).
    """
    place = np.zeros(3)
    ny, nx = top.shape
    reach = radius + 2.0 * max(px, py)
    highest = -1e9
    for iy in range(ny):
        for ix in range(nx):
            highest = max(highest, top[iy, ix])
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
            stock = _around(top, x0, y0, px, py, ax + (bx - ax) * t, ay + (by - ay) * t, radius + max(px, py))
            if stock - z > deep[motion]:
                deep[motion] = stock - z
        cut = _cut_piece(top, x0, y0, px, py, ax, ay, az, bx, by, bz, radius, corner, place,
                         volume[first[k] : first[k + 1]])  # fmt: skip
        if cut > removed[motion]:
            removed[motion] = cut
            where[motion, 0], where[motion, 1], where[motion, 2] = place[0], place[1], place[2]
        if cut > deep[motion]:
            deep[motion] = cut


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
def fill_polygon(mask: NDArray[np.bool_], x0: float, y0: float, px: float, py: float, edges: Floats) -> None:
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
