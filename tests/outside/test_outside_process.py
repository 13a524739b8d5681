"""The checks on heights against a Monte Carlo of the physical process (process.py), which shares no
relation with them.

Of a blank that nobody measured every check must say in its worst case what the process comes to
with every error at the end that hurts: less would be false comfort, more would refuse a core that
cannot fail. What is *ok* must hold in every draw and at the corner; what *fails* must fail at the
corner. All samples and 24 jobs drawn here, with the zero on the bed and on the face.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from corepath.board.features import Board
from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.stackup import Check, build_stackup, depth_checks
from tests.outside.process import Outcome, Process

SAMPLES = Path(__file__).parents[2] / "samples"
NAMES = sorted(path.stem for path in SAMPLES.glob("*.toml"))
LIGHT = ("coupon", "board-1280", "cradle-460", "swallow-620")
JUDGED = (
    "window",
    "floor",
    "shows",
    "clean-up",
    "fill",
    "seat",
    "wood-over-seat",
    "barrel",
    "hold",
    "opens",
)
DRAWN = 24
CLOSE = 0.001
"""mm by which a check may say too little."""
CAREFUL = 0.006
"""mm by which it may say too much: of two errors multiplied (what a groove that is too deep loses
before it gels) it takes the largest, and with the zero on the face these do not come together:
0.0125 of the errors of D, 0.5 at most."""


def bare(job: Job) -> Job:
    """The job before its blank is measured."""
    return job.model_copy(update={"blank": job.blank.model_copy(update={"measured": None})})


def zeroed(job: Job, zero: str, touch: tuple[float, float]) -> Job:
    machine = job.machine.model_copy(update={"z_zero": zero, "touch_at": touch})
    return job.model_copy(update={"machine": machine})


@lru_cache(maxsize=2)
def sample(name: str) -> tuple[Job, Board]:
    job = bare(load_job(SAMPLES / f"{name}.toml"))
    return job, build_board(job, SAMPLES)


def drawn(seed: int) -> tuple[Job, Board]:
    """The coupon with every value that a height hangs on drawn anew; some of these jobs pass, some
    do not."""
    rng = np.random.default_rng(seed)
    job, _ = sample("coupon")
    sizes = {
        name: float(rng.uniform(0.3, 1.7))
        for name in ("bed", "flat", "touch", "machine", "level", "shrinkage")
    }
    tolerances = {name: factor * getattr(job.tolerances, name) for name, factor in sizes.items()}
    update = {
        "blank": {
            "thickness": float(rng.uniform(9.6, 12.0)),
            "tolerance": float(rng.choice([0.05, 0.1, 0.2])),
        },
        "groove": {"floor": float(rng.uniform(0.8, 1.8))},
        "deck": {"clean_up": float(rng.choice([0.0, 0.1, 0.3, 0.4, 0.6]))},
        "skim": {"step": float(rng.choice([0.25, 0.5, 0.8]))},
        "cast": {
            "pour_short": float(rng.uniform(0.2, 0.8)),
            "fill_margin": float(rng.uniform(0.2, 1.0)),
        },
        "tolerances": tolerances,
    }
    insert = {"recess": float(rng.uniform(0.1, 0.5)), "length": float(rng.uniform(4.0, 6.5))}
    flush = str(rng.choice(["none", "none", "face", "local"]))
    if flush != "none":
        update["cast"] |= {"flush": flush, "pour_short": -update["cast"]["pour_short"]}
    made = {name: getattr(job, name).model_copy(update=values) for name, values in update.items()}
    made["insert"] = (job.insert[0].model_copy(update=insert),)
    job = zeroed(
        job.model_copy(update=made), ("bed", "face")[seed % 2], (float(rng.uniform(-90, 90)), 38.0)
    )
    return job, build_board(job, SAMPLES)


def judged(job: Job, board: Board) -> Iterator[tuple[Check, tuple[Outcome, ...], Process]]:
    """Every check on heights with what it judges in the process."""
    stack = build_stackup(job, board)
    process = Process(job, board, stack)
    outcomes = tuple(process.play(process.draw(1, 0)))
    for check in depth_checks(stack):
        assert check.id in JUDGED, f"{check.id} has no outcome in the process"
        of = tuple(one for one in outcomes if one[0] == check.id)
        if check.id == "fill":
            of = tuple(one for one in of if check.where.startswith(f"{one[1]};"))
        assert of, f"{check.id} {check.where}"
        yield check, of, process


def holds(job: Job, board: Board, draws: int) -> None:
    """Worst case and corner are one, and no verdict is contradicted at the corner or in any
    draw."""
    found = list(judged(job, board))
    process = found[0][2]
    rows = 10_000
    played: dict[Outcome, float] = {}
    for start in range(0, draws, rows):
        for outcome, values in process.play(
            process.draw(min(rows, draws - start), 7 + start)
        ).items():
            played[outcome] = min(played.get(outcome, np.inf), float(values.min()))
    for check, of, _ in found:
        corner = min(process.corner(outcome) for outcome in of)
        says = (
            f"{check.id} at {check.where}: worst {check.worst:.4f}, corner {corner:.4f}, "
            f"{check.verdict}"
        )
        assert corner >= check.worst - CLOSE, says
        if job.cast.flush == "none":
            assert corner <= check.worst + CAREFUL, says
        assert min(played[outcome] for outcome in of) >= corner - 1e-6, says
        if check.verdict == "ok":
            assert corner >= check.limit - CLOSE, says
        if check.verdict == "fail":
            assert corner < check.limit, says


@pytest.mark.parametrize("zero", ["bed", "face"])
@pytest.mark.parametrize(
    "name", [*LIGHT, *(pytest.param(n, marks=pytest.mark.slow) for n in NAMES if n not in LIGHT)]
)
def test_worst_case_of_a_sample_is_the_corner_of_the_process(name: str, zero: str) -> None:
    """The place that is touched lies where nothing is cut; on the face its own thickness, gap and
    bed enter once."""
    job, board = sample(name)
    holds(zeroed(job, zero, (job.blank.length / 2 - 8.0, job.blank.width / 2 - 8.0)), board, 500)


@pytest.mark.parametrize("seed", range(DRAWN))
def test_worst_case_of_a_drawn_job_is_the_corner_of_the_process(seed: int) -> None:
    holds(*drawn(seed), 500)


def test_drawn_jobs_meet_every_verdict() -> None:
    """Or the tests above would prove nothing of those that were never met."""
    met = {
        (check.id, check.verdict) for seed in range(DRAWN) for check, _, _ in judged(*drawn(seed))
    }
    assert {verdict for _, verdict in met} == {"ok", "caution", "fail"}
    assert {name for name, verdict in met if verdict != "ok"} >= {
        "window",
        "shows",
        "clean-up",
        "fill",
        "barrel",
    }


@pytest.mark.whole
@pytest.mark.parametrize("zero", ["bed", "face"])
def test_what_is_ok_holds_in_a_hundred_thousand_draws(zero: str) -> None:
    job, board = sample("coupon")
    holds(zeroed(job, zero, (100.0, 38.0)), board, 100_000)


@pytest.mark.slow
@pytest.mark.parametrize("zero", ["bed", "face"])
@pytest.mark.parametrize("name", NAMES)
def test_what_is_ok_of_a_sample_holds_in_a_hundred_thousand_draws(name: str, zero: str) -> None:
    job, board = sample(name)
    holds(
        zeroed(job, zero, (job.blank.length / 2 - 8.0, job.blank.width / 2 - 8.0)), board, 100_000
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(DRAWN))
def test_what_is_ok_of_a_drawn_job_holds_in_a_hundred_thousand_draws(seed: int) -> None:
    holds(*drawn(seed), 100_000)
