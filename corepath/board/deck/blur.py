"""Compiled loops that soften the edge of a form, so that the deck meets it without a crease.

A form's *weight* is its indicator (1 inside, 0 outside) averaged by the round kernel (1 -
r²/a²)^(5/2), a being its radius. Across a straight edge the average is (1 - s²)³ integrated, which
is the smoothstep of degree 7; round a corner it has no crease either, since three derivatives are
continuous wherever the kernel passes.

By Gauss's theorem the average is a sum over the form's edges: the kernel is the divergence of the
field g(r) (x, y), g(r) = (1 - (1 - r²/a²)^(7/2)) / (2 pi r²) within the kernel and 1 / (2 pi r²)
beyond, so an edge at the distance q from the place gives q times the integral of g along it. Beyond
the kernel that is an angle; within it the integrand is smooth, and 16 Gauss-Legendre places leave
less than 1e-6.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["blurred"]

Floats = NDArray[np.float64]

_AT, _SHARE = np.polynomial.legendre.leggauss(16)


@njit(cache=True, inline="always")
def _field(r2: float) -> float:
    """2 pi g at the squared distance `r2`, in kernel radii, within the kernel."""
    # Near the middle the difference from 1 loses its digits, 1e-16 / r2 of them. The series' first
    # term left out is 0.27 r2^3, 3e-13 at the switch, where the closed form errs by 1e-12.
    if r2 < 1e-4:
        return 3.5 - r2 * (4.375 - 2.1875 * r2)
    inner: float = (1.0 - (1.0 - min(r2, 1.0)) ** 3.5) / r2
    return inner


@njit(cache=True, inline="always")
def _edge(x1: float, y1: float, x2: float, y2: float, at: Floats, share: Floats) -> float:
    """2 pi times the part of one edge, ends in kernel radii from the place, the form to its
    left."""
    dx, dy = x2 - x1, y2 - y1
    length = math.sqrt(dx * dx + dy * dy)
    # No length in double precision: its integral is 0, and dividing by it would give NaN.
    if length < 1e-15:
        return 0.0
    # distance of the edge's line from the place, and where its ends lie along it
    q = (x1 * dy - y1 * dx) / length
    s1, s2 = (x1 * dx + y1 * dy) / length, (x2 * dx + y2 * dy) / length
    # seen end on, an edge adds nothing: the field runs along it
    if abs(q) < 1e-15:
        return 0.0
    half = math.sqrt(max(1.0 - q * q, 0.0))
    # the part of the edge within the kernel, a to b; beyond it an angle does
    a, b = min(max(s1, -half), s2), max(min(s2, half), s1)
    if half == 0.0 or a >= b:
        return (
            math.atan2(s2, q) - math.atan2(s1, q)
            if q > 0.0
            else math.atan2(s1, -q) - math.atan2(s2, -q)
        )
    total = 0.0
    for k in range(at.size):
        s = 0.5 * (a + b) + 0.5 * (b - a) * at[k]
        total += share[k] * _field(q * q + s * s)
    total *= 0.5 * (b - a) * q
    # the two parts beyond the kernel, if any; atan2 with q above 0 stays within half a turn
    sign = 1.0 if q > 0.0 else -1.0
    p = abs(q)
    total += sign * (math.atan2(a, p) - math.atan2(s1, p) + math.atan2(s2, p) - math.atan2(b, p))
    return total


@njit(cache=True)
def _blurred(
    edges: Floats, x: Floats, y: Floats, radius: float, at: Floats, share: Floats, out: Floats
) -> None:
    for k in range(x.size):
        total = 0.0
        for e in range(edges.shape[0]):
            total += _edge(
                (edges[e, 0] - x[k]) / radius, (edges[e, 1] - y[k]) / radius,
                (edges[e, 2] - x[k]) / radius, (edges[e, 3] - y[k]) / radius, at, share,
            )  # fmt: skip
        out[k] = min(max(total / (2.0 * math.pi), 0.0), 1.0)


def blurred(edges: Floats, x: Floats, y: Floats, radius: float) -> Floats:
    """Returns the weights (n,), 0 to 1, of a form at the places `x`, `y` (n,), mm.

    `edges` (m, 4) are (x1, y1, x2, y2) with the form to the left of each; `radius` is the kernel's.
    """
    out = np.empty(x.size)
    _blurred(edges, x, y, radius, _AT, _SHARE, out)
    return out
