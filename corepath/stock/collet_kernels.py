"""Compiled loop that follows the collet over the columns, as they stand when each piece is cut.

Collet and nut are a disc about the axis, `out` above the tip. They go ahead of the edges: what a
piece cuts away stands in their way until the edges have been there. Lengths in mm, bed frame;
columns as in `column_kernels`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit
from corepath.stock.column_kernels import cut_pieces
from corepath.stock.contact_kernels import Underside

__all__ = ["collet_meets"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]


@njit(cache=True, inline="always")
def _stands_in(
    top: Singles, x0: float, y0: float, px: float, py: float, a: Floats, b: Floats, inner: float,
    outer: float,
) -> float:  # fmt: skip
    """Return how high columns stand above the disc of radius `outer` on its way from a to b (3,),
    those within `inner` of a left out; 0 where none does."""
    ny, nx = top.shape
    dx, dy, dz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    length = math.sqrt(dx * dx + dy * dy)
    ux, uy = (dx / length, dy / length) if length > 0.0 else (1.0, 0.0)
    most = 0.0
    iy_low = max(math.ceil((min(a[1], b[1]) - outer - y0) / py), 0)
    iy_high = min(math.floor((max(a[1], b[1]) + outer - y0) / py), ny - 1)
    ix_low = max(math.ceil((min(a[0], b[0]) - outer - x0) / px), 0)
    ix_high = min(math.floor((max(a[0], b[0]) + outer - x0) / px), nx - 1)
    for iy in range(iy_low, iy_high + 1):
        y = y0 + iy * py - a[1]
        for ix in range(ix_low, ix_high + 1):
            if top[iy, ix] - min(a[2], b[2]) <= most:
                continue
            x = x0 + ix * px - a[0]
            if x * x + y * y <= inner * inner:
                continue
            # The disc is over this column from `first` to `last` along the way, and lowest at one
            # end of that.
            u, v = x * ux + y * uy, y * ux - x * uy
            half = outer * outer - v * v
            if half < 0.0:
                continue
            w = math.sqrt(half)
            first, last = max(u - w, 0.0), min(u + w, length)
            if first > last:
                continue
            z = min(a[2], b[2])
            if length > 0.0:
                z = a[2] + dz / length * (last if dz < 0.0 else first)
            most = max(most, top[iy, ix] - z)
    return most


@njit(cache=True)
def collet_meets(
    top: Singles, x0: float, y0: float, px: float, py: float, lower: Floats, upper: Floats,
    end: Underside, out: float, radius: float,
) -> Floats:  # fmt: skip
    """Return how high stock stands above the lower face of the collet along each of the pieces from
    `lower` to `upper` (m, 3), (m,); 0 where it is clear.

    The collet has `radius` and stands `out` above the tip. `top` [iy, ix] is the height map before
    the first piece, and is cut in place.
    """
    count = len(lower)
    met = np.zeros(count, np.float64)
    none, place, first = (
        np.zeros(count, np.int64),
        np.zeros((1, 3), np.float64),
        np.arange(count + 1),
    )
    volume, removed, deep = (
        np.zeros(count, np.float64),
        np.zeros(1, np.float64),
        np.zeros(1, np.float64),
    )
    highest = float(top.max())
    done = 0
    face = np.array([0.0, 0.0, out])
    for k in range(count):
        if min(lower[k, 2], upper[k, 2]) + out >= highest:
            continue
        # All before this piece is cut in one go.
        cut_pieces(top, x0, y0, px, py, lower[done:k], upper[done:k], none[done:k], end, removed,
                   place, deep, first[: k - done + 1], volume, highest)  # fmt: skip
        done = k
        met[k] = _stands_in(
            top, x0, y0, px, py, lower[k] + face, upper[k] + face, end.radius, radius
        )
    return met
