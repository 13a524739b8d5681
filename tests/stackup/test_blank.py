"""The blank as it is known: maps of thickness and gap, what is not known of them, and what is said
about it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from corepath.job.load import load_job
from corepath.job.measured import Measured, read_measured
from corepath.job.model import Job
from corepath.reported import reported
from corepath.stackup.measuring.blank import Blank

SAMPLES = Path(__file__).parents[2] / "samples"
NAN = math.nan
FOUR = [(-600, -200), (600, -200), (600, 200), (-600, 200), (0, 0)]


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(SAMPLES / "board-1280.toml")


def places(rows: list[tuple[float, float, float, float]]) -> Measured:
    table = np.array(rows, dtype=float)
    return Measured(*table.T)


def sample(job: Job, name: str) -> Blank:
    return Blank.from_measured(job, read_measured(SAMPLES / f"blank-{name}.csv", blank=job.blank))


def at(values: NDArray[np.float64]) -> list[float]:
    return [round(float(value), 6) for value in values]


def test_unmeasured_blank_is_the_jobs(job: Job) -> None:
    """13.6 ± 0.10 everywhere and a gap from 0 to tolerances.flat, with a caution."""
    blank = Blank.assumed(job)
    assert at(blank.thickness([0, 600], [0, 200])) == [13.6, 13.6]
    assert at(blank.thickness_error([0, 600], [0, 200])) == [0.1, 0.1]
    assert at(blank.gap([0, 600], 0)) == [0.0, 0.0]
    low, high = blank.gap_bounds([0.0], [0.0])
    assert (at(low), at(high)) == ([0.0], [0.1])
    low, high = blank.raw_top_bounds([0.0], [0.0])
    assert (at(low), at(high)) == ([13.5], [13.8])
    assert (blank.thickest.value, blank.thinnest.value) == (
        pytest.approx(13.7),
        pytest.approx(13.5),
    )
    assert not blank.measured and not blank.gap_measured
    assert len(blank.cautions) == 1 and "not measured" in blank.cautions[0]


def test_error_without_a_tolerance_of_its_own(job: Job) -> None:
    """blank.tolerance wins over tolerances.thickness, which else holds."""
    plain = job.model_copy(update={"blank": job.blank.model_copy(update={"tolerance": None})})
    assert Blank.assumed(plain).error == job.tolerances.thickness


@pytest.mark.parametrize(("tolerance", "error"), [(0.5, 0.10), (None, 0.10), (0.04, 0.04)])
def test_a_figure_of_a_rough_blank_is_as_good_as_its_callipers(
    job: Job, tolerance: float | None, error: float
) -> None:
    """A blank that may be 0.5 off is known as well as it was measured, to the 0.10 of
    `tolerances.thickness`; one that is off by no more than 0.04 cannot be known worse than that."""
    own = job.model_copy(update={"blank": job.blank.model_copy(update={"tolerance": tolerance})})
    x, y = (places.ravel() for places in np.meshgrid([-600.0, 0.0, 600.0], [-200.0, 0.0, 200.0]))
    thick = np.full(9, job.blank.thickness)
    blank = Blank.from_measured(own, Measured(x, y, thick, thick))
    assert at(blank.thickness_error(x, y)) == pytest.approx([error] * 9, abs=0.02)


def test_wedge_of_the_sample(job: Job) -> None:
    """0.4 mm over the length are found within the noise of measuring; extremes lie at the ends."""
    blank = sample(job, "wedge")
    rise = blank.thickness(700, 0) - blank.thickness(-700, 0)
    assert float(rise) == pytest.approx(0.4, abs=0.05)
    assert blank.thickest.x == 700 and blank.thinnest.x == -700
    assert blank.thickest.value > 13.8 + 0.1 - 0.03
    assert blank.gap_measured and not blank.cautions


def test_cup_of_the_sample(job: Job) -> None:
    """The long edges stand 0.3 off the bed: T is level, the gap is not, and the raw top follows
    it."""
    blank = sample(job, "cupped")
    assert float(blank.gap(0, 235)) == pytest.approx(0.29, abs=0.06)
    assert float(blank.gap(0, -235)) == pytest.approx(0.29, abs=0.06)
    assert float(blank.gap(300, 0)) < 0.06
    np.testing.assert_allclose(blank.thickness([-600, 0, 600], [0, 200, -200]), 12.85, atol=0.04)
    np.testing.assert_allclose(blank.raw_top([0, 0], [230, 0]), [12.85 + 0.275, 12.85], atol=0.05)


def test_flat_sample_needs_no_caution(job: Job) -> None:
    blank = sample(job, "flat")
    assert not blank.cautions
    assert float(blank.gap(*blank.nodes(20.0)).max()) < 0.08


def test_map_is_never_surer_than_one_figure(job: Job) -> None:
    for name in ("flat", "wedge", "cupped"):
        blank = sample(job, name)
        x, y = blank.nodes(20.0)
        assert (blank.thickness_error(x, y) >= 0.1).all()
        if blank.gap_map.z.max() > 0.1 + 2 * 0.03:
            assert (blank.gap_error(x, y) >= math.hypot(0.1, 0.1)).all()
        else:
            low, high = blank.gap_bounds(x, y)
            assert (low == 0.0).all(), (
                "of a blank that lies as flat as the job says, the job's bound holds"
            )
            np.testing.assert_allclose(
                np.maximum(high, 0.1), np.maximum(2.0 * blank.gap(x, y), 0.1)
            )
        assert (blank.gap(x, y) >= 0).all()
        low, high = blank.gap_bounds(x, y)
        assert (low >= 0).all() and (high > low).all()


def test_thickness_without_heights(job: Job) -> None:
    """The gap stays as assumed, and that is said."""
    blank = Blank.from_measured(job, places([(x, y, 13.5, NAN) for x, y in FOUR]))
    assert blank.measured and not blank.gap_measured
    assert at(blank.gap_error([0.0], [0.0])) == [0.1]
    assert any("heights on the bed are not measured" in line for line in blank.cautions)
    low, high = blank.raw_top_bounds([0.0], [0.0])
    assert (at(low), at(high)) == (
        at(13.5 - blank.thickness_error([0.0], [0.0])),
        at(13.6 + blank.thickness_error([0.0], [0.0])),
    )


def test_heights_without_thickness(job: Job) -> None:
    """A height is T + gA: the raw top is known, T less so by what the gap may be, and it holds both
    extremes."""
    blank = Blank.from_measured(job, places([(x, y, NAN, 13.5) for x, y in FOUR]))
    assert blank.measured and not blank.gap_measured
    assert at(blank.raw_top([10.0], [10.0])) == [13.5]
    error = float(blank.top_map.uncertainty(10, 10))
    half = float(blank.thickness_error(10, 10))
    middle = float(blank.thickness(10, 10))
    assert middle + half == pytest.approx(13.5 + error)
    assert middle - half == pytest.approx(13.5 - 0.1 - error)


def test_noise_below_zero_and_slips(job: Job) -> None:
    """A height a hair below the thickness is no gap; one that lies lower is named with place and
    size."""
    rows = [(x, y, 13.6, 13.57) for x, y in FOUR]
    blank = Blank.from_measured(job, places(rows))
    assert at(blank.gap([0.0], [0.0])) == [0.0]
    assert not any("less than the thickness" in line for line in blank.cautions)
    rows[1] = (600, -200, 13.6, 13.4)
    named = [
        line
        for line in Blank.from_measured(job, places(rows)).cautions
        if "thickness there" in line
    ]
    assert len(named) == 1 and "X600 Y-200" in named[0] and "0.20" in named[0]


def test_outlier_is_named_with_place_and_size(job: Job) -> None:
    rng = np.random.default_rng(3)
    rows = [
        (x, y, 13.6 + rng.normal(0, 0.01), NAN)
        for x in (-650, -300, 0, 300, 650)
        for y in (-220, 0, 220)
    ]
    rows[7] = (0.0, 0.0, 14.1, NAN)
    named = [
        line for line in Blank.from_measured(job, places(rows)).cautions if "other places" in line
    ]
    assert len(named) == 1
    assert "14.10 at X0 Y0" in named[0] and "more than the other places" in named[0]


def test_extrapolation_is_a_caution(job: Job) -> None:
    """Places in one half say little of the other; the caution names the worst place."""
    rows = [
        (x, y, 13.6, NAN) for x, y in [(-650, -200), (-650, 200), (0, 200), (0, -200), (-300, 10)]
    ]
    lines = [
        line for line in Blank.from_measured(job, places(rows)).cautions if "extrapolated" in line
    ]
    assert len(lines) == 1 and "X700" in lines[0]


def test_few_places_and_places_on_a_line(job: Job) -> None:
    one = Blank.from_measured(job, places([(0, 0, 13.5, NAN)]))
    assert any("1 place only" in line for line in one.cautions)
    line = Blank.from_measured(job, places([(x, 0, 13.5, NAN) for x in (-600, 0, 600)]))
    assert any("lie on a line" in text for text in line.cautions)


def test_form_not_filled_in(job: Job) -> None:
    """The blank is then the job's, and the caution says why."""
    blank = Blank.from_measured(job, Measured(*np.empty((4, 0)), file="x.measure.csv"))
    assert not blank.measured
    assert "no figure is filled in yet: x.measure.csv" in blank.cautions


