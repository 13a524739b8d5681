"""`record --probed FILE`: a touched place that is taken for another thing spoils the core unseen.

The coupon's blank is 240 by 90 and 10.6 thick, its touched places by hand.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.measured import Measured
from corepath.job.model import Job
from corepath.job.probed import probed_entries
from corepath.job.record.ascut import load_record
from corepath.job.record.entry import Entry
from corepath.job.record.record_facts import JobFacts
from corepath.job.record.settled import Settled
from corepath.planning.known import Known
from corepath.planning.prepare import prepare_job
from corepath.stackup.measuring.facts_for_record import facts_of

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def facts() -> JobFacts:
    prepared = prepare_job(load_job(SAMPLES / "coupon.toml"), SAMPLES)
    return facts_of(prepared.job, "coupon.toml", prepared.board, prepared.stackup)


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(SAMPLES / "coupon.toml")


def with_machine(job: Job, **keys: object) -> Job:
    return job.model_copy(update={"machine": job.machine.model_copy(update=keys)})


def entries(
    tmp_path: Path, text: str, job: Job, facts: JobFacts, settled: Settled | None = None
) -> list[Entry]:
    path = tmp_path / "points.txt"
    path.write_text(text)
    return probed_entries(path, job, facts, settled or Settled())


def test_points_before_any_cut_are_heights(tmp_path: Path, job: Job, facts: JobFacts):
    text = "# by hand\n\n-110 25 10.62\nX-110.0 Y-25 Z10.58  # front\n100,0,10.6\n"
    found = entries(tmp_path, text, job, facts)
    assert [(one.kind, one.at, one.value) for one in found] == [
        ("height", (-110.0, 25.0), 10.62),
        ("height", (-110.0, -25.0), 10.58),
        ("height", (100.0, 0.0), 10.6),
    ]


def test_machine_coordinates_count_from_the_zero_given(tmp_path: Path, job: Job, facts: JobFacts):
    """500 - 110 = 390, 300 + 25 = 325, -80 + 10.62 = -69.38; the corner lies half the blank, 120
    and 45, before its middle: at 380, 255."""
    machine = with_machine(job, probe="stop", probe_tip=2.0, probe_reports="machine")
    (one,) = entries(tmp_path, "zero 500 300 -80\n390 325 -69.38\n", machine, facts)
    assert (one.at, one.value) == ((-110.0, 25.0), 10.62)
    corner = with_machine(machine, xy_zero="front-left")
    (one,) = entries(tmp_path, "zero 380 255 -80\n390 325 -69.38\n", corner, facts)
    assert (one.at, one.value) == ((-110.0, 25.0), 10.62)


def test_depths_count_from_the_nearest_raw_top(tmp_path: Path, job: Job, facts: JobFacts):
    """Groove 10.62 - 1.21 = 9.41, the plug's pocket 10.62 - 1.25 = 9.37; the far point is not
    taken."""
    x, y = facts.castings["groove"].places[0]
    near = f"{x - 12:g} {y:g} 10.62\n100 40 10.90\n"
    cut = Settled(cut=frozenset({"groove"}), stage="A")
    text = f"{x:g} {y:g} 1.21\n-66 7 1.25\n{near}"
    found = entries(tmp_path, text, job, facts, cut)
    assert [(one.kind, one.at, one.casting, one.value) for one in found] == [
        ("groove-depth", (x, y), None, 9.41),
        ("pocket-depth", None, "P1", 9.37),
    ]
    with pytest.raises(InputError, match="no point of the raw top is near it"):
        entries(tmp_path, f"{x:g} {y:g} 1.21\n100 40 10.9\n", job, facts, cut)
    known = Settled(cut=frozenset({"groove"}), stage="A", heights=((x - 12, y, 10.6),))
    (one,) = entries(tmp_path, f"{x:g} {y:g} 1.21\n", job, facts, known)
    assert one.value == pytest.approx(9.39)


def test_in_b_the_touched_face_is_one_point_mirrored(tmp_path: Path, job: Job, facts: JobFacts):
    """`touch_at` (60, 20) lies at (60, -20) in B, turned about X."""
    touched, skimmed = with_machine(job, touch_at=(60.0, 20.0)), Settled(stage="B")
    (one,) = entries(tmp_path, "60 -20 9.41\n0 0 9.40\n", touched, facts, skimmed)
    assert (one.kind, one.operation, one.value) == ("touch", "inserts", 9.41)
    with pytest.raises(InputError, match="one point is the touched face"):
        entries(tmp_path, "60 20 9.41\n", touched, facts, skimmed)
    (one,) = entries(tmp_path, "5 5 9.41\n", job, facts, Settled(stage="inserts"))
    assert one.operation == next(n for n in ("deck-rough", "deck") if n in facts.operations)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "holds no point"),
        ("1 2\n", "is no point"),
        ("1 2 3 4\n", "is no point"),
        ("10,5 3,2 13,6\n", "is no point"),
        ("zero 1 2 3\n4 5 10.6\n", "goes with"),
        ("nan 0 0\n", "is no point"),
    ],
)
def test_a_line_that_is_no_point_is_named(
    text: str, message: str, tmp_path: Path, job: Job, facts: JobFacts
):
    with pytest.raises(InputError, match=message):
        entries(tmp_path, text, job, facts)


def test_machine_coordinates_without_their_zero_are_refused(
    tmp_path: Path, job: Job, facts: JobFacts
):
    machine = with_machine(job, probe="stop", probe_tip=2.0, probe_reports="machine")
    with pytest.raises(InputError, match="need the zero that was in force"):
        entries(tmp_path, "390 325 -69.38\n", machine, facts)


def test_probed_heights_have_a_tolerance_of_their_own(job: Job):
    """All by the probe: 0.03; beside one of a list, which may be off by 0.10, that one's counts."""
    heights = ((-100.0, 0.0, 10.6), (100.0, 0.0, 10.6))
    probed = Known(settled=Settled(heights=heights)).blank(job)
    assert probed.top_map is not None and probed.top_map.error == 0.03
    line = Measured(*(np.array([value]) for value in (0.0, 30.0, np.nan, 10.6)))
    mixed = Known(line, Settled(heights=heights)).blank(job)
    assert mixed.top_map is not None and mixed.top_map.error == job.blank.tolerance == 0.10
    finer = job.model_copy(update={"tolerances": job.tolerances.model_copy(update={"probe": 0.01})})
    again = Known(settled=Settled(heights=heights)).blank(finer)
    assert again.top_map is not None and again.top_map.error == 0.01


def test_the_command_adds_all_or_none(tmp_path: Path):
    job, points = tmp_path / "coupon.toml", tmp_path / "points.txt"
    shutil.copy(SAMPLES / "coupon.toml", job)
    points.write_text("-100 30 10.62\n100 -30 16.0\n")
    run = ["record", str(job), "--probed", str(points)]
    done = CliRunner().invoke(app, run)
    assert done.exit_code == 2 and "Z zero on" in done.output
    assert not (tmp_path / "coupon.ascut.toml").exists()
    points.write_text("-100 30 10.62\n100 -30 10.60\n")
    done = CliRunner().invoke(app, run)
    assert done.exit_code == 0, done.output
    settled = load_record(tmp_path / "coupon.ascut.toml").settled()
    assert settled.heights == ((-100.0, 30.0, 10.62), (100.0, -30.0, 10.6))
    assert 'note = "probed"' in (tmp_path / "coupon.ascut.toml").read_text()
