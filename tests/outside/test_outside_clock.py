"""The clock and the links of the bound against published forms; each names its source."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import LineString, Point

from corepath.motion.clock import Limits, corner_speed, leg_seconds, seconds
from corepath.motion.program import arc, line, rapid
from corepath.work.least_time.areas import disc


@pytest.mark.parametrize(
    ("distance", "speed", "accel", "expected"),
    [
        (100.0, 60.0, 500.0, 100 / 60 + 60 / 500),
        (7.2, 60.0, 500.0, 0.24),
        (5.0, 60.0, 500.0, 0.2),
        (300.0, 100.0, 400.0, 3.25),
    ],
)
def test_rest_to_rest(distance: float, speed: float, accel: float, expected: float) -> None:
    """t = d/v + v/a where d >= v²/a, else 2 sqrt(d/a): textbook kinematics, from memory; figures by
    hand."""
    limits = Limits(60.0 * speed, accel, 0.02)
    assert seconds([rapid(0, 0, 0), rapid(distance, 0, 0)], limits)[1] == pytest.approx(
        expected, abs=1e-6
    )
    assert leg_seconds(distance, 60.0 * speed, accel) == pytest.approx(expected, abs=1e-6)


def test_triangle_of_a_published_form() -> None:
    """Peak of a triangle v = sqrt(2 a b D/(a + b)), T = v/a + v/b (tech-champion.com, velocity-time
    profiles).

    With a = b = 2 and D = 100: v = sqrt(200) = 14.142, T = 14.142 (arithmetic).
    """
    a = b = 2.0
    peak = math.sqrt(2 * a * b * 100.0 / (a + b))
    assert peak == pytest.approx(14.142, abs=1e-3)
    assert leg_seconds(100.0, 60.0 * 1000.0, a) == pytest.approx(peak / a + peak / b, rel=1e-12)


def test_triangle_with_speed_at_its_ends() -> None:
    """v_peak² = a D + (v0² + v1²)/2 (from memory); entry 5, exit 5, a 500, D 4: 45.0 mm/s, 0.16 s
    (by hand)."""
    assert leg_seconds(4.0, 60.0 * 1000.0, 500.0, 5.0) == pytest.approx(
        2 * (math.sqrt(2025.0) - 5.0) / 500.0
    )


def test_without_a_limit_of_acceleration_time_is_length_over_feed() -> None:
    """NIST IR 6556 (2000), 2.1.2.16, takes acceleration as unlimited: what the clock tends to, and
    never undercuts."""
    moves = [
        rapid(0, 0, 0),
        line(30, 0, 0, 600),
        arc(False, (40, 10, 0), (0, 10), 600),
        line(40, 60, -5, 600),
    ]
    length = 30 + 5 * math.pi + math.hypot(50, 5)
    assert seconds(moves, Limits(6000.0, 1e9, 0.02)).sum() == pytest.approx(length / 10.0, rel=1e-3)
    assert seconds(moves, Limits(6000.0, 200.0, 0.02)).sum() > length / 10.0


def test_circle_speed() -> None:
    """v = sqrt(a r): a 500, r 10 gives 70.71 mm/s (textbook kinematics, from memory); a circle in
    0.8886 s."""
    assert disc(10.0, 3.0).seconds(60000.0, 500.0) == pytest.approx(
        math.tau * 10.0 / 70.71, rel=1e-4
    )
    limits = Limits(6000.0, 500.0, 0.02)
    many = seconds(
        [rapid(10, 0, 0)] + [arc(False, (10, 0, 0), (-10, 0), 60000.0)] * 50, limits
    ).sum()
    assert many / 50 == pytest.approx(math.tau * 10.0 / 70.71, rel=0.01)


@pytest.mark.parametrize("inner", [60.0, 90.0, 120.0, 150.0, 170.0])
def test_corner_arc_leaves_the_corner_by_its_deviation(inner: float) -> None:
    """The arc of radius v²/a, drawn tangent to both moves, passes the corner at the deviation
    (geometry)."""
    limits = Limits(6000.0, 500.0, 0.02)
    radius = corner_speed(limits, inner) ** 2 / limits.accel
    half = math.radians(inner) / 2.0
    ends = [(50.0 * math.cos(sign * half), 50.0 * math.sin(sign * half)) for sign in (1, -1)]
    sides = LineString([ends[0], (0, 0), ends[1]])
    centre = Point(radius / math.sin(half), 0.0)
    assert centre.distance(LineString([ends[0], (0, 0)])) == pytest.approx(radius, rel=1e-9)
    assert centre.distance(Point(0, 0)) - radius == pytest.approx(0.02, rel=1e-9)
    assert sides.distance(centre) == pytest.approx(radius, rel=1e-9)


def test_mean_speed_within_a_circle_keeps_the_bound() -> None:
    """|x''| <= a within |x| <= R holds the mean square speed to a R (virial theorem, from memory):
    random motions.

    Harmonic sums that start and end at rest, scaled until the acceleration reaches its limit
    somewhere.
    """
    t = np.linspace(0.0, 1.0, 4001)
    rng = np.random.default_rng(1)
    for _ in range(50):
        k = np.arange(1, 7)
        wave = (1.0 - np.cos(math.tau * np.outer(t, k))) @ rng.normal(size=(6, 2))
        speed = np.gradient(wave, t, axis=0)
        force = np.gradient(speed, t, axis=0)
        radius = np.hypot(*(wave - wave.mean(axis=0)).T).max()
        assert (speed**2).sum(axis=1).mean() <= np.hypot(*force.T).max() * radius * (1.0 + 1e-3)
