"""Area and length of the groove's ring against closed forms, and distances against an independent
library.

Sources: perimeter of an ellipse by the Gauss-Kummer series (from memory; Abramowitz and Stegun,
Handbook of Mathematical Functions, 17.3, for the complete elliptic integral behind it); area
between parallel curves of a closed convex line by Steiner's formula, A(r) = A + L r + pi r^2 (from
memory); stadium by elementary geometry.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from scipy.special import ellipe
from shapely import Polygon

from corepath.board.footprints import offset
from corepath.board.outline.curves import arc_points, closed_curve


def gauss_kummer(a: float, b: float) -> float:
    """pi (a + b) sum of binomial(1/2, n)^2 h^n, h = ((a - b) / (a + b))^2."""
    h = ((a - b) / (a + b)) ** 2
    total, factor = 0.0, 1.0
    for n in range(60):
        total += factor**2 * h**n
        factor *= (0.5 - n) / (n + 1)
    return math.pi * (a + b) * total


def ring(outline: Polygon, inside: float, outside: float) -> Polygon:
    return Polygon(offset(outline, outside).exterior, [offset(outline, -inside).exterior])


def ellipse(a: float, b: float, count: int = 400) -> Polygon:
    """The closed spline through many places of an ellipse."""
    u = 2 * np.pi * np.arange(count) / count
    return Polygon(closed_curve(np.column_stack([a * np.cos(u), b * np.sin(u)])))


def test_series_agrees_with_the_elliptic_integral():
    """The reference itself: L = 4 a E(1 - b^2 / a^2), scipy's E of the parameter m."""
    assert gauss_kummer(640, 210) == pytest.approx(
        4 * 640 * ellipe(1 - (210 / 640) ** 2), rel=1e-12
    )


@pytest.mark.parametrize(("a", "b"), [(640, 210), (100, 60), (50, 50)])
def test_ellipse_ring(a, b):
    """Ring of a convex line: L (inside + outside) + pi (outside^2 - inside^2); least radius b^2/a
    above inside."""
    inside, outside = 8.0, 6.0
    length = gauss_kummer(a, b)
    outline = ellipse(a, b)
    assert outline.length == pytest.approx(length, abs=2 * math.pi * 0.001)
    area = length * (inside + outside) + math.pi * (outside**2 - inside**2)
    # walls within 0.002 mm: at most that times their lengths
    assert ring(outline, inside, outside).area == pytest.approx(area, abs=0.002 * 2 * length)


def test_stadium_ring():
    """Straight sides 100, radius 30: both walls are stadiums."""
    right = arc_points(50.0, 0.0, 30.0, -math.pi / 2, math.pi)
    outline = Polygon(np.vstack([right, -right]))
    result = ring(outline, 8.0, 6.0)

    def area(r: float) -> float:
        return 200 * r + math.pi * r**2

    assert outline.length == pytest.approx(200 + 2 * math.pi * 30, abs=0.01)
    assert result.area == pytest.approx(area(36) - area(22), abs=0.002 * (400 + 2 * math.pi * 58))
    assert result.exterior.length == pytest.approx(200 + 2 * math.pi * 36, abs=0.02)
    assert result.interiors[0].length == pytest.approx(200 + 2 * math.pi * 22, abs=0.02)


def test_square_ring_has_round_outer_corners():
    """Outside a corner a round join, inside a sharp one: s^2 areas plus a quarter disc at each
    corner."""
    outline = shapely.box(-50, -50, 50, 50)
    expected = 100**2 + 4 * 100 * 6 + math.pi * 36 - (100 - 16) ** 2
    assert ring(outline, 8.0, 6.0).area == pytest.approx(expected, abs=0.002 * 2 * math.pi * 6)
    assert ring(outline, 8.0, 6.0).area <= expected + 1e-9


def test_area_by_shoelace_agrees_with_shapely():
    """Green's theorem on the vertices against GEOS."""
    coords = shapely.get_coordinates(ellipse(640, 210).exterior)
    x, y = coords.T
    area = 0.5 * abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    assert area == pytest.approx(ellipse(640, 210).area, rel=1e-12)
    assert area == pytest.approx(math.pi * 640 * 210, abs=0.001 * gauss_kummer(640, 210))
