"""The form's curve against closed forms: a wrong length along it puts every bolt hole off its
plug."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.layup.curve import Rocker, rocker_faults


def circle(radius: float, half: float = 700.0, count: int = 29) -> Rocker:
    return Rocker(
        [
            (x, radius - math.sqrt(radius**2 - x * x))
            for x in np.linspace(-half, half, count).tolist()
        ]
    )


@pytest.mark.parametrize("radius", [2500.0, 6000.0, 40_000.0])
@pytest.mark.parametrize("height", [0.0, 6.3, -20.0])
def test_on_a_circle_chord_and_rise_are_sine_and_cosine_of_the_arc(radius: float, height: float):
    """Geometry of the circle: x = R sin(s/R), z = R (1 - cos(s/R)); a parallel at height t has the
    radius R - t."""
    curve = circle(radius)
    arc = np.linspace(-600.0, 600.0, 25)
    under = curve.under(arc, height)
    angle = arc / (radius - height)
    assert np.abs(under - radius * np.sin(angle)).max() < 2e-4
    assert np.abs(curve.rise(under) - radius * (1.0 - np.cos(angle))).max() < 2e-4
    assert np.abs(curve.angle(under) - angle).max() < 1e-5


def test_arc_of_a_parabola():
    """z = a x^2: s = x/2 sqrt(1 + 4a^2x^2) + asinh(2ax)/(4a) (textbook integral)."""
    a = 1.0 / 7000.0
    curve = Rocker([(x, a * x * x) for x in (-620.0, -200.0, 90.0, 600.0)])
    x = np.linspace(-600.0, 600.0, 41)
    wanted = x / 2 * np.sqrt(1 + 4 * a * a * x * x) + np.arcsinh(2 * a * x) / (4 * a)
    assert np.abs(curve.arc(x) - wanted).max() < 1e-9


def test_arc_of_a_catenary():
    """z = c (cosh(x/c) - 1): s = c sinh(x/c) (textbook)."""
    c = 4200.0
    curve = Rocker([(x, c * (math.cosh(x / c) - 1)) for x in np.linspace(-640, 640, 33).tolist()])
    x = np.linspace(-600.0, 600.0, 41)
    assert np.abs(curve.arc(x) - c * np.sinh(x / c)).max() < 1e-5


def test_without_a_rocker_nothing_moves():
    curve = Rocker()
    x = np.linspace(-900.0, 900.0, 7)
    assert curve.level
    assert np.array_equal(curve.under(x, 7.0), x)
    assert np.array_equal(curve.rise(x), np.zeros(7))


def test_beyond_the_stations_the_form_goes_on_straight():
    """A blank is longer than its board: a curve that ran away there would bend its ends up."""
    curve = Rocker([(-400.0, 30.0), (-100.0, 2.0), (0.0, 0.0), (150.0, 4.0), (400.0, 33.0)])
    slope = float(curve.slope(400.0))
    assert float(curve.rise(500.0)) == pytest.approx(33.0 + 100.0 * slope, abs=1e-9)
    assert float(curve.arc(500.0) - curve.arc(400.0)) == pytest.approx(
        100.0 * math.hypot(1.0, slope), abs=1e-9
    )
    assert float(curve.bend(500.0)) == 0.0


@settings(derandomize=True, max_examples=40)
@given(
    rises=st.lists(st.floats(0.0, 25.0), min_size=4, max_size=7),
    height=st.floats(-5.0, 15.0),
    arc=st.floats(-650.0, 650.0),
)
def test_map_and_its_inverse_agree(rises: list[float], height: float, arc: float):
    xs = np.linspace(-600.0, 600.0, len(rises)).tolist()
    curve = Rocker(list(zip(xs, rises, strict=True)))
    assert float(curve.arc(curve.under(arc, height), height)) == pytest.approx(arc, abs=1e-8)


def test_a_form_tighter_than_wood_bends_is_a_fault(rocker_job):
    """One digit wrong in a rise must not become a template."""
    (fault,) = rocker_faults(rocker_job(rocker=[[-100, 40], [0, 0], [100, 40]]))
    assert fault.key == "layup.rocker"
    assert "radius of" in fault.message
    assert rocker_faults(rocker_job(rocker=[[-100, 2], [0, 0], [100, 2]])) == []


def test_stations_out_of_order_make_no_second_fault(rocker_job):
    assert rocker_faults(rocker_job(rocker=[[0, 0], [-100, 20], [100, 20]])) == []
