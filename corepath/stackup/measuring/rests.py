"""Planes that a bent, rigid raw top may rest on when it is laid face down, and how sure they are.

A rigid blank rests on three of its highest places, with the middle of what presses it down (its
weight, the holding round it) inside their triangle. Every such plane passes over all of the raw
top, and over the middle as low as it can. A raw top with a twist has two at once: it rests on two
opposite corners and on either of the others, so it rocks; one that is hollow (in the middle
highest) rolls. Where the map of the raw top may be out by e, a plane may stand higher over the
middle by the error of a difference between two places of it, e √2, and tilt about the middle until
another place touches: that is the slack below. No more slack is given than the raw top, as it was
measured, stands off: figures that show no bend tell of none.

With the height over the middle given, the planes are a convex polygon of slopes, one half-plane for
every place of the raw top; how far it stands off somewhere is largest at a corner of that polygon.
Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Planes", "Rests", "off", "rests"]

Floats = NDArray[np.float64]
Planes = tuple[tuple[float, float, float], ...]
"""Level over the middle, slope along X, slope along Y, each"""

_PLANE = 1e-6
"""mm out of plane below which a raw top is a plane."""

_TOUCHES = 1e-4
"""mm within which a place touches."""


@dataclass(frozen=True, slots=True)
class Rests:
    """Planes over a raw top, of which the highest counts at each place."""

    as_measured: Planes
    at_most: Planes
    """With the error of the map"""


def rests(x: Floats, y: Floats, top: Floats, error: float) -> Rests:
    """All rests of a raw top `top` (n,) over places `x`, `y` (n,) on all sides of the middle, known
    within ± `error`.

    A raw top that is a plane has none.
    """
    lowest = _lowest_over_the_middle(x, y, top)
    if lowest is None or off((lowest,), x, y, top).max() < _PLANE:
        return Rests((), ())
    as_measured = _planes(lowest, x, y, top, _TOUCHES)
    slack = min(math.sqrt(2.0) * error, float(off(as_measured, x, y, top).max()))
    return Rests(as_measured, _planes(lowest, x, y, top, max(slack, _TOUCHES)))


def off(planes: Planes, x: ArrayLike, y: ArrayLike, top: Floats) -> Floats:
    """How far the highest of `planes` (one at least) lies above a raw top `top` at `x`, `y`; never
    less than 0."""
    each = [
        level + along * np.asarray(x) + across * np.asarray(y) for level, along, across in planes
    ]
    return np.asarray(np.maximum(np.max(each, axis=0) - top, 0.0))


def _lowest_over_the_middle(x: Floats, y: Floats, top: Floats) -> tuple[float, float, float] | None:
    """One plane over the raw top, as low as can be over the middle; a linear programme."""
    from scipy.optimize import linprog

    over = -np.column_stack([np.ones(len(x)), x, y])
    solved = linprog(
        [1.0, 0.0, 0.0], A_ub=over, b_ub=-top, bounds=[(None, None)] * 3, method="highs"
    )
    return (
        None if solved.x is None else (float(solved.x[0]), float(solved.x[1]), float(solved.x[2]))
    )


def _planes(
    lowest: tuple[float, float, float], x: Floats, y: Floats, top: Floats, slack: float
) -> Planes:
    """Corners of the polygon of slopes of planes over the raw top that pass `slack` over the lowest
    at the middle."""
    from scipy.spatial import HalfspaceIntersection

    level = lowest[0] + slack
    inside = np.array(lowest[1:])
    away = np.hypot(x, y) > 0.0  # the place in the middle bounds no slope
    half_planes = np.column_stack([-x, -y, top - level])[away]
    # slopes over the blank's size are as large as heights
    size = float(np.abs(half_planes[:, :2]).max())
    half_planes[:, :2] /= size
    slopes = HalfspaceIntersection(half_planes, inside * size).intersections / size
    return tuple((level, float(along), float(across)) for along, across in slopes)
