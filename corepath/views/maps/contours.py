"""Contour lines of a height field, by marching squares over its grid, mm."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.geometry.polylines import length

__all__ = ["contour", "inner_levels"]

Grid = NDArray[np.float64]
Index = NDArray[np.intp]
Node = tuple[Index, Index]

# The two sides of a cell that the line joins, by the corners that lie above it (00, 10, 11, 01 as
# bits 1, 2, 4, 8). Sides: 0 from corner 00 to 10, 1 from 10 to 11, 2 from 01 to 11, 3 from 00 to
# 01. In a saddle (5 and 10) the two corners above are always cut off, never joined: which of them
# is right is not known from four corners, and on a fine grid it cannot be seen.
_SIDES: dict[int, tuple[tuple[int, int], ...]] = {
    1: ((3, 0),), 2: ((0, 1),), 3: ((3, 1),), 4: ((1, 2),), 5: ((3, 0), (1, 2)), 6: ((0, 2),),
    7: ((3, 2),),
    8: ((2, 3),), 9: ((2, 0),), 10: ((0, 1), (2, 3)), 11: ((2, 1),), 12: ((1, 3),), 13: ((1, 0),),
    14: ((0, 3),),
}  # fmt: skip


_CLEAR = 0.02
"""share of a step by which a level keeps away from both ends. An even edge band is flat only up to
the rounding of the surface: a contour line at its height would wander all over it."""


def inner_levels(low: float, high: float, step: float) -> range:
    """Return all whole k for which the level k · step lies clear of `low` and `high`.

    >>> list(inner_levels(4.9999, 8.0001, 0.5))
    [11, 12, 13, 14, 15]
    """
    return range(math.floor(low / step + _CLEAR) + 1, math.ceil(high / step - _CLEAR))


def contour(xs: Grid, ys: Grid, heights: Grid, level: float) -> list[Grid]:
    """Return the lines (n, 2) where `heights[ix, iy]` passes `level`, longest first.

    A line is straight within each cell. It ends at the edge of the grid: for closed areas the grid
    needs a rim of low values.
    """
    above = heights > level
    code = above[:-1, :-1] * 1 + above[1:, :-1] * 2 + above[1:, 1:] * 4 + above[:-1, 1:] * 8
    segments = []
    for value, pairs in _SIDES.items():
        ix, iy = np.nonzero(code == value)
        if len(ix) == 0:
            continue
        for a, b in pairs:
            ends = [_passes(xs, ys, heights, level, *_corners(ix, iy, s)) for s in (a, b)]
            segments.append(np.stack(ends, axis=1))
    if not segments:
        return []
    # Two cells compute a point on their common side in different orders; rounded to a nanometre it
    # is the same for both, and the segments can be joined by their ends.
    lines = shapely.linestrings(np.round(np.concatenate(segments), 6))
    merged = shapely.line_merge(shapely.multilinestrings(lines))
    parts = shapely.get_parts(merged)
    curves = [np.asarray(part.coords) for part in parts]
    # Rounded keys: the order of equal lines must not depend on the last bit of a sum.
    return sorted(
        curves, key=lambda line: (-round(length(line), 3), *np.round(line[0], 3).tolist())
    )


def _corners(ix: Index, iy: Index, side: int) -> tuple[Node, Node]:
    """Return the nodes at both ends of a side of cells (n,)."""
    ax, ay, bx, by = {0: (0, 0, 1, 0), 1: (1, 0, 1, 1), 2: (0, 1, 1, 1), 3: (0, 0, 0, 1)}[side]
    return (ix + ax, iy + ay), (ix + bx, iy + by)


def _passes(xs: Grid, ys: Grid, heights: Grid, level: float, one: Node, other: Node) -> Grid:
    """Return the places (n, 2) between two nodes each where the heights pass `level`."""
    low, high = heights[one], heights[other]
    share = (level - low) / (high - low)
    x = xs[one[0]] + share * (xs[other[0]] - xs[one[0]])
    y = ys[one[1]] + share * (ys[other[1]] - ys[one[1]])
    return np.stack([x, y], axis=1)
