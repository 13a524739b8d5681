"""Planes that a bent raw top rests on when it is laid face down."""

from __future__ import annotations

import math

import numpy as np
import pytest

from corepath.stackup.measuring.rests import Planes, off, rests

X, Y = (
    axis.ravel()
    for axis in np.meshgrid(np.linspace(-100.0, 100.0, 21), np.linspace(-40.0, 40.0, 17))
)
U, V = X / 100.0, Y / 40.0


def highest(planes: Planes, x: float, y: float, top: float) -> float:
    """How far the highest plane lies above a place, by hand."""
    return max(level + along * x + across * y - top for level, along, across in planes)


def test_a_tilted_plane_has_no_rests_to_choose_from() -> None:
    found = rests(X, Y, 10.0 + 0.3 * U - 0.2 * V, 0.05)
    assert (found.as_measured, found.at_most) == ((), ())


def test_a_cup_rests_on_both_edges_and_no_other_way() -> None:
    """z = 0.3 v² lies on its long edges, level, whatever plane it is tilted by."""
    found = rests(X, Y, 0.3 * V**2 + 0.1 * U, 0.0)
    for level, along, across in found.as_measured:
        assert (level, along, across) == pytest.approx((0.3, 0.001, 0.0), abs=2e-4)


def test_a_twist_rests_on_two_corners_and_either_of_the_others() -> None:
    """z = 0.2 u v: both planes pass 0.2 over the middle, through 0.2 at two corners and -0.2 at one
    of the others."""
    found = rests(X, Y, 0.2 * U * V, 0.0)
    assert highest(found.as_measured, 100.0, -40.0, -0.2) == pytest.approx(0.8, abs=0.001)
    assert highest(found.as_measured, -100.0, 40.0, -0.2) == pytest.approx(0.8, abs=0.001)
    assert highest(found.as_measured, 100.0, 40.0, 0.2) == pytest.approx(0.0, abs=0.001)
    assert highest(found.as_measured, 0.0, 0.0, 0.0) == pytest.approx(0.2, abs=0.001)


def test_an_error_of_the_map_raises_the_middle_and_tilts_about_it() -> None:
    """Within ± e a cup's plane may pass e √2 higher over the middle. Along the middle line it then
    tilts until the far edge touches, which raises the near one by twice that.
    """
    error = 0.05
    found = rests(X, Y, 0.3 * V**2, error)
    more = math.sqrt(2.0) * error
    assert highest(found.at_most, 0.0, 0.0, 0.0) == pytest.approx(0.3 + more, abs=0.001)
    assert highest(found.at_most, 0.0, 40.0, 0.3) == pytest.approx(2.0 * more, abs=0.001)


def test_no_plane_passes_through_the_wood_and_each_touches_it() -> None:
    """Any raw top, here of bends drawn: planes lie above all of it, and as measured touch at three
    places or more."""
    for seed in range(20):
        bow, twist, cup, ripple = np.random.default_rng(seed).uniform(-0.3, 0.3, 4)
        top = bow * U**2 + twist * U * V + cup * V**2 + 0.1 * ripple * np.sin(4.0 * U + seed)
        found = rests(X, Y, top, 0.03)
        assert found.as_measured and found.at_most
        for level, along, across in found.as_measured:
            over = level + along * X + across * Y - top
            assert over.min() > -1e-7 and (over < 5e-3).sum() >= 3
        for level, along, across in found.at_most:
            assert (level + along * X + across * Y - top).min() > -1e-7


def test_figures_that_show_little_tell_of_little() -> None:
    """A cup of 0.01 under an error of 0.05: not more than it stands off as measured is added at the
    middle."""
    found = rests(X, Y, 0.01 * V**2, 0.05)
    assert highest(found.at_most, 0.0, 0.0, 0.0) == pytest.approx(0.02, abs=0.001)


def test_off_is_the_highest_plane_over_each_place() -> None:
    planes = ((1.0, 0.01, 0.0), (1.0, -0.01, 0.0))
    assert off(planes, [100.0, 0.0, -50.0], 0.0, np.array([1.5, 1.2, 1.0])) == pytest.approx(
        [0.5, 0.0, 0.5]
    )
