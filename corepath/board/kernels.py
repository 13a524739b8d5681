"""Compiled loops of the deck: evaluation of a uniform bicubic B-spline.

The *coefficients* c[i, j] belong to nodes of a square grid of `step` mm whose node [2, 2] lies at
(x0, y0): two rows of padding stand round the grid. A place beyond the nodes has the level `edge`.
Each evaluator fills flat arrays and returns nothing; `eval_one` serves other compiled loops.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["eval_gradient", "eval_hessian", "eval_many", "eval_one"]

Floats = NDArray[np.float64]


@njit(cache=True)
def _value(t: float) -> tuple[float, float, float, float]:
    s = 1.0 - t
    return (
        s * s * s / 6.0,
        (4.0 + t * t * (3.0 * t - 6.0)) / 6.0,
        (4.0 + s * s * (3.0 * s - 6.0)) / 6.0,
        t * t * t / 6.0,
    )


@njit(cache=True)
def _slope(t: float) -> tuple[float, float, float, float]:
    s = 1.0 - t
    return -0.5 * s * s, 0.5 * t * (3.0 * t - 4.0), -0.5 * s * (3.0 * s - 4.0), 0.5 * t * t


@njit(cache=True)
def _bend(t: float) -> tuple[float, float, float, float]:
    return 1.0 - t, 3.0 * t - 2.0, 1.0 - 3.0 * t, t


@njit(cache=True)
def _sum(c: Floats, i: int, j: int, a: tuple[float, ...], b: tuple[float, ...]) -> float:
    p = a[0] * c[i, j] + a[1] * c[i + 1, j] + a[2] * c[i + 2, j] + a[3] * c[i + 3, j]
    q = a[0] * c[i, j + 1] + a[1] * c[i + 1, j + 1] + a[2] * c[i + 2, j + 1] + a[3] * c[i + 3, j + 1]
    r = a[0] * c[i, j + 2] + a[1] * c[i + 1, j + 2] + a[2] * c[i + 2, j + 2] + a[3] * c[i + 3, j + 2]
    s = a[0] * c[i, j + 3] + a[1] * c[i + 1, j + 3] + a[2] * c[i + 2, j + 3] + a[3] * c[i + 3, j + 3]
    total: float = b[0] * p + b[1] * q + b[2] * r + b[3] * s
    return total


@njit(cache=True)
def eval_one(c: Floats, x0: float, y0: float, step: float, edge: float, x: float, y: float) -> float:
    """Height at one place."""
    u = (x - x0) / step
    v = (y - y0) / step
    if not (0.0 <= u <= c.shape[0] - 5.0 and 0.0 <= v <= c.shape[1] - 5.0):
        return edge
    i = min(math.floor(u), c.shape[0] - 6)
    j = min(math.floor(v), c.shape[1] - 6)
    return _sum(c, i + 1, j + 1, _value(u - i), _value(v - j))


@njit(cache=True)
def eval_many(c: Floats, x0: float, y0: float, step: float, edge: float, x: Floats, y: Floats, out: Floats) -> None:
    """Heights at flat arrays of places."""
    for k in range(x.size):
        out[k] = eval_one(c, x0, y0, step, edge, x[k], y[k])


@njit(cache=True)
def eval_gradient(c: Floats, x0: float, y0: float, step: float, x: Floats, y: Floats, hx: Floats, hy: Floats) -> None:
    """First derivatives at flat arrays of places; 0 beyond the grid."""
    for k in range(x.size):
        u = (x[k] - x0) / step
        v = (y[k] - y0) / step
        if not (0.0 <= u <= c.shape[0] - 5.0 and 0.0 <= v <= c.shape[1] - 5.0):
            hx[k] = 0.0
            hy[k] = 0.0
            continue
        i = min(math.floor(u), c.shape[0] - 6)
        j = min(math.floor(v), c.shape[1] - 6)
        hx[k] = _sum(c, i + 1, j + 1, _slope(u - i), _value(v - j)) / step
        hy[k] = _sum(c, i + 1, j + 1, _value(u - i), _slope(v - j)) / step


@njit(cache=True)
def eval_hessian(c: Floats, x0: float, y0: float, step: float, x: Floats, y: Floats, out: Floats) -> None:
    """Second derivatives hxx, hxy, hyy into `out` (3, n); 0 beyond the grid."""
    for k in range(x.size):
        u = (x[k] - x0) / step
        v = (y[k] - y0) / step
        if not (0.0 <= u <= c.shape[0] - 5.0 and 0.0 <= v <= c.shape[1] - 5.0):
            out[:, k] = 0.0
            continue
        i = min(math.floor(u), c.shape[0] - 6)
        j = min(math.floor(v), c.shape[1] - 6)
        a, b = u - i, v - j
        out[0, k] = _sum(c, i + 1, j + 1, _bend(a), _value(b)) / step**2
        out[1, k] = _sum(c, i + 1, j + 1, _slope(a), _slope(b)) / step**2
        out[2, k] = _sum(c, i + 1, j + 1, _value(a), _bend(b)) / step**2
