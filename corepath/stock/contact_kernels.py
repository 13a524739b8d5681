"""Compiled: the tool profile z(r), and the contact offset of a cutter over a column on a ramp.

The read-back has a profile of its own, apart from the planner's, because it checks the planner; no
other module of the read-back knows the form of a cutter's end. `v` is the distance of the column
beside the path and q the distance along the path from the column to the tip, positive ahead; all in
mm. Elementary calculus, no source needed.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit
from corepath.motion.cutter import Cutter

__all__ = [
    "Underside",
    "bull_table",
    "looked_up",
    "lowest_offset",
    "meets_at",
    "rise",
    "underside_of",
]

Floats = NDArray[np.float64]

# A table of this many parts over the radius is close enough for one step of Newton's method nearly
# everywhere; where it is not (at the rim and at the flat's edge) `looked_up` searches instead.
_NODES = 64
_SMALL_GAIN = 1e-4
"""mm: a step of Newton's method that changes the height by less than this is the last one.

Convergence is quadratic, so what is left after such a step is far smaller than the step: a test
holds the heights to 0.00002 mm of a full search."""


class Underside(NamedTuple):
    """Form of a cutter's end, mm: its radius, its corner radius (flat: 0, ball: the radius) and the
    radius of its level part.

    A flank that is a cone leaves the corner at `bend` beyond the level part and climbs by `steep`
    from there on; both are infinite where there is none.
    """

    radius: float
    corner: float
    flat: float
    bend: float = math.inf
    steep: float = math.inf


def underside_of(cutter: Cutter) -> Underside:
    """Return the form of the end of a cutter."""
    corner = cutter.corner_radius
    flat = cutter.diameter / 2.0 - corner
    if cutter.taper_angle == 0.0:
        return Underside(cutter.radius, corner, flat)
    side = math.radians(cutter.taper_angle)
    bend, steep = corner * math.cos(side), 1.0 / math.tan(side)
    return Underside(cutter.radius, corner, flat, bend, steep)


@njit(cache=True)
def _cone_base(end: Underside) -> float:
    """Height over the tip at which a flank that is a cone begins, mm."""
    return end.corner - math.sqrt(end.corner * end.corner - end.bend * end.bend)


@njit(cache=True)
def _bull_offset(v: float, slope: float, end: Underside) -> float:
    """Find the q in [0, w], w = sqrt(radius² - v²), at which rise(hypot(v, q)) begins to climb more
    steeply than `slope` (>= 0), for a bull."""
    radius, corner = end.radius, end.corner
    flat = end.flat
    # Over the flat the profile does not climb: the answer lies on the corner's part of the line.
    low = 0.0
    if abs(v) < flat:
        low = math.sqrt(flat * flat - v * v)
    high = math.sqrt(max(radius * radius - v * v, 0.0))
    # Bisection: the slope of the profile grows from 0 to infinity along the line, so there is one
    # crossing, and no start can lead away from it. 1e-7 mm ends it after about 26 halvings for a
    # 12 mm cutter; 60 only bounds the loop.
    for _ in range(60):
        q = 0.5 * (low + high)
        d = math.sqrt(v * v + q * q)
        e = min(d - flat, end.bend)  # the flank goes on as steep as the corner ends
        under = corner * corner - e * e
        # At the rim the profile is vertical: steeper than any slope.
        if under <= 0.0:
            high = q
            continue
        # d rise / dq = rise'(d) * dd/dq, with rise'(d) = e / sqrt(corner² - e²) and dd/dq = q / d.
        if e / math.sqrt(under) * q / max(d, 1e-12) > slope:
            high = q
        else:
            low = q
        if high - low < 1e-7:
            break
    return 0.5 * (low + high)


@njit(cache=True, inline="always")
def bull_table(slope: float, end: Underside) -> Floats:
    """Return `_bull_offset` at `_NODES` + 1 equally spaced v from 0 to the radius, for one
    slope."""
    table = np.empty(_NODES + 1, np.float64)
    for k in range(_NODES + 1):
        table[k] = _bull_offset(end.radius * k / _NODES, slope, end)
    return table


@njit(cache=True, inline="always")
def looked_up(table: Floats, v: float, slope: float, end: Underside) -> float:
    """Return `_bull_offset` at `v` (0 to the radius) from its table and one step of Newton's
    method, or by a full search where that step is not small enough."""
    radius, corner = end.radius, end.corner
    at = v * _NODES / radius
    k = min(int(at), _NODES - 1)
    q = table[k] + (table[k + 1] - table[k]) * (at - k)
    flat = end.flat
    inner = math.sqrt(max(flat * flat - v * v, 0.0))
    # Interpolated, q may lie over the flat, where the slope of the profile is 0 and its derivative
    # says nothing of the corner: begin no nearer than the edge of the flat.
    q = max(q, inner)
    d = math.sqrt(v * v + q * q)
    e = max(d - flat, 0.0)
    under = corner * corner - e * e
    if d > 0.0 and under > 0.0 and e < end.bend:
        # f(q) = steep * cos - slope is to be 0; bend is its derivative, d²rise/dq².
        steep, cos = e / math.sqrt(under), q / d
        bend = (
            cos * cos * corner * corner / (under * math.sqrt(under)) + steep * (1.0 - cos * cos) / d
        )
        step = (slope - steep * cos) / bend if bend > 0.0 else 1e300
        # Near its minimum the height is a parabola: a step changes it by bend * step² / 2.
        if bend * step * step <= _SMALL_GAIN:
            return float(min(max(q + step, inner), math.sqrt(max(radius * radius - v * v, 0.0))))
    return float(_bull_offset(v, slope, end))


@njit(cache=True)
def lowest_offset(v: float, m: float, end: Underside) -> float:
    """Return the q in [-w, w], w = sqrt(radius² - v²), that minimizes m q + rise(hypot(v, q)).

    `m` is the slope of the path; where it climbs (m > 0) the lowest contact lies behind (q <= 0).
    """
    radius, corner = end.radius, end.corner
    # On the ball of a tapered one, if that is where it is least.
    if end.flat == 0.0 and abs(v) < end.bend < math.inf:
        q = -m * math.sqrt((corner * corner - v * v) / (1.0 + m * m))
        if v * v + q * q <= end.bend * end.bend:
            return q
    if 0.0 < corner < radius:
        q = _bull_offset(v, abs(m), end)
        return -q if m > 0.0 else q
    w = math.sqrt(max(radius * radius - v * v, 0.0))
    # Flat: the underside is level, so the lower edge of the disc decides.
    if corner <= 0.0:
        return -w if m > 0.0 else w
    # Ball: across the line it is a circle of radius w, touched where its slope is -m.
    return -m * w / math.sqrt(1.0 + m * m)


@njit(cache=True)
def rise(distance: float, end: Underside) -> float:
    """Return the tool profile z(r): height of the underside over the tip at `distance` from the
    axis, mm."""
    corner = end.corner
    e = distance - end.flat
    if e <= 0.0 or corner <= 0.0:
        return 0.0
    if e > end.bend:
        return _cone_base(end) + (e - end.bend) * end.steep
    return corner - math.sqrt(max(corner * corner - e * e, 0.0))


@njit(cache=True, inline="always")
def meets_at(height: float, end: Underside) -> float:
    """Return the distance from the axis (mm) at which the edge meets material that stands `height`
    above the tip: the inverse of `rise`, and the radius above the corner."""
    radius, corner = end.radius, end.corner
    if end.steep < math.inf and height > _cone_base(end):
        return min(end.flat + end.bend + (height - _cone_base(end)) / end.steep, radius)
    if 0.0 < height < corner:
        return end.flat + math.sqrt(height * (2.0 * corner - height))
    return radius
