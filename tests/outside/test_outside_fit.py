"""Fits of a measured blank against public figures and independent libraries.

Sources: Anscombe, Graphs in Statistical Analysis, The American Statistician 27
(1973), set I, with its published fit 3.00 + 0.500 x, residual sum of squares 13.75 (from memory), as
places that lie on a line; numpy.linalg.lstsq
and scipy.stats for the plane, its residual and its prediction interval (formula: Draper and Smith, Applied Regression
Analysis, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from corepath.stackup.fitting import fit

ANSCOMBE_X = np.array([10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5], dtype=float)
ANSCOMBE_Y = np.array([8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68])

PLACES = np.array([[-600, -200], [610, -190], [580, 210], [-620, 190], [15, 5]], dtype=float)
FIGURES = np.array([13.42, 13.81, 13.77, 13.45, 13.58])


def test_line_of_anscombe() -> None:
    """Intercept 3.00, slope 0.500, residual sum of squares 13.75 as published; interval as scipy has it."""
    fitted = fit(ANSCOMBE_X, 0 * ANSCOMBE_X, ANSCOMBE_Y, 0.01)
    assert fitted.kind == "line"
    assert float(fitted.value(0, 0)) == pytest.approx(3.00, abs=0.005)
    assert float(fitted.value(1, 0) - fitted.value(0, 0)) == pytest.approx(0.500, abs=0.0005)
    assert float((fitted.residuals**2).sum()) == pytest.approx(13.75, abs=0.02)
    line = stats.linregress(ANSCOMBE_X, ANSCOMBE_Y)
    assert float(fitted.value(20, 0)) == pytest.approx(line.intercept + 20 * line.slope, rel=1e-12)
    sd = np.sqrt((fitted.residuals**2).sum() / 9)
    spread = ((ANSCOMBE_X - 9) ** 2).sum()
    half = stats.t.ppf(0.975, 9) * sd * np.sqrt(1 + 1 / 11 + (20 - 9) ** 2 / spread)
    assert float(fitted.uncertainty(20, 0)) == pytest.approx(half, rel=1e-9)


def test_plane_as_numpy_has_it() -> None:
    """Values, residuals and residual standard deviation of a plane through five places."""
    x, y = PLACES.T
    fitted = fit(x, y, FIGURES, 0.05)
    design = np.column_stack([np.ones(5), x, y])
    found, rest, *_ = np.linalg.lstsq(design, FIGURES, rcond=None)
    assert fitted.kind == "plane"
    np.testing.assert_allclose(fitted.value(*PLACES.T), design @ found, rtol=1e-12)
    np.testing.assert_allclose(fitted.residuals, FIGURES - design @ found, atol=1e-12)
    assert fitted.residual_sd == pytest.approx(np.sqrt(rest[0] / 2), rel=1e-9)
    assert fitted.rms == pytest.approx(np.sqrt(rest[0] / 5), rel=1e-9)


@pytest.mark.parametrize("count", [4, 5, 8, 16, 60])
@pytest.mark.parametrize("cup", [0.0, 0.3])
def test_never_below_the_planes_prediction_interval(count: int, cup: float) -> None:
    """t(0.975, n - 3) s sqrt(1 + x0' (X'X)^-1 x0) of the least-squares plane, for planes and for surfaces."""
    rng = np.random.default_rng(count)
    x, y = rng.uniform(-690, 690, count), rng.uniform(-230, 230, count)
    z = 13.6 + 0.0003 * x + cup * (y / 240) ** 2 + rng.normal(0, 0.05, count)
    design = np.column_stack([np.ones(count), x, y])
    _, rest, *_ = np.linalg.lstsq(design, z, rcond=None)
    at = np.column_stack([np.ones(40), rng.uniform(-700, 700, 40), rng.uniform(-240, 240, 40)])
    grown = np.sqrt(1 + np.einsum("ij,jk,ik->i", at, np.linalg.inv(design.T @ design), at))
    half = stats.t.ppf(0.975, count - 3) * np.sqrt(rest[0] / (count - 3)) * grown
    fitted = fit(x, y, z, 0.01)
    ours = fitted.uncertainty(at[:, 1], at[:, 2])
    assert (ours >= half * (1 - 1e-9)).all()
    if fitted.kind == "plane":
        np.testing.assert_allclose(ours, half, rtol=1e-9)


@pytest.mark.whole
def test_prediction_interval_covers_as_student_says() -> None:
    """Of 4000 further figures, 95 of 100 lie within the interval of a plane through five places."""
    rng = np.random.default_rng(12)
    x, y = PLACES.T
    inside = 0
    for _ in range(4000):
        figures = 13.6 + 0.0003 * x + rng.normal(0, 0.1, 5)
        further = 13.6 + 0.0003 * 200 + rng.normal(0, 0.1)
        fitted = fit(x, y, figures, 1e-6)
        inside += bool(abs(further - float(fitted.value(200, 100))) <= float(fitted.uncertainty(200, 100)))
    assert inside / 4000 == pytest.approx(0.95, abs=0.012)
