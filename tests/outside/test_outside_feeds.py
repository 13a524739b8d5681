"""Feeds, chips, power and bending against published worked examples and closed forms; the source
beside each.

`from memory` marks figures of a textbook or handbook that was not opened for this test.
"""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad

from corepath.job.tables.builtin import woods
from corepath.motion.cutter import Cutter
from corepath.motion.feeds.chips import (
    effective_diameter,
    engagement,
    greatest_share,
    on_straight_wall,
    scallop_step,
    spindle_speed,
    surface_speed,
    thinning,
)
from corepath.motion.feeds.deflection import bending, second_moment
from corepath.motion.feeds.power import power, removal, side_load, tangential_force, torque


def ball(diameter: float) -> Cutter:
    return Cutter(1, "ball", diameter, diameter / 2, 2, 30.0, 40.0)


def flat(diameter: float) -> Cutter:
    return Cutter(1, "flat", diameter, 0.0, 2, 25.0, 25.0)


def test_spindle_speed() -> None:
    """n = 1000·v_c/(pi·D): 339.292 m/min on 6 mm are 18000 turns (textbook of machining, from
    memory)."""
    assert surface_speed(6.0, 18000.0) == pytest.approx(339.292, abs=5e-4)
    assert spindle_speed(6.0, 339.2920066) == pytest.approx(18000.0, abs=1e-3)


@pytest.mark.parametrize(
    ("diameter", "width", "share"),
    [(6.0, 0.6, 0.6), (6.0, 1.5, 0.866025), (12.0, 1.2, 0.6), (6.0, 3.0, 1.0)],
)
def test_thickest_chip_of_a_narrow_cut(diameter: float, width: float, share: float) -> None:
    """f_z·2·sqrt(q(1 − q)): Fundamentals of Machining Processes (CRC Press), 6.3.1.4 has the form
    of the thickest chip; the shares are arithmetic on it."""
    assert thinning(width, diameter) == pytest.approx(share, abs=1e-6)


def test_engagement_of_a_quarter_of_the_diameter() -> None:
    """6 mm, 1.5 wide: 60 degrees (textbook form, from memory)."""
    assert math.degrees(engagement(1.5, 6.0)) == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("diameter", "depth", "across"),
    [(6.0, 0.5, 3.3166), (12.0, 1.0, 6.6332), (10.0, 0.2, 2.8), (6.0, 3.0, 6.0)],
)
def test_effective_diameter_of_a_ball(diameter: float, depth: float, across: float) -> None:
    """2·sqrt(a_p·(D − a_p)), as makers' handbooks of ball-nosed cutters have it (from memory)."""
    assert effective_diameter(ball(diameter), depth) == pytest.approx(across, abs=5e-5)


@pytest.mark.parametrize(
    ("diameter", "height", "step"),
    [(6.0, 0.005, 0.34627), (6.0, 0.01, 0.48949), (12.0, 0.02, 0.97898)],
)
def test_step_of_a_ball_for_a_scallop(diameter: float, height: float, step: float) -> None:
    """2·sqrt(2·r·h − h²) on level ground (geometry of two circles, handbook form from memory)."""
    assert scallop_step(ball(diameter), height) == pytest.approx(step, abs=1e-5)


def test_step_of_a_bull_nosed_cutter_for_a_scallop() -> None:
    """12 mm with a corner of 2: 9 mm apart leave 0.063508, 10 mm 0.267949 (geometry)."""
    bull = Cutter(1, "bull", 12.0, 2.0, 2, 30.0, 40.0)
    assert scallop_step(bull, 0.0635083) == pytest.approx(9.0, abs=1e-5)
    assert scallop_step(bull, 0.2679492) == pytest.approx(10.0, abs=1e-5)


def test_chip_of_a_ball_against_the_geometry_of_the_sweep() -> None:
    """Thickest chip by brute force: from every point of a ball's surface that is still in stock,
    how far the feed of one tooth moves it along its own normal (definition of the chip; no formula
    of ours)."""
    cutter, depth, step = ball(20.0), 2.0, 2.0
    thickest = 0.0
    for i in range(1, 400):
        polar = math.acos(1.0 - i / 400 * depth / 10.0)
        ring = 10.0 * math.sin(polar)
        for k in range(2001):
            turn = math.pi * k / 2000 - math.pi / 2
            if ring * math.sin(turn) <= ring - step:  # swept by the line before, a step to the side
                continue
            thickest = max(thickest, math.sin(polar) * math.cos(turn))
    assert greatest_share(cutter, step, depth) == pytest.approx(thickest, rel=2e-3)


