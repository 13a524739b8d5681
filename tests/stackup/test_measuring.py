"""Where to measure: places that can be reached and say enough, and a form that reads back as it was
written."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from shapely import Point, Polygon

from corepath.board.features import Board
from corepath.board.make_board import collect_faults
from corepath.job.load import load_job
from corepath.job.measured import read_measured
from corepath.job.model import Job, ObstacleSection
from corepath.stackup.measuring.places_to_measure import (
    MOST,
    THROAT,
    measuring_places,
    template_text,
)

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module", params=["board-1280", "balance-740", "coupon"])
def planned(request: pytest.FixtureRequest) -> tuple[Job, Board]:
    path = SAMPLES / f"{request.param}.toml"
    job = load_job(path)
    board, _ = collect_faults(job, path.parent)
    assert board is not None
    return job, board


def test_number_reach_and_room(planned: tuple[Job, Board]) -> None:
    """9 to 16 places on the blank, none on a dowel, none close to another, callipers only where
    they reach."""
    job, board = planned
    places = measuring_places(job, board)
    assert 9 <= len(places) <= MOST
    for place in places:
        off = min(job.blank.length / 2 - abs(place.x), job.blank.width / 2 - abs(place.y))
        assert off > 0
        assert ("thickness" in place.what) == (off <= THROAT)
        assert all(
            math.dist((place.x, place.y), dowel.at) > dowel.diameter / 2 + 5
            for dowel in board.dowels
        )
    spots = [(place.x, place.y) for place in places]
    least = min(math.dist(a, b) for k, a in enumerate(spots) for b in spots[:k])
    assert least >= min(40.0, job.blank.width / 4) - 1e-6


def test_they_say_enough(planned: tuple[Job, Board]) -> None:
    """Wedge, cup, bow and twist can be told apart, and no place of the blank is far from being
    known.

    The leverage of a place is the variance of the fitted second-degree surface there over that of
    one figure; the most of it over the design space is never below 6 / n (Kiefer and Wolfowitz,
    from memory).
    """
    job, board = planned
    places = measuring_places(job, board)

    def terms(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        u, v = 2 * x / job.blank.length, 2 * y / job.blank.width
        return np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v])

    known = terms(np.array([p.x for p in places]), np.array([p.y for p in places]))
    assert np.linalg.cond(known) < 20
    gx, gy = np.meshgrid(
        np.linspace(-0.5, 0.5, 21) * job.blank.length, np.linspace(-0.5, 0.5, 21) * job.blank.width
    )
    inside = terms(gx.ravel(), gy.ravel())
    leverage = np.einsum("ij,jk,ik->i", inside, np.linalg.inv(known.T @ known), inside)
    assert 6 / len(places) <= leverage.max() < 1.3


def test_corners_sides_and_plugs(planned: tuple[Job, Board]) -> None:
    job, board = planned
    whys = [place.why for place in measuring_places(job, board)]
    assert sum(why.startswith("corner") for why in whys) == 4
    assert sum(why.startswith("middle of") for why in whys) == 4
    plugs = {casting.id for casting in board.castings if casting.kind == "plug"}
    assert plugs == {why.removeprefix("over plug ") for why in whys if why.startswith("over plug")}


def test_not_under_a_clamp(planned: tuple[Job, Board]) -> None:
    """A clamp on a corner in A moves that place; one of C does not."""
    job, board = planned
    x, y = job.blank.length / 2, job.blank.width / 2
    points = ((x - 20, y - 20), (x + 20, y - 20), (x + 20, y + 20), (x - 20, y + 20))
    clamped = job.model_copy(
        update={"obstacle": (ObstacleSection(points=points, height=30.0, setups=("A",)),)}
    )
    assert all(
        Point(p.x, p.y).distance(Polygon(points)) > 5 for p in measuring_places(clamped, board)
    )
    later = job.model_copy(
        update={"obstacle": (ObstacleSection(points=points, height=30.0, setups=("C",)),)}
    )
    assert measuring_places(later, board) == measuring_places(job, board)


def test_walk_starts_at_a_corner_and_goes_round(planned: tuple[Job, Board]) -> None:
    job, board = planned
    outer = [place for place in measuring_places(job, board) if "thickness" in place.what]
    assert outer[0].why == "corner, left front"
    angles = [math.atan2(2 * p.y / job.blank.width, 2 * p.x / job.blank.length) for p in outer]
    turned = [(angle - angles[0] + 1e-9) % (2 * math.pi) for angle in angles]
    assert turned == sorted(turned)


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_form_reads_back(planned: tuple[Job, Board], units: str, tmp_path: Path) -> None:
    """Unfilled it gives no place and no fault; filled in, the places come back where they were."""
    job, board = planned
    job = job.model_copy(update={"units": units})
    scale = 25.4 if units == "inch" else 1.0
    text = template_text(job, board, "x.measure.csv")
    assert 'measured = "x.measure.csv"' in text and max(map(len, text.splitlines())) <= 120
    path = tmp_path / "x.measure.csv"
    path.write_text(text, encoding="utf-8")
    assert len(read_measured(path, scale=scale, blank=job.blank)) == 0
    figure = f"{job.blank.thickness / scale:.4f}"
    path.write_text(text.replace(",,,", f",{figure},{figure},"), encoding="utf-8")
    found = read_measured(path, scale=scale, blank=job.blank)
    places = measuring_places(job, board)
    np.testing.assert_allclose(found.x, [place.x for place in places], atol=0.06)
    np.testing.assert_allclose(found.y, [place.y for place in places], atol=0.06)
    np.testing.assert_allclose(found.thickness, job.blank.thickness, atol=0.002)
