"""Compiled loops of the exact proof: the least height that swept cutters leave at scattered points.

Points are sorted into square cells of side `cell` from (x0, y0): those of cell [iy, ix] run from
first[iy nx + ix] to before the next entry. For a piece of path the height left at a point is the
minimum of z(t) + rise(distance) over the piece, `rise` being the tool profile; it is convex in t,
so it is solved and not sampled (see `corepath.stock.contact_kernels`). In mm, Z up from the bed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit
from corepath.stock.contact_kernels import Underside, lowest_offset, rise

__all__ = ["sweep_points"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Slope below which a piece is level: over a metre it falls by 1e-6 mm.
_LEVEL = 1e-9


@njit(cache=True, inline="always")
def _left(
    x: float, y: float, ax: float, ay: float, az: float, ux: float, uy: float, m: float,
    length: float,
    end: Underside, best: float,
) -> float:  # fmt: skip
    """Return the height that one piece leaves at (x, y), or any value of at least `best` where it
    does not go below that."""
    radius = end.radius
    u = (x - ax) * ux + (y - ay) * uy
    v = abs((y - ay) * ux - (x - ax) * uy)
    if v > radius:
        return best
    w = math.sqrt(radius * radius - v * v)
    low, high = max(u - w, 0.0), min(u + w, length)
    # The underside is nowhere lower than the tip: where the tip stays above `best`, so does the
    # whole cutter.
    if low > high or az + min(m * low, m * high) >= best:
        return best
    # A tapered ball is so wide that most pieces pass by with their steep flank: nothing lies lower
    # than its height straight beside the way.
    if end.steep < math.inf and az + min(m * low, m * high) + rise(v, end) >= best:
        return best
    q = 0.0
    if abs(m) > _LEVEL:
        q = lowest_offset(v, m, end)
    at = min(max(u + q, low), high)
    return az + m * at + rise(math.sqrt(v * v + (at - u) * (at - u)), end)


@njit(cache=True)
def sweep_points(
    px: Floats, py: Floats, first: Ints, x0: float, y0: float, cell: float, nx: int, ny: int,
    lower: Floats,
    upper: Floats, end: Underside, left: Floats, by: Ints, tag: Ints, until: Ints,
) -> None:  # fmt: skip
    """Lower `left` (n,) at the points under each piece from `lower` to `upper` (m, 3), and note the
    piece's `tag` (m,) in `by` (n,).

    `px`, `py` (n,) are the points, sorted by cell with `first`, x0, y0, cell, nx, ny (see above). A
    point is lowered by those pieces only whose tag is less than its `until` (n,).
    """
    radius = end.radius
    for k in range(len(tag)):
        ax, ay, az = lower[k, 0], lower[k, 1], lower[k, 2]
        dx, dy, dz = upper[k, 0] - ax, upper[k, 1] - ay, upper[k, 2] - az
        length = math.sqrt(dx * dx + dy * dy)
        ux, uy, m = 1.0, 0.0, 0.0
        if length > _LEVEL:
            ux, uy, m = dx / length, dy / length, dz / length
        else:  # straight down: where it ends
            az, length = min(az, az + dz), 0.0
        # The box of a long slanting piece holds mostly cells that the cutter never comes near. Cut
        # into parts about as long as the cutter is wide, the boxes hug the path. A point in two
        # boxes is solved twice against the whole piece, with the same result.
        chunks = max(int(length / (2.0 * radius + cell)), 1)
        # Most points lie below all of the piece: they need no more than this one comparison.
        lowest = az + min(0.0, m * length)
        for c in range(chunks):
            t0, t1 = length * c / chunks, length * (c + 1) / chunks
            xa, xb, ya, yb = ax + ux * t0, ax + ux * t1, ay + uy * t0, ay + uy * t1
            ix0 = max(math.floor((min(xa, xb) - radius - x0) / cell), 0)
            ix1 = min(math.floor((max(xa, xb) + radius - x0) / cell), nx - 1)
            iy0 = max(math.floor((min(ya, yb) - radius - y0) / cell), 0)
            iy1 = min(math.floor((max(ya, yb) + radius - y0) / cell), ny - 1)
            if ix0 > ix1:
                continue
            for iy in range(iy0, iy1 + 1):
                for i in range(first[iy * nx + ix0], first[iy * nx + ix1 + 1]):
                    if lowest >= left[i] or tag[k] >= until[i]:
                        continue
                    z = _left(px[i], py[i], ax, ay, az, ux, uy, m, length, end, left[i])
                    if z < left[i]:
                        left[i] = z
                        by[i] = tag[k]
