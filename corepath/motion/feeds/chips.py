"""The chip that a tooth takes: how thick it is at its thickest and on average, and how fast the
edge goes.

Lengths in mm, angles in radians, speeds of the edge in m/min. *Width* (a_e) is how far the cut
reaches sideways into the stock, *depth* (a_p) how far down along the axis; *feed a tooth* f_z is
how far the cutter goes from one tooth to the next. With q = a_e/D a tooth enters or leaves at the
angle phi, cos phi = 1 − 2q, and its chip is f_z·sin phi = f_z·2·sqrt(q(1 − q)) thick at most, f_z
where half the cutter or more is in the stock (textbook of machining, from memory; found in:
Fundamentals of Machining Processes, CRC Press, 6.3.1.4). Shares of the diameter that bound a chip
are common practice, no source.
"""

from __future__ import annotations

import math

from corepath.motion.cutter import Cutter
from corepath.motion.cutter_profile import widest

__all__ = [
    "LARGEST_CHIP_SHARE", "LEAST_CHIP", "effective_diameter", "engagement",
    "greatest_share", "on_straight_wall", "rim_diameter", "scallop_step", "spindle_speed",
    "surface_speed", "thinning",
]  # fmt: skip

LEAST_CHIP = 0.02
"""Thinner than this, mm, an edge rubs instead of cutting (common practice, no source)."""

LARGEST_CHIP_SHARE = 0.1
"""Thicker than this share of its diameter a chip overloads the cutter (common practice, no
source)."""


def surface_speed(diameter: float, rpm: float) -> float:
    """Returns the speed of the edge, m/min, on `diameter` (mm): v_c = pi·D·n/1000 (textbook)."""
    return math.pi * diameter * rpm / 1000.0


def spindle_speed(diameter: float, speed: float) -> float:
    """Returns the turns a minute at which an edge on `diameter` (mm) runs at `speed` m/min:
    n = 1000·v_c/(pi·D)."""
    return 1000.0 * speed / (math.pi * diameter)


def engagement(width: float, diameter: float) -> float:
    """Returns the angle (rad, 0 to pi) over which the edge is in the stock, for a cut `width` mm
    wide along a wall: acos(1 − 2·a_e/D)."""
    share = min(max(width / diameter, 0.0), 1.0)
    return math.acos(1.0 - 2.0 * share)


def thinning(width: float, diameter: float) -> float:
    """Returns the thickest chip as a share of the feed a tooth: 2·sqrt(q(1 − q)), q = a_e/D; 1 from
    q = 1/2 on."""
    share = min(max(width / diameter, 0.0), 0.5)
    return 2.0 * math.sqrt(share * (1.0 - share))


def effective_diameter(cutter: Cutter, depth: float) -> float:
    """Returns the diameter, mm, that cuts at `depth` mm above the tip: for a ball
    2·sqrt(a_p·(D − a_p)), for a flat cutter its own."""
    return 2.0 * widest(max(depth, 0.0), cutter.profile)


def rim_diameter(cutter: Cutter, depth: float) -> float:
    """Diameter, mm, by which the speed of an edge is set for cuts up to `depth` (mm) deep: the
    cutter's own, or that of a tapered ball's flank where it reaches farther out."""
    return max(cutter.diameter, effective_diameter(cutter, depth))


def greatest_share(cutter: Cutter, width: float, depth: float) -> float:
    """Returns the thickest chip as a share of the feed a tooth, for a cut `width` mm beside the
    last one and `depth` mm deep.

    On a rounded corner the chip is also thinned by sin kappa, kappa the angle between axis and the
    surface's normal, which is (r − flat)/corner at the radius r: both are greatest at the top of
    the cut.
    """
    across = effective_diameter(cutter, depth)
    if across <= 0.0:
        return 0.0
    flat, corner = 2.0 * cutter.flat_radius, 2.0 * cutter.corner_radius
    tilt = 1.0 if corner <= 0.0 else min((across - flat) / corner, 1.0)
    return tilt * thinning(width, across)


def scallop_step(cutter: Cutter, height: float) -> float:
    """Returns the step, mm, between lines on level ground that leaves scallops `height` mm high:
    2·flat + 2·sqrt(2·r·h − h²) with the corner radius r."""
    corner = cutter.corner_radius
    up = min(height, corner)
    return 2.0 * cutter.flat_radius + 2.0 * math.sqrt(max(2.0 * corner * up - up**2, 0.0))


def on_straight_wall(width: float, diameter: float, wall_radius: float) -> float:
    """Returns the width on a straight wall with the engagement that `width` has on the inside of a
    round one, mm.

    Going round inside a wall of `wall_radius`, the edge meets the stock, a ring `width` thick, over
    a longer angle: with the axis at rho = R − D/2 from the middle, (R − width)² = rho² + r² +
    2·rho·r·cos phi. Never more than the diameter.

    >>> round(on_straight_wall(0.2, 6.0, 9.0), 4)
    0.2967
    """
    if math.isinf(wall_radius):
        return min(width, diameter)
    radius = diameter / 2.0
    path = wall_radius - radius
    # the cutter fills the hole: it is in the stock all round
    if path <= 0.0:
        return diameter
    cosine = ((wall_radius - width) ** 2 - path**2 - radius**2) / (2.0 * path * radius)
    return min(radius * (1.0 - max(cosine, -1.0)), diameter)
