"""How far a core that tapers shifts along its form, by walking along the form piece by piece.

Pure bending (beam theory, textbook): the fibre through the centroid of the section keeps its
length. Over a piece dx of flat core the form is ds long with ds · (1 - c · k) = dx, c the
centroid's height over the form and k its curvature. The equation is solved for the core's own
centroids and for one height all along; the ends differ by what the tool tells.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline

from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.layup.laid import laid_up

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.mark.whole
@pytest.mark.parametrize(
    ("sample", "nose", "wanted"), [("rocker-1100", 556.0, 0.32), ("cradle-460", 212.0, 0.12)]
)
def test_the_taper_is_told_in_its_size(sample: str, nose: float, wanted: float) -> None:
    """`wanted` stands in docs/layup.md; a hole is drilled by the figure, and the edge dressed."""
    job = load_job(SAMPLES / f"{sample}.toml")
    board = build_board(job, SAMPLES)
    assert job.layup is not None and job.layup.rocker is not None
    stations = np.array(job.layup.rocker)
    form = CubicSpline(stations[:, 0], stations[:, 1])
    x = np.linspace(0.0, job.blank.length / 2.0, 601)
    y = np.linspace(-job.blank.width / 2.0, job.blank.width / 2.0, 201)
    high = board.deck.height(x[:, None], y[None, :])
    centroid = job.layup.skin_below + np.trapezoid(high**2 / 2.0, y, axis=1) / np.trapezoid(
        high, y, axis=1
    )
    laid = laid_up(job, board)

    def end(height: np.ndarray) -> float:
        """Chord place under the nose where the fibre at `height` keeps its length."""

        def pace(at: float, under: np.ndarray) -> np.ndarray:
            long = np.hypot(1.0, form(under, 1))
            bend = form(under, 2) / long**3
            return np.asarray(1.0 / (long * (1.0 - np.interp(at, x, height) * bend)))

        return float(
            solve_ivp(pace, (0.0, nose), [0.0], rtol=1e-9, atol=1e-9, max_step=4.0).y[0, -1]
        )

    tapered, alike = end(centroid), end(np.full_like(x, laid.kept))
    shift = (tapered - alike) * float(np.hypot(1.0, form(tapered, 1)))
    told = float(laid.taper_shift(nose))
    assert told == pytest.approx(shift, abs=0.002)
    assert round(-told, 2) == wanted
    page = (SAMPLES.parent / "docs" / "layup.md").read_text(encoding="utf-8")
    assert f"{wanted:.2f} at " in page
