"""How far a cutter bends: a cantilever from the collet, loaded at its tip.

Lengths in mm, forces in N, modulus in N/mm². Handbook of beams, from memory: delta = F·L³/(3·E·I),
I = pi·d⁴/64; for a bar of two thicknesses delta = F/(3·E)·(a³/I_a + (L³ − a³)/I_b) with the length
a at the loaded end. A bar that widens evenly from d to D bends at its thin end as a round one with
I = pi·d·D³/64 (the integral of x²/I(x)). Collet, spindle and machine are taken as stiff, so that
the true figure is larger; a cut higher up than the tip makes it smaller. Good to a factor of two.
"""

from __future__ import annotations

import math

from corepath.motion.cutter import Cutter

__all__ = ["CORE_SHARE", "MODULUS", "bending", "second_moment"]

MODULUS = {"carbide": 600_000.0, "high-speed steel": 210_000.0}
"""N/mm². Carbide 550 to 650 GPa by its cobalt, high-speed steel 210 GPa (from memory)."""

CORE_SHARE = 0.8
"""Diameter of a round bar as stiff as the fluted part, as a share of its diameter (common practice,
no source)."""


def second_moment(diameter: float) -> float:
    """Returns the second moment of area of a round bar of `diameter` mm, mm⁴: pi·d⁴/64."""
    return math.pi * diameter**4 / 64.0


def bending(cutter: Cutter, force: float) -> float:
    """Returns the deflection at the tip, mm, under `force` N: edges over the cutting length at 0.8
    of the diameter, the shank from there up. The edges of a tapered ball
    widen from its ball to its largest diameter. The formula is the module's."""
    flutes = min(cutter.cutting_length, cutter.stick_out)
    core = CORE_SHARE * cutter.diameter
    widens = 2.0 * cutter.radius / cutter.diameter
    shank = cutter.shank or 2.0 * cutter.radius
    modulus = MODULUS[cutter.material]
    edges = second_moment(core) * widens**3
    parts = flutes**3 / edges + (cutter.stick_out**3 - flutes**3) / second_moment(shank)
    return force * parts / (3.0 * modulus)