def test_width_on_a_round_wall_removes_the_same_wood() -> None:
    """The ring 2R·a − a² round a wall, over the length of the axis' way 2·(R − r), is the width on
    a straight wall: area of an annulus over a circumference (geometry)."""
    for width, diameter, wall in ((0.2, 6.0, 9.0), (0.05, 4.0, 2.5), (0.5, 12.0, 40.0)):
        even = (wall**2 - (wall - width) ** 2) / (2.0 * (wall - diameter / 2.0))
        assert on_straight_wall(width, diameter, wall) == pytest.approx(even, rel=1e-9)
    assert on_straight_wall(0.2, 6.0, math.inf) == 0.2


@pytest.mark.parametrize(
    ("energy", "watts", "force"), [(20.0, 21.6, 3.82), (40.0, 43.2, 7.64), (60.0, 64.8, 11.46)]
)
def test_power_and_force(energy: float, watts: float, force: float) -> None:
    """3 x 6 mm at 3600 mm/min are 64.8 cm³/min; P = u·Q, F = P/v_c at 6 mm and 18000 (textbook,
    from memory)."""
    removed = removal(6.0, 3.0, 3600.0)
    assert removed == pytest.approx(64.8)
    assert power(energy, removed) == pytest.approx(watts)
    assert tangential_force(watts, surface_speed(6.0, 18000.0)) == pytest.approx(force, abs=0.005)
    assert torque(watts, 18000.0) == pytest.approx(watts / (2 * math.pi * 300.0))


def test_side_load_is_the_chip_times_the_energy_while_a_tooth_cuts() -> None:
    """u · depth · mean chip, the force on one tooth (textbook: k_c·b·h), with the half across at a
    right angle.

    The chip is f_z·sin of the angle (textbook): averaged by quadrature over the angle of
    engagement, acos(1 − 2·a_e/D).
    """
    energy, depth, width, diameter, flutes, rpm, feed_a_tooth = 40.0, 9.0, 0.2, 6.0, 2, 18000.0, 0.2
    feed = feed_a_tooth * flutes * rpm
    watts = power(energy, removal(width, depth, feed))
    force = tangential_force(watts, surface_speed(diameter, rpm))
    angle = math.acos(1.0 - 2.0 * width / diameter)
    chip = quad(math.sin, 0.0, angle)[0] / angle * feed_a_tooth
    wanted = energy * depth * chip * math.hypot(1.0, 0.5)
    assert side_load(force, width, diameter, flutes) == pytest.approx(wanted, rel=1e-9)


def test_bending_of_a_cantilever() -> None:
    """F·L³/(3·E·I), I = pi·d⁴/64 (handbook of beams, from memory): 20 N on 25 mm of 6 mm carbide
    bend it 0.002729, on a core of 0.8·d 0.006663."""
    assert second_moment(6.0) == pytest.approx(63.617, abs=5e-4)
    assert second_moment(4.8) == pytest.approx(26.058, abs=5e-4)
    assert 20.0 * 25.0**3 / (3.0 * 600e3 * second_moment(6.0)) == pytest.approx(0.002729, rel=2e-4)
    assert bending(flat(6.0), 20.0) == pytest.approx(0.006663, rel=2e-4)


def test_bending_of_a_stepped_bar_by_virtual_work() -> None:
    """Integral of F·x²/(E·I(x)) from the tip to the collet (Castigliano; handbook): fluted 22 mm,
    shank above."""
    cutter = Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 34.0, shank=8.0)

    def share(x: float) -> float:
        return x**2 / (600e3 * second_moment(4.8 if x < 22.0 else 8.0))

    wanted = 15.0 * (quad(share, 0.0, 22.0)[0] + quad(share, 22.0, 34.0)[0])
    assert bending(cutter, 15.0) == pytest.approx(wanted, rel=1e-9)


# Specific gravity at 12 %: Wood Handbook (USDA FPL-GTR-190, 2010), table 5-3a for yellow-poplar;
# Sitka spruce and western redcedar from memory; basswood and the aspens from a published copy of
# the same figures.
GRAVITY = {
    "yellow-poplar": 0.42,
    "sitka-spruce": 0.40,
    "western-redcedar": 0.32,
    "basswood": 0.37,
    "quaking-aspen": 0.38,
    "bigtooth-aspen": 0.39,
}


@pytest.mark.parametrize("name", list(GRAVITY))
def test_densities_of_woods(name: str) -> None:
    """Density = 1000·G·(1 + M/100) at M = 12 % (Wood Handbook, chapter 4, from memory)."""
    assert woods()[name].density.value == pytest.approx(1000.0 * GRAVITY[name] * 1.12, abs=1.0)
