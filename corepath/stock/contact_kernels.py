"""Compiled: the underside of a cutter, and its lowest point over a column when it goes down a ramp.

The read-back's own profile, since it judges; no other module of it knows the form of a cutter's
end. `v` is the distance of the column beside the way, q that along it from the column to the tip,
positive ahead; all in mm. Elementary calculus, no source needed.
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

_NODES = 64
_SMALL_GAIN = 1e-4
"""mm of height that a step of Newton's method may at most be worth to be the last one."""


class Underside(NamedTuple):
    """Form of a cutter's end, mm: its radius and that of its corner (flat: 0, ball: the radius)."""

    radius: float
    corner: float


def underside_of(cutter: Cutter) -> Underside:
    """The form of the end of a cutter."""
    return Underside(cutter.radius, cutter.corner_radius)


@njit(cache=True)
def _bull_offset(v: float, slope: float, end: Underside) -> float:
    """The q in [0, w], w = sqrt(radius² - v²), where rise(hypot(v, q)) begins to climb more than
    `slope`."""
    radius, corner = end.radius, end.corner
    land = radius - corner
    low = 0.0
    if abs(v) < land:
        low = math.sqrt(land * land - v * v)
    high = math.sqrt(max(radius * radius - v * v, 0.0))
    for _ in range(60):
        q = 0.5 * (low + high)
        d = math.sqrt(v * v + q * q)
        e = d - land
        under = corner * corner - e * e
        if under <= 0.0:
            high = q
            continue
        if e / math.sqrt(under) * q / max(d, 1e-12) > slope:
            high = q
        else:
            low = q
        if high - low < 1e-7:
            break
    return 0.5 * (low + high)


@njit(cache=True)
def bull_table(slope: float, end: Underside) -> Floats:
    """`_bull_offset` at `_NODES` + 1 distances from 0 to the radius: one slope has one table."""
    table = np.empty(_NODES + 1)
    for k in range(_NODES + 1):
        table[k] = _bull_offset(end.radius * k / _NODES, slope, end)
    return table


@njit(cache=True)
def looked_up(table: Floats, v: float, slope: float, end: Underside) -> float:
    """`_bull_offset` from its table and one step of Newton's method; searched for where that step
    is no small one."""
    radius, corner = end.radius, end.corner
    at = v * _NODES / radius
    k = min(int(at), _NODES - 1)
    q = table[k] + (table[k + 1] - table[k]) * (at - k)
    land = radius - corner
    inner = math.sqrt(max(land * land - v * v, 0.0))
    q = max(q, inner)
    d = math.sqrt(v * v + q * q)
    e = max(d - land, 0.0)
    under = corner * corner - e * e
    if d > 0.0 and under > 0.0:
        steep, cos = e / math.sqrt(under), q / d
        bend = (
            cos * cos * corner * corner / (under * math.sqrt(under)) + steep * (1.0 - cos * cos) / d
        )
        step = (slope - steep * cos) / bend if bend > 0.0 else 1e300
        if bend * step * step <= _SMALL_GAIN:
            return float(min(max(q + step, inner), math.sqrt(max(radius * radius - v * v, 0.0))))
    return float(_bull_offset(v, slope, end))


@njit(cache=True)
def lowest_offset(v: float, m: float, end: Underside) -> float:
    """The q in [-w, w], w = sqrt(radius² - v²), where m q + rise(hypot(v, q)) is least (m > 0: q <=
    0)."""
    radius, corner = end.radius, end.corner
    if 0.0 < corner < radius:
        q = _bull_offset(v, abs(m), end)
        return -q if m > 0.0 else q
    w = math.sqrt(max(radius * radius - v * v, 0.0))
    if corner <= 0.0:
        return -w if m > 0.0 else w
    return -m * w / math.sqrt(1.0 + m * m)


@njit(cache=True)
def rise(distance: float, end: Underside) -> float:
    """Height of the underside over the tip at `distance` from the axis, mm."""
    radius, corner = end.radius, end.corner
    e = distance - (radius - corner)
    if e <= 0.0 or corner <= 0.0:
        return 0.0
    return corner - math.sqrt(max(corner * corner - e * e, 0.0))


@njit(cache=True)
def meets_at(height: float, end: Underside) -> float:
    """Radius at which the edge meets material that stands `height` above the tip, mm."""
    radius, corner = end.radius, end.corner
    if 0.0 < height < corner:
        return radius - corner + math.sqrt(height * (2.0 * corner - height))
    return radius
