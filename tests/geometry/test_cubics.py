"""Cubic splines: what a cubic, a circle and monotone data must give, and scipy's own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline, PchipInterpolator

from corepath.geometry.cubics import monotone_cubic, not_a_knot_cubic, periodic_cubic


def _drawn(seed: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    return np.cumsum(random.uniform(0.2, 3.0, count)), np.round(random.normal(size=count), 1)


def test_a_cubic_is_reproduced_with_its_derivatives() -> None:
    """2 x³ - x² + 3 x - 5, worked out by hand; its third derivative never jumps."""
    x = np.array([-2.0, -0.7, 0.1, 1.4, 3.0])
    spline = not_a_knot_cubic(x, 2.0 * x**3 - x**2 + 3.0 * x - 5.0)
    at = np.linspace(-2.0, 3.0, 41)
    assert spline(at) == pytest.approx(2.0 * at**3 - at**2 + 3.0 * at - 5.0, abs=1e-12)
    assert spline(at, 1) == pytest.approx(6.0 * at**2 - 2.0 * at + 3.0, abs=1e-12)
    assert spline(at, 2) == pytest.approx(12.0 * at - 2.0, abs=1e-11)


def test_two_stations_give_a_line_and_three_a_parabola() -> None:
    """(0, 1), (4, 3): 1 + x / 2; (0, 0), (1, 1), (3, 9): x²."""
    assert not_a_knot_cubic(np.array([0.0, 4.0]), np.array([1.0, 3.0]))(1.0) == 1.5
    parabola = not_a_knot_cubic(np.array([0.0, 1.0, 3.0]), np.array([0.0, 1.0, 9.0]))
    assert parabola([0.5, 2.0, 2.5]) == pytest.approx([0.25, 4.0, 6.25], abs=1e-14)


@pytest.mark.parametrize("count", [2, 3, 4, 5, 12, 60])
def test_splines_are_those_of_scipy(count: int) -> None:
    """The published library, whose order of arithmetic the monotone cubic shares."""
    for seed in range(20):
        x, y = _drawn(seed, count)
        at = np.linspace(x[0] - 0.5, x[-1] + 0.5, 201)
        assert np.array_equal(monotone_cubic(x, y)(at), PchipInterpolator(x, y)(at))
        theirs = CubicSpline(x, y, bc_type="not-a-knot" if count > 2 else "natural")
        for order in (0, 1, 2):
            scale = 1.0 + np.abs(theirs(at, order)).max()
            gap = np.abs(not_a_knot_cubic(x, y)(at, order) - theirs(at, order)).max()
            assert gap < 1e-12 * scale
        if count > 3:
            ring = np.random.default_rng(seed).normal(size=(count, 2))
            ring[-1] = ring[0]
            within = np.linspace(x[0], x[-1], 201)
            theirs = CubicSpline(x, ring, bc_type="periodic")
            for order in (0, 1, 2):
                gap = periodic_cubic(x, ring)(within, order) - theirs(within, order)
                assert np.abs(gap).max() < 1e-11


def test_a_periodic_spline_closes_in_value_slope_and_curvature() -> None:
    """Through 12 places of a circle of radius 50, which it misses by less than 0.05 (the error of a
    cubic spline is 5/384 h⁴ times the fourth derivative: 50 * 5/384 * (pi/6)⁴ = 0.049)."""
    turn = np.linspace(0.0, 2.0 * np.pi, 13)
    ring = 50.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    ring[-1] = ring[0]
    spline = periodic_cubic(turn, ring)
    for order in (0, 1, 2):
        assert spline(turn[0], order) == pytest.approx(spline(turn[-1], order), abs=1e-10)
    radius = np.hypot(*spline(np.linspace(0.0, 2.0 * np.pi, 500)).T)
    assert 0.001 < np.abs(radius - 50.0).max() < 0.05


def test_a_monotone_cubic_never_passes_its_values() -> None:
    """Level between equal values, and between two neighbours never beyond either."""
    x, y = np.array([0.0, 1.0, 1.5, 4.0, 6.0]), np.array([2.0, 2.0, 7.0, 7.5, 3.0])
    at = np.linspace(0.0, 6.0, 601)
    curve, piece = monotone_cubic(x, y)(at), np.clip(np.searchsorted(x, at) - 1, 0, 3)
    assert np.all(curve >= np.minimum(y[piece], y[piece + 1]) - 1e-12)
    assert np.all(curve <= np.maximum(y[piece], y[piece + 1]) + 1e-12)
    assert np.all(curve[at <= 1.0] == 2.0)
