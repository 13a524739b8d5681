"""Volumes that the virtual blank loses, against closed forms; source: elementary geometry
(cylinder, half cylinder, ball, frustum, wedge), as in any table of solids.

Columns are point samples, so an area is off by at most half a cell along its rim: a volume by that
times its depth, or less. The bound is stated in each case; columns finer by half must keep within
half of it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import trapezoid

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter
from corepath.readback.cutting import cut_path
from corepath.stock.material import Stock
from corepath.stock.path import lay

HEAD = "G17 G21 G90 G94 G54 G49 G40 G80 G61\nM3 S10000\nF900\n"
THICK = 12.0
CELLS = (0.4, 0.2)


def removed(body: str, cutter: Cutter, cell: float) -> float:
    """mm³ that a program takes from a blank of 80 by 60 by 12, zero on its top."""
    stock = Stock(80, 60, THICK, cell)
    before = stock.volume()
    path = lay(
        read_program(f"{HEAD}{body}M2\n", "x.nc"),
        (0, 0, THICK),
        cutter,
        THICK,
        0.0005,
        Findings("x.nc"),
    )
    cut = cut_path(stock, path)
    gone = before - stock.volume()
    assert float(cut.volume.sum()) == pytest.approx(gone, rel=1e-4, abs=1e-3), (
        "the shares add up to the whole"
    )
    return gone


def check(body: str, cutter: Cutter, expected: float, rim: float, depth: float) -> None:
    """`rim` is the length of the rim of what is cut, `depth` the height of its walls there."""
    for cell in CELLS:
        assert removed(body, cutter, cell) == pytest.approx(expected, abs=rim * depth * cell / 2.0)


def flat(diameter: float) -> Cutter:
    return Cutter(1, "flat", diameter, 0.0, 2, 20, 30)


def ball(diameter: float) -> Cutter:
    return Cutter(1, "ball", diameter, diameter / 2.0, 2, 20, 30)


def test_slot_with_round_ends():
    """l · 2r · d and a cylinder for both ends; a slot too wide or short would hide a wrong
    cutter."""
    long, r, d = math.hypot(36.0, 13.0), 4.0, 5.0
    check(f"G0 X-18 Y-6 Z5\nG1 Z-{d}\nX18 Y7\nG0 "
          "Z5\n", flat(2 * r), d * (2 * r * long + math.pi * r * r),
          2 * long + 2 * math.pi * r, d)  # fmt: skip


def test_slot_along_an_arc():
    """A quarter ring: 2r · d times the way, and a cylinder; chords must not shorten it."""
    r, d, bend = 3.0, 4.0, 15.0
    way = bend * math.pi / 2.0
    check(f"G0 X{bend} Y0 Z5\nG1 Z-{d}\nG3 X0 Y{bend} I-{bend} J0\nG0 Z5\n", flat(2 * r),
          d * (2 * r * way + math.pi * r * r), 2 * way + 2 * math.pi * r, d)  # fmt: skip


def test_helical_bore():
    """Turns down by a helix and one on the floor leave a cylinder of the circle's radius and the
    cutter's."""
    turns = "".join(f"G3 X2.5 Y0 Z-{z} I-2.5 J0\n" for z in (2, 4, 6, 8, 8))
    reach = 2.5 + 3.0
    check(
        f"G0 X2.5 Y0 Z0\n{turns}G0 Z5\n",
        flat(6.0),
        math.pi * reach**2 * 8.0,
        2 * math.pi * reach,
        8.0,
    )


def test_groove_of_a_ball():
    """Sunk to its middle: half a cylinder and half a ball."""
    r, long = 4.0, 40.0
    check(f"G0 X-20 Y0 Z5\nG1 Z-{r}\nX20\nG0 "
          "Z5\n", ball(2 * r), math.pi * r * r / 2 * long + 2 / 3 * math.pi * r**3,
          2 * long + 2 * math.pi * r, r)  # fmt: skip


def test_ramp_of_a_flat_cutter():
    """Down along l by m · l: its front edge leaves 2r (d l + m l²/2) and the disc at the end, (d +
    m l) pi r²."""
    r, d, long, fall = 4.0, 1.0, 40.0, 5.0
    expected = 2 * r * (d * long + fall * long / 2) + (d + fall) * math.pi * r * r
    check(f"G0 X-20 Y0 Z5\nG1 Z-{d}\nX20 Z-{d + fall}\nG0 "
          "Z5\n", flat(2 * r), expected, 2 * long + 2 * math.pi * r,
          d + fall)  # fmt: skip


def test_cone_of_turns_of_a_ball():
    """Turns of a ball down a cone's wall of 45 degrees: the cone that touches the balls, a fillet
    and a level floor."""
    r, deep, wide = 2.0, 8.0, 10.0
    wall = [(wide - deep * k / 200, -deep * k / 200) for k in range(201)]
    floor = [(x, -deep) for x in np.arange(wide - deep, 0.05, -0.2)]
    turns = [f"G1 X{x:.4f} Y0 Z{z:.4f}\nG3 X{x:.4f} Y0 I-{x:.4f} J0" for x, z in (*wall, *floor)]
    body = f"G0 X{wide} Y0 Z5\n" + "\n".join(turns) + "\nG0 Z5\n"
    at = np.linspace(0.0, wide + r, 200_001)
    foot = wide - deep
    fillet = deep - r + np.sqrt(np.maximum(r * r - (at - foot) ** 2, 0.0))
    cone = wide - at - r + r * math.sqrt(2.0)
    depth = np.where(
        at < foot, deep, np.where(at < foot + r / math.sqrt(2.0), fillet, np.maximum(cone, 0.0))
    )
    expected = float(trapezoid(2 * math.pi * at * depth, at))
    cone_alone = math.pi / 3 * (wide - r + r * math.sqrt(2.0)) ** 3
    assert expected == pytest.approx(cone_alone, rel=0.02), (
        "all but its point, which the fillet rounds"
    )
    ridges = math.pi * foot**2 * 0.2**2 / (12 * r)
    for cell in CELLS:
        gone = removed(body, ball(2 * r), cell)
        assert gone == pytest.approx(
            expected, abs=ridges + 2 * math.pi * wide * 0.1 * cell + 0.002 * expected
        )
