"""Compiled loops that look down on a mesh: at each place the heights at which a vertical line meets
its faces.

`faces` (n, 3, 3) are the corners of the faces, mm. Faces are found through square *cells* in X and
Y: those of the cell k are `members[first[k]:first[k + 1]]`. An edge belongs to both of its faces,
so a line through it is never lost.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.errors import Fault, InputError
from corepath.motion.compiled import njit

__all__ = ["Cells", "cells_of", "look_down"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_MOST = 64  # surfaces told apart under one place; three are a fold already
_MOST_MEMBERS = 1e8  # faces counted once for each cell that they may touch
_SAME = 1e-4  # mm: hits closer than this are one, at an edge or where faces lie on one another


@njit(cache=True)
def _box(
    faces: Floats, k: int, x0: float, y0: float, cell: float, nx: int, ny: int
) -> tuple[int, int, int, int]:
    a = math.floor((min(faces[k, 0, 0], faces[k, 1, 0], faces[k, 2, 0]) - x0) / cell)
    b = math.floor((max(faces[k, 0, 0], faces[k, 1, 0], faces[k, 2, 0]) - x0) / cell)
    c = math.floor((min(faces[k, 0, 1], faces[k, 1, 1], faces[k, 2, 1]) - y0) / cell)
    d = math.floor((max(faces[k, 0, 1], faces[k, 1, 1], faces[k, 2, 1]) - y0) / cell)
    return max(a, 0), min(b, nx - 1), max(c, 0), min(d, ny - 1)


@njit(cache=True)
def _count(faces: Floats, x0: float, y0: float, cell: float, nx: int, ny: int, first: Ints) -> None:
    for k in range(faces.shape[0]):
        a, b, c, d = _box(faces, k, x0, y0, cell, nx, ny)
        for i in range(a, b + 1):
            for j in range(c, d + 1):
                first[i * ny + j + 1] += 1
    for n in range(1, first.size):
        first[n] += first[n - 1]


@njit(cache=True)
def _fill(
    faces: Floats, x0: float, y0: float, cell: float, nx: int, ny: int, at: Ints, members: Ints
) -> None:
    for k in range(faces.shape[0]):
        a, b, c, d = _box(faces, k, x0, y0, cell, nx, ny)
        for i in range(a, b + 1):
            for j in range(c, d + 1):
                members[at[i * ny + j]] = k
                at[i * ny + j] += 1


@njit(cache=True, inline="always")
def _hit(faces: Floats, k: int, x: float, y: float) -> tuple[float, float]:
    """Height at which the vertical line through (x, y) meets the face `k`, NaN if it does not, and
    twice the face's area seen from above, below 0 where its front looks down.

    a, b, c are twice the areas of the place with each side: the shares of the corners' heights.
    """
    x1, y1, z1 = faces[k, 0, 0] - x, faces[k, 0, 1] - y, faces[k, 0, 2]
    x2, y2, z2 = faces[k, 1, 0] - x, faces[k, 1, 1] - y, faces[k, 1, 2]
    x3, y3, z3 = faces[k, 2, 0] - x, faces[k, 2, 1] - y, faces[k, 2, 2]
    a, b, c = x2 * y3 - x3 * y2, x3 * y1 - x1 * y3, x1 * y2 - x2 * y1
    area = a + b + c
    longest = max(
        (x2 - x1) ** 2 + (y2 - y1) ** 2,
        (x3 - x2) ** 2 + (y3 - y2) ** 2,
        (x1 - x3) ** 2 + (y1 - y3) ** 2,
    )
    # an upright face is a line from above: its area is rounding alone, and so would its shares be
    if abs(area) <= 1e-12 * longest or longest == 0.0:
        return math.nan, 0.0
    # a place on an edge shall meet both of its faces, whatever rounding does; equal heights are
    # counted once by the caller
    slack = -1e-9 * abs(area)
    sign = 1.0 if area > 0.0 else -1.0
    if a * sign < slack or b * sign < slack or c * sign < slack:
        return math.nan, area
    return (a * z1 + b * z2 + c * z3) / area, area


@njit(cache=True)
def _look(
    faces: Floats, first: Ints, members: Ints, x0: float, y0: float, cell: float, nx: int, ny: int,
    x: Floats, y: Floats, top: Floats, second: Floats, layers: Ints, face: Ints,
) -> None:  # fmt: skip
    heights = np.empty(_MOST, np.float64)
    for n in range(x.size):
        top[n], second[n], layers[n], face[n] = math.nan, math.nan, 0, -1
        i, j = math.floor((x[n] - x0) / cell), math.floor((y[n] - y0) / cell)
        if i < 0 or j < 0 or i >= nx or j >= ny:
            continue
        found = 0
        best = -math.inf
        for m in range(first[i * ny + j], first[i * ny + j + 1]):
            z = _hit(faces, members[m], x[n], y[n])[0]
            if math.isnan(z):
                continue
            if z > best:
                best = z
                face[n] = members[m]
            # the same surface met again, in the next face at an edge, is not another layer
            fresh = True
            for q in range(found):
                if abs(heights[q] - z) <= _SAME:
                    fresh = False
                    break
            if fresh and found < _MOST:
                heights[found] = z
                found += 1
        layers[n] = found
        if found:
            top[n] = best
            under = -math.inf
            for q in range(found):
                if heights[q] < best - _SAME:
                    under = max(under, heights[q])
            if under > -math.inf:
                second[n] = under


class Cells:
    """Holds `faces` (n, 3, 3) sorted into square cells of `cell` mm; see the module.

    Two passes, one that counts and one that fills, so that the lists are one array.
    """

    __slots__ = ("cell", "faces", "first", "members", "nx", "ny", "x0", "y0")

    def __init__(self, faces: Floats, cell: float) -> None:
        self.faces = np.ascontiguousarray(faces, dtype=float)
        low, high = self.faces[:, :, :2].min(axis=(0, 1)), self.faces[:, :, :2].max(axis=(0, 1))
        self.cell = cell
        # 1e-6 mm beyond all faces, so that a point on the outermost edge falls into a cell.
        self.x0, self.y0 = float(low[0]) - 1e-6, float(low[1]) - 1e-6
        self.nx = math.floor((float(high[0]) + 2e-6 - self.x0) / cell) + 1
        self.ny = math.floor((float(high[1]) + 2e-6 - self.y0) / cell) + 1
        self.first = np.zeros(self.nx * self.ny + 1, dtype=np.int64)
        _count(self.faces, self.x0, self.y0, cell, self.nx, self.ny, self.first)
        self.members = np.empty(int(self.first[-1]), dtype=np.int64)
        _fill(
            self.faces,
            self.x0,
            self.y0,
            cell,
            self.nx,
            self.ny,
            self.first[:-1].copy(),
            self.members,
        )


def cells_of(faces: Floats) -> Cells:
    """Returns `faces` (n, 3, 3), mm, in cells about as large as a face, so that neither the cells
    nor their lists grow without bound.

    Raises InputError where so many faces lie over one another that they would.
    """
    # 1e-9 mm: a mesh without width would divide by 0.
    span = np.ptp(faces[:, :, :2].reshape(-1, 2), axis=0) + 1e-9
    # a cell holds about one face; never below half of the grid's step, nor more than 4000 to a side
    cell = max(0.5, math.sqrt(float(span[0] * span[1]) / len(faces)), float(span.max()) / 4000.0)
    cell = min(cell, 20.0) if float(span.max()) < 40_000.0 else cell
    # cells that each face may touch, counted before any list is made
    across = np.ptp(faces[:, :, :2], axis=1) // cell + 2.0
    if float((across[:, 0] * across[:, 1]).sum()) > _MOST_MEMBERS:
        says = "the faces of the mesh lie over one another in great numbers"
        raise InputError(
            [Fault("deck.mesh", says, f"{len(faces)} faces", "a surface of faces side by side")]
        )
    return Cells(faces, cell)


def look_down(cells: Cells, x: Floats, y: Floats) -> tuple[Floats, Floats, Ints, Ints]:
    """At `x`, `y` (n,): the highest of the faces met (NaN for none), the next one below, how many,
    and which face."""
    top, second = np.empty(x.size), np.empty(x.size)
    layers, face = np.empty(x.size, dtype=np.int64), np.empty(x.size, dtype=np.int64)
    _look(
        cells.faces, cells.first, cells.members, cells.x0, cells.y0, cells.cell, cells.nx, cells.ny,
        np.ascontiguousarray(x, dtype=float), np.ascontiguousarray(y, dtype=float), top, second,
            layers, face,
    )  # fmt: skip
    return top, second, layers, face
