"""A tapered ball against figures worked out on paper.

A ball of radius r whose flank is a cone, a to the axis: they touch where the cone is tangent, at
r cos a from the axis and r (1 - sin a) over the tip; the cone rises cot a per mm outwards
(elementary geometry). With r = 1 and a = 5 degrees: sin a = 0.0871557, cos a = 0.9961947, cot a =
11.4300523, so the cone begins at 0.9961947, 0.9128443 high.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from corepath.motion.cutter import Cutter, cutter_words
from corepath.motion.cutter_profile import CutterProfile, footprint, height, heights, widest
from corepath.motion.feeds.chips import effective_diameter, rim_diameter, scallop_step
from corepath.motion.feeds.deflection import bending
from corepath.stock.contact_kernels import Underside, lowest_offset, meets_at, rise, underside_of

TWO = Cutter(4, "taper", 2.0, 0.0, 2, 20.0, 30.0, shank=6.0, taper_angle=5.0)

# At 0.6 on the ball 1 - 0.8; at 1.5 and 2.5 on the cone 0.9128443 + (r - 0.9961947) 11.4300523.
BY_HAND = {0.0: 0.0, 0.6: 0.2, 1.5: 6.6713648, 2.5: 18.1014171}


def test_the_end_has_another_profile_for_planner_or_read_back() -> None:
    """The cone left out: walls of the deck cut by a flank that nobody reckoned with."""
    end = underside_of(TWO)
    for distance, wanted in BY_HAND.items():
        assert height(distance, TWO.profile) == pytest.approx(wanted, abs=1e-6)
        assert rise(distance, end) == pytest.approx(wanted, abs=1e-6)
        if wanted:
            assert widest(wanted, TWO.profile) == pytest.approx(distance, abs=1e-6)
            assert meets_at(wanted, end) == pytest.approx(distance, abs=1e-6)
    assert heights(np.array([0.6, 2.5, 3.001]), TWO.profile) == pytest.approx(
        [0.2, 18.1014171, math.inf], abs=1e-6
    )


def test_a_flat_end_under_a_cone_is_taken_for_a_tapered_ball() -> None:
    """A shape that joins parts of others: level to 4, corner 2, then a cone of 10 degrees. By hand
    the cone begins 2 cos 10° = 1.9696155 beyond the level part, 2 (1 - sin 10°) = 1.6527036 high,
    and rises cot 10° = 5.6712818 per mm; so 7.0 from the axis it is 1.6527036 + 1.0303845 *
    5.6712818 = 7.4963044 high."""
    side = math.radians(10.0)
    cone = (2.0 * math.cos(side), 1.0 / math.tan(side))
    planned, read = CutterProfile(8.0, 4.0, 2.0, *cone), Underside(8.0, 2.0, 4.0, *cone)
    for distance, wanted in ((3.9, 0.0), (5.2, 0.4), (7.0, 7.4963044)):
        assert height(distance - 4.0, planned) == pytest.approx(wanted, abs=1e-6)
        assert rise(distance, read) == pytest.approx(wanted, abs=1e-6)
        if wanted:
            assert meets_at(wanted, read) == pytest.approx(distance, abs=1e-6)
            assert widest(wanted, planned) == pytest.approx(distance, abs=1e-6)
    for slope in (0.05, -0.6, 2.0):
        for beside in (0.0, 3.0, 5.5):
            reach = math.sqrt(64.0 - beside * beside)
            tried = [
                slope * q + rise(math.hypot(beside, q), read)
                for q in np.linspace(-reach, reach, 20_001).tolist()
            ]
            found = lowest_offset(beside, slope, read)
            assert slope * found + rise(math.hypot(beside, found), read) <= min(tried) + 1e-6


@pytest.mark.parametrize("angle", [1.0, 5.0, 30.0])
def test_cone_and_ball_meet_at_a_step_or_a_kink(angle: float) -> None:
    """A kink would mark the deck and let the read-back's search for the lowest place miss it."""
    made = Cutter(1, "taper", 6.0, 0.0, 2, 25.0, 40.0, taper_angle=angle)
    seam, step = 3.0 * math.cos(math.radians(angle)), 1e-5
    for profile_of in (
        lambda d: height(d, made.profile),
        lambda d: rise(d, underside_of(made)),
    ):
        below, at, above = (profile_of(seam + k * step) for k in (-1, 0, 1))
        assert at == pytest.approx(3.0 * (1.0 - math.sin(math.radians(angle))), abs=1e-9)
        steep = 1.0 / math.tan(math.radians(angle))
        assert (above - at) / step == pytest.approx(steep, rel=1e-6)
        # half a step back the circle is less steep by step / (2 r sin³ a)
        less = step / (6.0 * math.sin(math.radians(angle)) ** 3)
        assert (at - below) / step == pytest.approx(steep - less, rel=1e-4)


