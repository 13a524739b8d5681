"""The skin against published figures of plates; what each is taken from stands beside it."""

from __future__ import annotations

import numpy as np
import pytest

from corepath.job.model import SkinSection
from corepath.skin.membrane import clamped
from corepath.skin.terms import laminate_of


def skin(thickness: float, **keys: float):
    return laminate_of(
        SkinSection(
            thickness=thickness, modulus=20.0, pressure=0.8, **{"strain_limit": 0.004, **keys}
        )
    )


@pytest.mark.parametrize(("ratio", "deflection"), [(1.0, 0.00126), (1.5, 0.00220), (2.0, 0.00254)])
def test_clamped_plate_under_uniform_load(ratio: float, deflection: float) -> None:
    """w in the middle = 0.00126 q a⁴ / D for a square, 0.00220 and 0.00254 for b/a = 1.5 and 2.

    Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd edition, table 35 (from
    memory).
    """
    n, m = 40, round(40 * ratio)
    inside = np.zeros((n + 1, m + 1), dtype=bool)
    inside[1:-1, 1:-1] = True
    w = clamped(inside, 1.0 / n, ratio / m, np.ones((n + 1, m + 1)))
    assert w[n // 2, m // 2] == pytest.approx(deflection, rel=0.01)
    if ratio == 1.0:  # moment in the middle of an edge, -0.0513 q a², the same table
        assert -2.0 * w[1, m // 2] * n**2 == pytest.approx(-0.0513, rel=0.02)


@pytest.mark.parametrize(
    ("thickness", "radius", "strain"),
    [(0.6, 300.0, 0.001), (0.8, 200.0, 0.002), (1.0, 100.0, 0.005)],
)
def test_bending_strain(thickness: float, radius: float, strain: float) -> None:
    """t / 2R, beam theory of any textbook (from memory): the least radius for a limit."""
    assert skin(thickness, strain_limit=strain).least_radius == pytest.approx(radius)


def test_plate_stiffness() -> None:
    """E t³ / 12 (1 - nu²), Timoshenko and Woinowsky-Krieger, eq. 3 (from memory): 0.6 mm of 20
    GPa."""
    assert skin(0.6).stiffness == pytest.approx(395.604, abs=0.001)


def test_compression_that_lifts() -> None:
    """The wave that lifts first, found by trying them all, gives the limit of the closed form
    (derived here)."""
    laminate = skin(0.6)
    k = np.linspace(0.01, 1.0, 200_000)
    pull = laminate.modulus * laminate.thickness * laminate.compression_limit
    lifts = laminate.thickness / 2 * (pull * k**2 - laminate.stiffness * k**4)
    assert lifts.max() == pytest.approx(laminate.pressure, rel=1e-6)
