"""The engine: whatever was asked before, a job gets what it would get alone."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.model import Job, SkinSection
from corepath.kept import Kept
from corepath.planning.engine import Engine
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.report import job_skin
from corepath.planning.report.checks_report import checks_report
from corepath.planning.side_by_side import beside

pytestmark = pytest.mark.usefixtures("boards_anew")

SAMPLES = Path(__file__).parents[2] / "samples"

STEPS: dict[str, Any] = {
    "board.edge_thickness": -0.1, "outline.stations": 0.5, "deck.stations": -0.05,
    "deck.blend": -3.0, "deck.edge_band": 1.0, "deck.clean_up": 0.1, "deck.scallop": 0.01,
    "deck.smooth": 5.0, "deck.least_radius": 15.0, "blank.thickness": 0.2, "blank.length": 4.0,
    "blank.tolerance": 0.05, "groove.floor": 0.1, "groove.inside": -0.5, "groove.outside": 0.5,
    "groove.least_floor": 0.1, "limits.spacing": 0.5, "skim.step": 0.1, "cast.pour_short": 0.1,
    "cast.fill_margin": 0.1,
    "machine.safe_z": 1.0, "machine.accel": -50.0, "tolerances.flat": 0.05, "plug.diameter": 0.5,
    "insert.recess": 0.1, "dowel.stand": -0.2, "cutter.diameter": -0.2, "cutter.rpm": 500.0,
    "skin.thickness": 0.05, "skin.pressure": 0.05,
}  # fmt: skip
"""By how much a key moves; of a list of rows or stations the last one moves."""


def _moved(job: Job, key: str, sign: float) -> Job:
    section, name = key.split(".")
    held = getattr(job, section)
    row = held[-1] if isinstance(held, tuple) else held
    now = getattr(row, name)
    if now is None:
        return job
    if isinstance(now, tuple):
        middle = len(now) // 2
        x, value = now[middle]
        new: Any = (*now[:middle], (x, value + sign * STEPS[key]), *now[middle + 1 :])
    else:
        new = now + sign * STEPS[key]
    row = row.model_copy(update={name: new})
    return job.model_copy(update={section: (*held[:-1], row) if isinstance(held, tuple) else row})


def _result(prepare: Any) -> Any:
    """All that a prepared job says, or the faults of one that cannot be."""
    try:
        found: Prepared = prepare()
    except InputError as error:
        return [str(fault) for fault in error.faults]
    works = [
        (work.stem, work.cutter, work.cutting, work.lowest, work.clear) for work in found.works
    ]
    deck = found.board.deck
    return checks_report(found), found.checks, works, found.board.ring.wkb, deck.grid.tobytes()


@pytest.mark.whole
def test_a_walk_over_all_kinds_of_keys_gives_what_each_job_gives_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What is kept for another job must not reach this one: each key moves once, by chance up or
    down, some back again, and the skin comes and goes, worked out by a process beside."""
    begun: list[Any] = []
    monkeypatch.setattr(
        job_skin, "beside", lambda tasks, cores: (begun.append(cores), beside(tasks, cores))[1]
    )
    draw = random.Random(17)
    skin = SkinSection(thickness=0.2, modulus=5.0, strain_limit=0.03, pressure=0.9)
    job, engine, refused = load_job(SAMPLES / "coupon.toml"), Engine(SAMPLES, cores=2), 0
    before, keys = job, list(STEPS)
    draw.shuffle(keys)
    for number, key in enumerate(keys):
        covered = skin if key.startswith("skin.") or number % 7 == 0 else None
        now = _moved(job.model_copy(update={"skin": covered}), key, draw.choice((-1.0, 1.0)))
        found = _result(lambda now=now: engine.prepared(now))
        assert found == _result(lambda now=now: prepare_job(now, SAMPLES)), key
        refused += isinstance(found, list)
        # a job that is refused is left again, and every fourth step is taken back
        job, before = (before, job) if isinstance(found, list) or number % 4 == 3 else (now, job)
    assert refused < len(keys) // 4 and len(begun) > 3


def test_parts_are_kept_by_what_they_follow_from() -> None:
    """A changed floor makes no new outline, groove or deck; a changed blend a new deck alone."""
    job, engine = load_job(SAMPLES / "coupon.toml"), Engine(SAMPLES)
    one = engine.prepared(job).board
    two = engine.prepared(_moved(job, "groove.floor", 1.0)).board
    assert two.deck is one.deck and two.outline is one.outline and two.ring is one.ring
    three = engine.prepared(_moved(job, "deck.blend", 1.0)).board
    assert three.deck is not one.deck and three.outline is one.outline and three.ring is one.ring
    assert not np.array_equal(three.deck.grid, one.deck.grid)
    assert engine.prepared(job).board.deck is one.deck


def test_what_is_kept_is_bounded_and_the_oldest_goes_first() -> None:
    """Nor is an error kept."""
    kept, made = Kept(2), []

    def make(name: str) -> str:
        made.append(name)
        return name.upper()

    for name in ("a", "b", "a", "c", "a", "b"):
        assert kept.of(name, lambda name=name: make(name)) == name.upper()
    assert made == ["a", "b", "c", "b"]
    with pytest.raises(ZeroDivisionError):
        kept.of("z", lambda: str(1 // 0))
    assert kept.of("z", lambda: make("z")) == "Z"
