"""Three measured blanks for one core: one passes, one with the advice taken, one cannot make it."""

from pathlib import Path

import pytest

from corepath.caching.folder_store import store_of
from corepath.planning.fixing.changed_values import changed_job
from corepath.planning.fixing.search import find_fixes
from corepath.planning.plan import plan
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.proving.proof import prove
from corepath.stackup.pass_shows import showing

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).parents[2] / "samples"


def on(name: str) -> Prepared:
    return prepare(SAMPLES / f"board-1280-{name}.toml")


def fixed(prepared: Prepared) -> Prepared:
    """The job with the last fix that was found: the first is to touch off better."""
    values = find_fixes(prepared).found[-1].values
    assert not any(key.startswith("tolerances") for key in values)
    return prepare_job(changed_job(prepared.job, values), SAMPLES, prepared.known)


def test_the_flat_one_plans_and_reads_back():
    """On the blank as it was measured, wood and all, not on a nominal one."""
    made = plan(on("flat"), store=store_of())
    assert {check.verdict for check in made.checks} == {"ok"}
    assert [str(finding) for finding in made.findings] == []
    assert {"map-shows.svg", "map-wood-under.svg", "map-groove-depth.svg"} <= set(made.files)


def test_the_wedge_needs_a_fix():
    """As it is the tail shows late and costs clean-up: a caution; with a fix all
    checks hold."""
    prepared = on("wedge")
    assert {check.id for check in prepared.checks if check.verdict != "ok"} == {"clean-up"}
    assert not prepared.failed
    assert prepared.advice.possible
    better = fixed(prepared)
    assert {check.verdict for check in better.checks} == {"ok"}
    proof = prove(better, store=store_of())
    assert (
        proof.readback is not None and [str(finding) for finding in proof.readback.findings] == []
    )


def test_a_wedge_shows_at_its_thin_end_last():
    """The tail is thin (X-), and a wedge delays the showing there; it does not taper the core."""
    prepared = on("wedge")
    groove = prepared.stackup.castings[0]
    assert groove.shallowest_at[0] < -500.0 < 500.0 < groove.deepest_at[0]
    passes = {entry.number: entry.shares["groove"][1] for entry in showing(prepared.stackup)}
    assert 0.2 < passes[3] < 0.9 and passes[5] == 1.0


def test_the_cupped_one_cannot():
    """Too hollow for a safe floor and too thin to show above it: said, with what it still gives."""
    prepared = on("cupped")
    assert not prepared.advice.possible
    low, high = prepared.advice.floors
    assert low - high == pytest.approx(prepared.advice.least_blank - prepared.job.blank.thickness)
    assert plan(prepared).failed