def test_figures_of_the_record(job: Job) -> None:
    """They add to the file's, and replace what it says of the same place; alone they do as well."""
    rows = [(x, y, 13.6, 13.65) for x, y in FOUR]
    blank = Blank.from_measured(job, places(rows), [(600.3, -200.2, 13.9), (0, 210, 13.6)])
    fitted = blank.thickness_map
    assert len(fitted.z) == 6
    assert sorted(fitted.z.tolist())[-1] == 13.9 and (fitted.z == 13.6).sum() == 5
    alone = Blank.from_measured(job, None, [(0, 0, 13.55)])
    assert at(alone.thickness([300.0], [0.0])) == [13.55]
    assert Blank.from_measured(job, None) == Blank.assumed(job)


def test_shapes_and_grid(job: Job) -> None:
    blank = sample(job, "wedge")
    x, y = blank.nodes()
    assert (x.min(), x.max(), y.min(), y.max()) == (-700, 700, -240, 240)
    for name in ("thickness", "thickness_error", "gap", "gap_error", "raw_top"):
        assert getattr(blank, name)(np.zeros((3, 2)), 0.0).shape == (3, 2)
        assert getattr(blank, name)(1.0, 2.0).shape == ()


def test_as_dict_is_plain(job: Job) -> None:
    import json

    found = json.loads(json.dumps(reported(sample(job, "cupped"))))
    assert found["maps"]["thickness"]["places"] == 12 and found["maps"]["height"]["places"] == 16
    assert found["gap_measured"] is True
