"""The four sheets of the deck: figures against closed forms, what they say, small and the same each
time."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from corepath.planning.prepare import prepare
from corepath.views.deck.deck_pictures import curvature, deck_pictures, slope

SAMPLES = Path(__file__).parents[2] / "samples"


class Ball:
    """z = sqrt(R² - x² - y²): every principal curvature is 1/R everywhere."""

    radius = 400.0

    def gradient(self, x, y):
        z = np.sqrt(self.radius**2 - x**2 - y**2)
        return -x / z, -y / z

    def hessian(self, x, y):
        z = np.sqrt(self.radius**2 - x**2 - y**2)
        return -1 / z - x**2 / z**3, -x * y / z**3, -1 / z - y**2 / z**3


@pytest.fixture(scope="module")
def sheets() -> dict[str, str]:
    prepared = prepare(SAMPLES / "coupon.toml")
    return deck_pictures(prepared.job, prepared.board, digest="abc123")


def test_curvature_of_a_ball_is_one_over_its_radius_everywhere():
    """Elementary geometry; a curvature taken as the second derivative alone would differ by the
    slope."""
    x, y = np.array([0.0, 100.0, -200.0]), np.array([0.0, 50.0, 150.0])
    assert curvature(Ball(), x, y) == pytest.approx([2.5, 2.5, 2.5], rel=1e-6)


def test_slope_is_the_angle_of_the_steepest_way():
    assert slope(Ball(), np.array([200.0]), np.array([0.0])) == pytest.approx([30.0])


def test_four_sheets_that_are_small_and_whole(sheets: dict[str, str]):
    assert list(sheets) == [
        "deck-contours.svg",
        "deck-curvature.svg",
        "deck-sections.svg",
        "deck-slope.svg",
    ]
    for name, text in sheets.items():
        ElementTree.fromstring(text)
        assert len(text) < 200_000, name
        assert "abc123" in text


def test_contours_bear_their_heights(sheets: dict[str, str]):
    levels = set(re.findall(r'id="contour-([\d.]+)"', sheets["deck-contours.svg"]))
    figures = {
        f"{float(v):g}"
        for v in re.findall(
            r'class="figure '
            r'halo"[^>]*>([\d.]+)<',
            sheets["deck-contours.svg"],
        )
    }
    assert levels and levels == figures


def test_sections_are_drawn_true_and_ten_times_taller(sheets: dict[str, str]):
    """The heights of the two outlines of one section on the sheet are as one to ten."""
    group = re.search(r'id="section-S1">(.*?)</g>', sheets["deck-sections.svg"], re.DOTALL)
    assert group
    spans = []
    for data in re.findall(r' d="M([^"]*)z"', group[1]):
        first, rest = data.split("l")
        steps = np.array(rest.split(), dtype=float).reshape(-1, 2)
        y = float(first.split()[1]) + np.concatenate(([0.0], np.cumsum(steps[:, 1])))
        spans.append(float(np.ptp(y)))
    assert len(spans) == 2
    assert spans[1] / spans[0] == pytest.approx(10.0, rel=0.02)