def test_the_widest_part_is_where_the_edges_or_the_shank_end() -> None:
    """Keep-off zones by the little ball at its tip: the flank runs into a clamp.

    Edges of 20: 0.9961947 + (20 - 0.9128443) tan 5° = 0.9961947 + 19.0871557 · 0.0874887.
    """
    free = Cutter(4, "taper", 2.0, 0.0, 2, 20.0, 30.0, taper_angle=5.0)
    assert free.radius == pytest.approx(2.6661046, abs=1e-6)
    assert Cutter(4, "taper", 2.0, 0.0, 2, 20.0, 30.0, shank=4.0, taper_angle=5.0).radius == 2.0
    assert TWO.radius == free.radius and TWO.flat_radius == 0.0 and TWO.corner_radius == 1.0
    assert TWO.centre_cutting
    # a sharpened one, measured 1.9 across its ball, keeps its cone
    worn = Cutter(4, "taper", 1.9, 0.0, 2, 20.0, 30.0, taper_angle=5.0, listed=2.0)
    assert worn.radius > 2.5


def test_speed_and_ridges_go_by_another_part_of_the_cutter() -> None:
    """Rim speed by the ball alone while a wider flank cuts; steps of a wider ball than it has."""
    assert effective_diameter(TWO, 6.6713648) == pytest.approx(3.0, abs=1e-6)
    assert rim_diameter(TWO, 6.6713648) == pytest.approx(3.0, abs=1e-6)
    assert rim_diameter(TWO, 0.2) == 2.0
    # ridges 0.02 high on level ground by the ball: 2 √(2 · 1 · 0.02 − 0.02²)
    assert scallop_step(TWO, 0.02) == pytest.approx(2.0 * math.sqrt(0.0396), abs=1e-12)


def test_a_tapered_ball_bends_as_thin_as_its_ball_or_as_thick_as_its_shank() -> None:
    """By the integral of F x² / (E I(x)), I = pi d⁴ / 64, summed along the bar in thin slices.

    Flutes at 0.8 of the diameter, from 2 at the tip to 6 at 24 mm, a shank of 6 from there to 30.
    """
    made = Cutter(1, "taper", 2.0, 0.0, 2, 24.0, 30.0, shank=6.0, taper_angle=10.0)
    assert made.radius == 3.0
    x = (np.arange(300_000) + 0.5) * 1e-4
    bar = np.where(x < 24.0, 0.8 * (2.0 + 4.0 * x / 24.0), 6.0)
    wanted = float((10.0 * x**2 / (600_000.0 * math.pi * bar**4 / 64.0)).sum() * 1e-4)
    assert bending(made, 10.0) == pytest.approx(wanted, rel=1e-6)


def test_tip_beside_a_step_is_held_by_the_flank() -> None:
    """A drop of the cutter beside a step 10 high, 1.5 from the axis: the cone touches its edge.

    The tip stands 10 − 6.6713648 = 3.3286352 over the lower ground; 0.6 away, 10 − 0.2.
    """
    from scipy.ndimage import grey_dilation

    cell = 0.3
    ground = np.where(np.arange(-20, 21)[:, None] * cell >= 0.0, 10.0, 0.0) * np.ones(41)
    over = footprint(TWO.profile, cell)
    under = np.isfinite(over)
    structure = np.where(under, -over, 0.0)
    tips = grey_dilation(ground, footprint=under, structure=structure, mode="nearest")
    assert tips[20 - 5, 20] == pytest.approx(3.3286352, abs=1e-6)
    assert tips[20 - 2, 20] == pytest.approx(9.8, abs=1e-9)
    assert tips[20 - 9, 20] == pytest.approx(0.0, abs=1e-9)  # 2.7 away the cone is over it


def test_its_words_and_figures_are_those_of_a_plain_ball() -> None:
    """A ball fitted for a tapered one; a stranger who cannot sweep it from the report."""
    said = cutter_words(TWO.facts(), ", diameter ", size="{:g}".format)
    assert said == "T4 taper, diameter 2, 5 degrees a side"
    form = TWO.form()
    assert {name: form[name] for name in ("shape", "diameter", "corner_radius", "taper_angle")} == {
        "shape": "taper", "diameter": 2.0, "corner_radius": 1.0, "taper_angle": 5.0,
    }  # fmt: skip
    assert form["largest_diameter"] == pytest.approx(5.3322092, abs=1e-6)
    assert "taper_angle" not in Cutter(1, "ball", 2.0, 1.0, 2, 20.0, 30.0).form()
