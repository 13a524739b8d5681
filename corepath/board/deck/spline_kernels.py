"""The height field h(x, y) in compiled form: a bicubic B-spline, its gradient and curvature.

The evaluator of the compiled loops of the paths. `DeckSurface`, which the read-back asks too since
the deck is what it judges by, has the same in numpy: `corepath.board.deck.spline_values`.

The *coefficients* `c` (n + 4, m + 4) belong to the nodes of a square grid, with two rows of padding
round it; `frame` is (x0, y0, step, edge), mm: the place of the grid's first node, which is c[2, 2],
the spacing, and the level beyond the nodes. `corepath.board.deck.spline_weights` has the weights.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck import spline_weights
from corepath.motion.compiled import njit

__all__ = ["height_at", "shape_at", "slope_at"]

Floats = NDArray[np.float64]
Four = tuple[float, float, float, float]
Six = tuple[float, float, float, float, float, float]


_value = njit(inline="always")(spline_weights.value)
_slope = njit(inline="always")(spline_weights.slope)
_bend = njit(inline="always")(spline_weights.bend)


@njit(cache=True)
def _cell(c: Floats, frame: Floats, x: float, y: float) -> tuple[int, int, float, float]:
    """First of the 4 x 4 coefficients and the place in the cell, 0 to 1; index -1 off the nodes."""
    u = (x - frame[0]) / frame[2]
    v = (y - frame[1]) / frame[2]
    columns, rows = c.shape
    # n + 4 coefficients belong to n nodes, so the last node is number columns - 5. Written so that
    # NaN counts as off the nodes too.
    if not (0.0 <= u <= columns - 5.0 and 0.0 <= v <= rows - 5.0):
        return -1, -1, 0.0, 0.0
    # the last node belongs to the cell before it
    i = min(int(u), columns - 6)
    j = min(int(v), rows - 6)
    return i + 1, j + 1, u - i, v - j


@njit(cache=True)
def _along(c: Floats, i: int, j: int, a: Four) -> Four:
    """The four rows of the cell from row `j`, each weighted by `a` along X."""
    return (
        a[0] * c[i, j] + a[1] * c[i + 1, j] + a[2] * c[i + 2, j] + a[3] * c[i + 3, j],
        a[0] * c[i, j + 1]
        + a[1] * c[i + 1, j + 1]
        + a[2] * c[i + 2, j + 1]
        + a[3] * c[i + 3, j + 1],
        a[0] * c[i, j + 2]
        + a[1] * c[i + 1, j + 2]
        + a[2] * c[i + 2, j + 2]
        + a[3] * c[i + 3, j + 2],
        a[0] * c[i, j + 3]
        + a[1] * c[i + 1, j + 3]
        + a[2] * c[i + 2, j + 3]
        + a[3] * c[i + 3, j + 3],
    )


@njit(cache=True)
def _dot(b: Four, rows: Four) -> float:
    return b[0] * rows[0] + b[1] * rows[1] + b[2] * rows[2] + b[3] * rows[3]


@njit(cache=True)
def height_at(c: Floats, frame: Floats, x: float, y: float) -> float:
    """Returns h (mm) at one place; the edge level beyond the nodes."""
    i, j, s, t = _cell(c, frame, x, y)
    if i < 0:
        return float(frame[3])
    return _dot(_value(t), _along(c, i, j, _value(s)))


@njit(cache=True)
def slope_at(c: Floats, frame: Floats, x: float, y: float) -> tuple[float, float, float]:
    """Returns h (mm), hx and hy at one place; level beyond the nodes."""
    i, j, s, t = _cell(c, frame, x, y)
    if i < 0:
        return float(frame[3]), 0.0, 0.0
    value, rows, w = _value(t), _along(c, i, j, _value(s)), 1.0 / frame[2]
    return _dot(value, rows), _dot(value, _along(c, i, j, _slope(s))) * w, _dot(_slope(t), rows) * w


@njit(cache=True)
def shape_at(c: Floats, frame: Floats, x: float, y: float) -> Six:
    """Returns h (mm), hx, hy, and hxx, hxy, hyy (1/mm) at one place; level beyond the nodes."""
    i, j, s, t = _cell(c, frame, x, y)
    if i < 0:
        return float(frame[3]), 0.0, 0.0, 0.0, 0.0, 0.0
    # weights are per cell: each derivative costs one division by the step
    value, slope, bend = _value(t), _slope(t), _bend(t)
    rows, tilts = _along(c, i, j, _value(s)), _along(c, i, j, _slope(s))
    w = 1.0 / frame[2]
    return (
        _dot(value, rows),
        _dot(value, tilts) * w,
        _dot(slope, rows) * w,
        _dot(value, _along(c, i, j, _bend(s))) * w * w,
        _dot(slope, tilts) * w * w,
        _dot(bend, rows) * w * w,
    )
