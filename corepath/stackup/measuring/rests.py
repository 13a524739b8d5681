"""Planes that a bent, rigid raw top may rest on when it is laid face down, and their uncertainty.

A rigid blank rests on three of its highest places, with the point where it is pressed down (its
weight, the holding round it) inside their triangle. Every such plane lies on or above the whole raw
top, and as low as possible over the middle. A twisted raw top has two of them: it rests on two
opposite corners and on either of the others, so it rocks; one that is highest in its middle rolls.
Where the map of the raw top may be wrong by e, the plane may pass higher over the middle by the
error of a difference between two places, e √2, and tilt about the middle until another place
touches: that is the slack below. The slack is never more than the raw top, as measured, stands off:
figures that show no bend are no evidence of one.

With the height over the middle given, the possible slopes form a convex polygon, one half-plane for
every place of the raw top, and how far the raw top stands off a place is largest at a corner of
that polygon. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Planes", "Rests", "off", "rests"]

Floats = NDArray[np.float64]
Planes = tuple[tuple[float, float, float], ...]
"""For each plane: level over the middle (mm), slope along X, slope along Y"""

_PLANE = 1e-6
"""mm out of plane below which a raw top counts as a plane: above the noise of the linear program
(its tolerance is 1e-7), far below what a gauge reads."""

_TOUCHES = 1e-4
"""mm within which a place touches. Also the least slack: without any the polygon of slopes may
shrink to a point or a line, and then has no inside from which Qhull can start."""


@dataclass(frozen=True, slots=True)
class Rests:
    """The planes that a raw top may rest on; at each place the highest of them counts."""

    as_measured: Planes
    at_most: Planes
    """With the error of the map"""


def rests(x: Floats, y: Floats, top: Floats, error: float) -> Rests:
    """Return all rests of a raw top, known within ± `error` (mm); none for a plane.

    `top` (n,) is its height at places `x`, `y` (n,), mm, from the middle of the blank, which must
    lie on all sides of that middle: only then are the slopes bounded.
    """
    lowest = _lowest_over_the_middle(x, y, top)
    if lowest is None or off((lowest,), x, y, top).max() < _PLANE:
        return Rests((), ())
    as_measured = _planes(lowest, x, y, top, _TOUCHES)
    slack = min(math.sqrt(2.0) * error, float(off(as_measured, x, y, top).max()))
    return Rests(as_measured, _planes(lowest, x, y, top, max(slack, _TOUCHES)))


def off(planes: Planes, x: ArrayLike, y: ArrayLike, top: Floats) -> Floats:
    """Return how far the highest of `planes` (at least one) lies above the raw top, mm, 0 at least.

    `top` is its height at `x`, `y`, mm; shapes broadcast together.
    """
    each = [
        level + along * np.asarray(x) + across * np.asarray(y) for level, along, across in planes
    ]
    return np.asarray(np.maximum(np.max(each, axis=0) - top, 0.0))


def _lowest_over_the_middle(x: Floats, y: Floats, top: Floats) -> tuple[float, float, float] | None:
    """Return one plane on or above the raw top that is as low as possible over the middle."""
    from scipy.optimize import linprog

    # Linear program: minimise the level, subject to level + slopes . place >= top at every place.
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
    """Return the planes at the corners of the polygon of slopes.

    All lie on or above the raw top and pass the middle `slack` (mm) higher than `lowest`.
    """
    from scipy.spatial import HalfspaceIntersection

    # Raised by the slack, the lowest plane clears every place: its slopes are inside the polygon.
    level = lowest[0] + slack
    inside = np.array(lowest[1:])
    # The place in the middle limits the level but no slope; its row would be 0 0 | c.
    away = np.hypot(x, y) > 0.0
    half_planes = np.column_stack([-x, -y, top - level])[away]
    # Slopes are heights over hundreds of mm. Multiplied by the size of the blank they are as large
    # as heights, so that Qhull works with numbers of one order.
    size = float(np.abs(half_planes[:, :2]).max())
    half_planes[:, :2] /= size
    slopes = HalfspaceIntersection(half_planes, inside * size).intersections / size
    return tuple((level, float(along), float(across)) for along, across in slopes)
