"""Contour lines of a height field over a grid, mm."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.polylines import length

__all__ = ["contour", "inner_levels"]

Grid = NDArray[np.float64]

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
    from contourpy import contour_generator

    found = [np.asarray(line) for line in contour_generator(xs, ys, heights.T).lines(level)]
    # Rounded keys: the order of equal lines must not depend on the last bit of a sum.
    return sorted(found, key=lambda line: (-round(length(line), 3), *np.round(line[0], 3).tolist()))
