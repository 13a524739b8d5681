"""Arcs of the XY plane: centre from a radius, sweep, radius agreement, and chords for everything
curved.

Clockwise is seen from above (+Z). A full circle is an arc whose end is its start, or lies at the
angle of its start, at a radius that agrees with its as that of any arc must. Heights run linearly
along the sweep (helix). Source: NIST IR 6556 (2000), section 3.5.3. Lengths in mm, angles in
radians.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.errors import Fault, InputError

__all__ = [
    "RADIUS_AGREEMENT_INCH",
    "RADIUS_AGREEMENT_MM",
    "centre_from_radius",
    "flatten",
    "lengths",
    "sweeps",
]

# How far the radii at start and end of an arc may differ (NIST IR 6556, 3.5.3.2), both in mm.
RADIUS_AGREEMENT_MM = 0.002
RADIUS_AGREEMENT_INCH = 0.0002 * 25.4

_ONE_ANGLE = 1e-9  # radians between the ends of an arc that lie at one angle

_MOST_PIECES = 10_000_000
"""Straight pieces of one file that are still held in memory: ten million lines, or a tenth as many
arcs of ten chords."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def centre_from_radius(
    start: tuple[float, float],
    end: tuple[float, float],
    radius: float,
    clockwise: bool,
    tolerance: float,
) -> tuple[float, float] | None:
    """Return the centre (x, y) of an arc given by its radius, or None where no such arc exists.

    A positive radius takes the sweep of at most 180 degrees, a negative one the longer sweep. A
    radius too small by at most `tolerance` makes a semicircle. Lengths in mm.
    """
    dx, dy = end[0] - start[0], end[1] - start[1]
    half = math.hypot(dx, dy) / 2.0
    if half == 0.0 or radius == 0.0 or half - abs(radius) > tolerance:
        return None
    # The centre lies on the bisector of start and end, `height` from the chord, to the left of the
    # way from start to end, or to the right for a short arc clockwise or a long one the other way.
    height = math.sqrt(max(radius * radius - half * half, 0.0))
    if clockwise == (radius > 0.0):
        height = -height
    return (
        start[0] + dx / 2.0 - height * dy / (2.0 * half),
        start[1] + dy / 2.0 + height * dx / (2.0 * half),
    )


def sweeps(kind: NDArray[np.int8], start: Floats, end: Floats, centre: Floats) -> Floats:
    """Return the signed sweep of each motion, (n,) radians: positive counter-clockwise, 0 for
    straight ones.

    `kind` (n,), `start`, `end` (n, 3) and `centre` (n, 2) are as in `ReadProgram`.
    """
    result = np.zeros(len(kind))
    arcs = kind >= 2
    if not arcs.any():
        return result
    first = np.arctan2(start[arcs, 1] - centre[arcs, 1], start[arcs, 0] - centre[arcs, 0])
    last = np.arctan2(end[arcs, 1] - centre[arcs, 1], end[arcs, 0] - centre[arcs, 0])
    turn = np.mod(last - first, 2.0 * np.pi)
    # Ends at one angle are a full circle either way round, also where their radii differ as far as
    # the standard lets them. The difference of their angles may come out a little over none or
    # under a whole turn: `_ONE_ANGLE` is rounding, below a step of the text at a radius of 100 m.
    whole = np.minimum(turn, 2.0 * np.pi - turn) < _ONE_ANGLE
    whole |= np.all(np.abs(end[arcs, :2] - start[arcs, :2]) < 1e-9, axis=1)
    clockwise = kind[arcs] == 2
    result[arcs] = np.where(
        clockwise,
        np.where(whole, -2.0 * np.pi, turn - 2.0 * np.pi),
        np.where(whole, 2.0 * np.pi, turn),
    )
    return result


def lengths(kind: NDArray[np.int8], start: Floats, end: Floats, centre: Floats) -> Floats:
    """Return the length of each motion along its path in space, (n,) mm; a helix counts along the
    helix."""
    level = np.hypot(end[:, 0] - start[:, 0], end[:, 1] - start[:, 1])
    arcs = kind >= 2
    radius = np.hypot(start[arcs, 0] - centre[arcs, 0], start[arcs, 1] - centre[arcs, 1])
    level[arcs] = radius * np.abs(sweeps(kind, start, end, centre)[arcs])
    return np.hypot(level, end[:, 2] - start[:, 2])


def flatten(
    kind: NDArray[np.int8], start: Floats, end: Floats, centre: Floats, tolerance: float
) -> tuple[Floats, Floats, Ints]:
    """Divide all motions into straight pieces: return their starts (m, 3), ends (m, 3) and the
    index of the motion that each belongs to, (m,).

    Chords stay within `tolerance` (mm) of their arc: r (1 - cos(step / 2)) <= tolerance. Raises
    InputError where that takes more than `_MOST_PIECES`.
    """
    sweep = sweeps(kind, start, end, centre)
    radius = np.hypot(start[:, 0] - centre[:, 0], start[:, 1] - centre[:, 1])
    radius[kind < 2] = 0.0
    last = np.hypot(end[:, 0] - centre[:, 0], end[:, 1] - centre[:, 1])
    largest = np.maximum(radius, np.where(kind >= 2, last, 0.0))
    step = 2.0 * np.arccos(np.clip(1.0 - tolerance / np.maximum(largest, tolerance), 0.0, 1.0))
    # 1e-9: a sweep of exactly so many steps takes no further chord by the division's rounding.
    count = np.where(kind >= 2, np.ceil(np.abs(sweep) / step - 1e-9), 1).astype(np.int64)
    count = np.maximum(count, 1)
    if count.sum() > _MOST_PIECES:
        says = "arcs so large, or so many, cannot be simulated"
        raise InputError(
            [
                Fault(
                    "",
                    says,
                    f"{count.sum()} pieces of {len(kind)} motions",
                    f"at most {_MOST_PIECES}",
                )
            ]
        )
    owner = np.repeat(np.arange(len(kind), dtype=np.int64), count)
    piece = np.arange(len(owner), dtype=np.int64) - np.repeat(np.cumsum(count) - count, count)
    share = (piece + 1) / count[owner]
    upper = start[owner] + (end[owner] - start[owner]) * share[:, None]
    curved = kind[owner] >= 2
    which = owner[curved]
    if len(which):
        upper[curved, :2] = _on_arcs(
            share[curved], start[which], centre[which], sweep[which], radius[which], last[which]
        )
    # A motion ends exactly where the text says, so that pieces of consecutive motions join without
    # the rounding of sine and cosine between them.
    final = piece + 1 == count[owner]
    upper[final] = end[owner[final]]
    lower = np.empty_like(upper)
    lower[1:] = upper[:-1]
    first = piece == 0
    lower[first] = start[owner[first]]
    return lower, upper, owner


def _on_arcs(
    share: Floats, start: Floats, centre: Floats, sweep: Floats, radius: Floats, last: Floats
) -> Floats:
    """Return the places (m, 2) at a `share` (0 to 1) of m arcs, from `radius` to the `last` one.

    Between a start and an end radius that differ a little the radius changes evenly, as along a
    spiral: no other curve meets both ends.
    """
    begin = np.arctan2(start[:, 1] - centre[:, 1], start[:, 0] - centre[:, 0])
    angle = begin + sweep * share
    reach = radius + (last - radius) * share
    turned = np.column_stack((np.cos(angle), np.sin(angle)))
    return np.asarray(centre + reach[:, None] * turned)
