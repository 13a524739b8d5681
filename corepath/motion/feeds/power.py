"""What a cut asks of spindle and cutter: wood removed, power, forces, torque.

Lengths in mm, feeds in mm/min, removal in cm³/min, energy in J/cm³ (the same as N/mm²), power in W,
forces in N, torque in N·m. Textbook of machining, from memory: Q = a_e·a_p·v_f, P = u·Q, F = P/v_c,
M = P/(2·pi·n). The energy u of a cut in wood is known to a factor of two, and so is everything that
follows from it.
"""

from __future__ import annotations

import math

from corepath.motion.feeds.chips import engagement

__all__ = [
    "SIDE_SHARE",
    "power",
    "removal",
    "removal_down",
    "side_load",
    "tangential_force",
    "torque",
]

SIDE_SHARE = 0.5
"""Force across the direction of cutting as a share of that along it (common practice, no
source)."""


def removal(width: float, depth: float, feed: float) -> float:
    """Returns the wood removed, cm³/min: width (mm) · depth (mm) · feed (mm/min)."""
    return width * depth * feed / 1000.0


def removal_down(diameter: float, feed: float) -> float:
    """Returns the wood removed going straight down at full `diameter` (mm), cm³/min."""
    return math.pi / 4.0 * diameter**2 * feed / 1000.0


def power(energy: float, removed: float) -> float:
    """Returns the power at the edge, W, for `removed` cm³/min at `energy` J/cm³."""
    return energy * removed / 60.0


def tangential_force(watts: float, speed: float) -> float:
    """Returns the force along the direction of cutting, N, averaged over a turn; `speed` of the
    edge in m/min."""
    return 60.0 * watts / speed


def torque(watts: float, rpm: float) -> float:
    """Returns the torque at the spindle, N·m, averaged over a turn."""
    return 60.0 * watts / (2.0 * math.pi * rpm)


def side_load(force: float, width: float, diameter: float, flutes: int) -> float:
    """Returns the load that bends the cutter while a tooth cuts, N, from the `force` (N) averaged
    over a turn.

    Where the teeth together are in the stock for less than a whole turn, the force falls on that
    part of it alone: 2·pi/(z·phi) times the average. The part across the direction of cutting comes
    on top, at a right angle.
    """
    angle = engagement(width, diameter)
    if angle <= 0.0:
        return 0.0
    return force * max(1.0, 2.0 * math.pi / (flutes * angle)) * math.hypot(1.0, SIDE_SHARE)
