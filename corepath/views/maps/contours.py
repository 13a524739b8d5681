"""Contour lines of the deck, by marching squares over its grid, mm."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.geometry.polylines import length

__all__ = ["contour", "inner_levels"]

Grid = NDArray[np.float64]

# Which two sides of a cell the line joins, by which corners (00, 10, 11, 01 as bits 1, 2, 4, 8) lie
# above. Sides: 0 from corner 00 to 10, 1 from 10 to 11, 2 from 01 to 11, 3 from 00 to 01.
_SIDES: dict[int, tuple[tuple[int, int], ...]] = {
    1: ((3, 0),), 2: ((0, 1),), 3: ((3, 1),), 4: ((1, 2),), 5: ((3, 0), (1, 2)), 6: ((0, 2),),
    7: ((3, 2),),
    8: ((2, 3),), 9: ((2, 0),), 10: ((0, 1), (2, 3)), 11: ((2, 1),), 12: ((1, 3),), 13: ((1, 0),),
    14: ((0, 3),),
}  # fmt: skip


_CLEAR = 0.02
"""share of a step by which a level keeps off the ends: a level edge band is flat only within a
surface's error"""


def inner_levels(low: float, high: float, step: float) -> range:
    """Whole k whose level k · step lies clear of `low` and `high`.

    >>> list(inner_levels(4.9999, 8.0001, 0.5))
    [11, 12, 13, 14, 15]
    """
    return range(math.floor(low / step + _CLEAR) + 1, math.ceil(high / step - _CLEAR))


def contour(xs: Grid, ys: Grid, heights: Grid, level: float) -> list[Grid]:
    """Lines (n, 2) where `heights[ix, iy]` passes `level`, longest first; straight between the
    grid's lines."""
    above = heights > level
    code = above[:-1, :-1] * 1 + above[1:, :-1] * 2 + above[1:, 1:] * 4 + above[:-1, 1:] * 8
    segments = []
    for value, pairs in _SIDES.items():
        ix, iy = np.nonzero(code == value)
        if len(ix) == 0:
            continue
        for a, b in pairs:
            segments.append(
                np.stack([_on_side(xs, ys, heights, level, ix, iy, s) for s in (a, b)], axis=1)
            )
    if not segments:
        return []
    lines = shapely.linestrings(np.round(np.concatenate(segments), 6))
    merged = shapely.line_merge(shapely.multilinestrings(lines))
    parts = shapely.get_parts(merged)
    curves = [np.asarray(part.coords) for part in parts]
    return sorted(
        curves, key=lambda line: (-round(length(line), 3), *np.round(line[0], 3).tolist())
    )


def _on_side(
    xs: Grid,
    ys: Grid,
    heights: Grid,
    level: float,
    ix: NDArray[np.intp],
    iy: NDArray[np.intp],
    side: int,
) -> Grid:
    ax, ay, bx, by = {0: (0, 0, 1, 0), 1: (1, 0, 1, 1), 2: (0, 1, 1, 1), 3: (0, 0, 0, 1)}[side]
    low, high = heights[ix + ax, iy + ay], heights[ix + bx, iy + by]
    share = (level - low) / (high - low)
    x = xs[ix + ax] + share * (xs[ix + bx] - xs[ix + ax])
    y = ys[iy + ay] + share * (ys[iy + by] - ys[iy + ay])
    return np.stack([x, y], axis=1)
