"""The three measured blanks in samples/: what their stories say is in their figures, and their
script makes them."""

from __future__ import annotations

import math
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from corepath.job.load import load_job
from corepath.job.measured import Measured, read_measured
from corepath.stackup.measuring.blank import Blank

SAMPLES = Path(__file__).parents[2] / "samples"
NAMES = ("blank-flat.csv", "blank-wedge.csv", "blank-cupped.csv")
JOBS = ("board-1280-flat.toml", "board-1280-wedge.toml", "board-1280-cupped.toml")
NOISE = 0.06
"""mm: three standard deviations of what the script adds to each figure"""


def read(name: str) -> Measured:
    return read_measured(SAMPLES / name, blank=load_job(SAMPLES / "board-1280.toml").blank)


def plane(measured: Measured, figures: np.ndarray) -> np.ndarray:
    """Coefficients of 1, x, y by numpy's least squares, apart from the code under test."""
    there = ~np.isnan(figures)
    columns = np.column_stack([np.ones(there.sum()), measured.x[there], measured.y[there]])
    return np.asarray(np.linalg.lstsq(columns, figures[there], rcond=None)[0])


@pytest.mark.parametrize("name", NAMES + JOBS)
def test_the_script_makes_the_committed_file(name: str, tmp_path: Path) -> None:
    """Else the samples would no longer be what the script says of them."""
    script = tmp_path / "make_blanks.py"
    shutil.copy(SAMPLES / "make_blanks.py", script)
    shutil.copy(SAMPLES / "board-1280.toml", tmp_path)
    subprocess.run([sys.executable, str(script)], check=True, timeout=60)
    assert (tmp_path / name).read_bytes() == (SAMPLES / name).read_bytes()


@pytest.mark.parametrize("name", NAMES)
def test_places_can_be_reached_and_no_figure_is_odd(name: str) -> None:
    """Callipers of 100 mm throat measured no place farther in; nothing in a sample is named an
    outlier."""
    job = load_job(SAMPLES / "board-1280.toml")
    measured = read(name)
    assert 12 <= len(measured) <= 16
    inward = np.minimum(
        job.blank.length / 2 - abs(measured.x), job.blank.width / 2 - abs(measured.y)
    )
    assert np.all(inward[~np.isnan(measured.thickness)] <= 100.0)
    for dowel in job.dowel:
        off = np.hypot(measured.x - dowel.at[0], measured.y - dowel.at[1])
        assert off.min() > dowel.diameter / 2
    assert Blank.from_measured(job, measured).outliers == ()


def test_the_flat_one_is_flat_and_level() -> None:
    measured = read("blank-flat.csv")
    assert np.nanmax(abs(measured.thickness - 13.6)) < 0.02 + NOISE
    _, along, across = plane(measured, measured.thickness)
    assert math.hypot(along * 1400, across * 480) < 0.05
    assert np.nanmax(abs(measured.height - measured.thickness)) < 0.02 + 2 * NOISE


def test_the_wedge_rises_by_its_four_tenths() -> None:
    """The slope is that of the story within three standard errors, 3 x 0.02 / (520 x sqrt 12) x
    1400 = 0.05."""
    measured = read("blank-wedge.csv")
    _, along, across = plane(measured, measured.thickness)
    assert along * 1400 == pytest.approx(0.4, abs=0.05)
    assert abs(across * 480) < 0.05


def test_the_cupped_one_stands_off_the_bed_at_its_long_edges() -> None:
    """gA = 0.3 (2y/480)²: 0.26 at y = ±225 and nothing on the middle line; the wood itself is
    even."""
    measured = read("blank-cupped.csv")
    gap = measured.height - measured.thickness
    edges = np.abs(measured.y) > 200
    assert np.nanmean(gap[edges]) == pytest.approx(0.264, abs=0.03)
    assert np.nanmax(np.abs(gap[~edges])) < 2 * NOISE
    assert np.nanmax(abs(measured.thickness - 12.85)) < NOISE


def test_the_map_of_the_cupped_one_keeps_the_cup() -> None:
    """A smoother that takes the cup for noise would hide where the floor runs thin: 0.3 mm of 1.2
    mm."""
    job = load_job(SAMPLES / "board-1280.toml")
    blank = Blank.from_measured(job, read("blank-cupped.csv"))
    x = np.array([0.0, 0.0, -40.0, -40.0, 640.0, -640.0])
    y = np.array([0.0, 100.0, 210.0, -210.0, 0.0, 0.0])
    true = 0.3 * (2 * y / 480) ** 2
    assert blank.gap(x, y) == pytest.approx(true, abs=NOISE)
    assert blank.raw_top(x, y) == pytest.approx(12.85 + true, abs=NOISE)
    assert np.all(np.abs(blank.gap(x, y) - true) <= blank.gap_error(x, y))
