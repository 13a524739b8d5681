"""Change one depth of the 1280 sample at a time: the checks that hang on it move, the others stand
still."""

from pathlib import Path
from typing import Any

import pytest

from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.planning.prepare import prepare_job

SAMPLES = Path(__file__).parents[2] / "samples"
MOVED = 0.01
"""mm: what counts as moved. Shrinkage over a floor 0.1 lower moves a fill by 0.0005: still."""


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(SAMPLES / "board-1280.toml")


def values(job: Job) -> dict[str, float]:
    found: dict[str, float] = {}
    for check in prepare_job(job, SAMPLES).checks:
        found[check.id] = found.get(check.id, 0.0) + check.value
    return found


@pytest.fixture(scope="module")
def before(job: Job) -> dict[str, float]:
    return values(job)


def changed(job: Job, section: str, **update: Any) -> Job:
    held = getattr(job, section)
    if isinstance(held, tuple):
        return job.model_copy(
            update={section: tuple(entry.model_copy(update=update) for entry in held)}
        )
    return job.model_copy(update={section: held.model_copy(update=update)})


@pytest.mark.parametrize(
    ("section", "update", "moving"),
    [
        ("groove", {"floor": 1.25}, {"window": -0.05, "floor": 0.05, "shows": -0.05}),
        (
            "skim",
            {"step": 0.45},
            {"shows": 0.05, "clean-up": -0.05, "reach": 0.15, "collet": 0.15, "travel": 0.15},
        ),
        ("insert", {"recess": 0.5}, {"seat": 0.2, "wood-over-seat": -0.2, "barrel": -0.2}),
        (
            "blank",
            {"thickness": 13.7},
            {"window": 0.1, "shows": 0.1, "travel": -0.1, "fill": -0.015},
        ),
        (
            "board",
            {"edge_thickness": 4.5},
            {"hold": 0.3, "dowels": 0.3, "fill": None, "skin": None},
        ),
        ("cast", {"fill_margin": 0.6}, {"fill": -0.6}),
        ("cast", {"pour_short": 0.8}, {"fill": -0.6}),
        (
            "deck",
            {"clean_up": 0.45},
            {"window": -0.05, "clean-up": 0.05, "shows": -0.05, "fill": 0.3, "opens": 0.015}
            | dict.fromkeys(("reach", "collet", "travel"), -0.05),
        ),
        ("dowel", {"stand": 3.4}, {"dowels": 0.1}),
    ],
)
def test_what_hangs_on_one_depth(
    job: Job,
    before: dict[str, float],
    section: str,
    update: dict[str, Any],
    moving: dict[str, float | None],
):
    """`fill` sums its six castings, each of which loses 2.5 % of its depth; None where it depends
    on the place of each.

    `reach`, `collet` and `travel` move with the plane of the earliest stop: a through bore must
    serve the thickest core. A blind bore passes the deck by half of deck.clean_up where the errors,
    0.21 here, are less: `opens` moves.
    """
    after = values(changed(job, section, **update))
    moved = {
        check: after[check] - value
        for check, value in before.items()
        if abs(after[check] - value) > MOVED
    }
    assert set(moved) == set(moving)
    for check, by in moving.items():
        if by is not None:
            assert moved[check] == pytest.approx(by, abs=0.01), check


def test_a_core_too_thick_for_its_blank(job: Job):
    """A case from practice (common practice, no source): a 10.2 blank cannot hold a 9.5 core.

    With clean-up 0.3 only 0.4 is left for the floor: window and with it the floor must not pass.
    """
    thin = changed(job, "blank", thickness=10.2)
    thin = changed(thin, "deck", stations=((-640.0, 9.5), (640.0, 9.5)), clean_up=0.3)
    thin = changed(thin, "board", thickness=9.5)
    for floor, failing in ((0.4, "floor"), (0.6, "window")):
        checks = {
            check.id: check
            for check in prepare_job(changed(thin, "groove", floor=floor), SAMPLES).checks
        }
        assert checks[failing].verdict == "fail"
