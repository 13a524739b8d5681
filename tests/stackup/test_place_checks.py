"""Dowels and the wood round them, by hand on the coupon."""

from pathlib import Path

import pytest

from corepath.job.load import load_job
from corepath.planning.prepare import prepare_job
from corepath.stackup.checks.verdict import Check

SAMPLES = Path(__file__).parents[2] / "samples"


def dowels(number: int, x: float) -> Check:
    """The check of the coupon's two dowels, 5 mm thick, with one of them at another place on the
    axis of the flip."""
    job = load_job(SAMPLES / "coupon.toml")
    moved = [
        dowel.model_copy(update={"at": (x, 0.0)}) if k == number else dowel
        for k, dowel in enumerate(job.dowel, 1)
    ]
    job = job.model_copy(update={"dowel": tuple(moved)})
    return next(check for check in prepare_job(job, SAMPLES).checks if check.id == "dowels")


@pytest.mark.parametrize(
    ("number", "x", "left"),
    [(1, -116.9, 120.0 - 116.9 - 2.5), (2, 96.2, 96.2 - 93.0 - 2.5)],
    ids=["the blank's end at X-120", "the groove's wall at X93"],
)
def test_the_nearest_soft_place_counts(number: int, x: float, left: float) -> None:
    """A dowel in a sliver of wood breaks out when the blank is turned over; far castings are no
    comfort."""
    check = dowels(number, x)
    assert check.value == pytest.approx(left, abs=0.01) and check.where == f"dowel {number}"
    assert check.message.endswith(f"of sound wood beside dowel {number}")
