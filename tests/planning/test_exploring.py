"""What limits cost and what numbers would save: by hand where a path is simple, and never a number
that puts a check in doubt."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import corepath.planning.exploring.tried_numbers as exploring
from corepath.job.load import load_job
from corepath.motion.program import Kind
from corepath.planning.exploring.limit_costs import _fastest, limit_costs
from corepath.planning.exploring.tried_numbers import _doubted, _least, _trials, numbers
from corepath.planning.make import make_files, minutes_of
from corepath.planning.plan import Plan
from corepath.planning.prepare import Prepared, prepare_job

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare_job(load_job(SAMPLES / "coupon.toml"), SAMPLES)


def test_costs_of_a_hole_straight_down_by_hand(prepared: Prepared) -> None:
    """The first file of the coupon; each limit by itself, the path as it is."""
    holes = next(work for work in prepared.ahead if work.name == "dowels")
    (made, *_) = make_files(replace(prepared, works=(holes,)))
    (costs,) = limit_costs(prepared.job, (made,), 1)
    limits = prepared.job.machine.motion_limits
    assert costs.minutes == made.minutes
    assert costs.acceleration == pytest.approx(
        made.minutes - minutes_of(made.program, replace(limits, accel=1e9))
    )
    assert 0.0 < costs.chip_load < costs.minutes and costs.corners >= 0.0
    assert costs.power is None and costs.acceleration > costs.corners
    # No teeth to spare: the highest feed is that of the machine, all others in proportion.
    feeds = [move.feed for move in made.program.passes[0].moves if move.kind != Kind.RAPID]
    quick = _fastest(made.program, 5400.0).passes[0].moves
    raised = [move.feed for move in quick if move.kind != Kind.RAPID]
    assert max(raised) == pytest.approx(5400.0)
    assert raised == pytest.approx([feed * 5400.0 / max(feeds) for feed in feeds])
    assert _fastest(made.program, 1.0) == made.program


def test_only_numbers_that_lower_the_least_time_are_planned(
    prepared: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each is worked out; what puts a check in doubt is told, and at most four are planned."""
    planned: list[str] = []

    def stand_in(made: object, trial: object, saved: float, *_: object) -> object:
        planned.append(trial.change)  # type: ignore[attr-defined]
        return exploring.TriedNumber(trial.change, saved, 1.0, saved)  # type: ignore[attr-defined]

    monkeypatch.setattr(exploring, "_planned", stand_in)
    made = Plan.__new__(Plan)
    object.__setattr__(made, "prepared", prepared)
    found = numbers(made)
    usual = _least(prepared)
    assert 0 < len(planned) <= 4 and {one.change for one in found} >= set(planned)
    jobs = {trial.change: trial.job for trial in _trials(prepared, made)}
    for one in found:
        trial = prepare_job(jobs[str(one.change)], SAMPLES)
        assert one.least == pytest.approx(usual - _least(trial), abs=0.02)
        assert one.least >= 0.1
        if "in doubt" in one.against:
            assert _doubted(prepared, trial)
        elif one.minutes is not None:
            assert not _doubted(prepared, trial)
