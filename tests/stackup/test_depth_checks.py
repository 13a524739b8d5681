"""Checks of depths that a single number of the job decides."""

from pathlib import Path

import pytest

from corepath.job.load import load_job
from corepath.planning.prepare import prepare_job

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.mark.parametrize(("prongs", "limit"), [(0.0, 2.0), (0.8, 2.0), (3.2, 4.2)])
def test_prongs_ask_for_their_length_and_a_millimetre(prongs: float, limit: float) -> None:
    """Prongs longer than the wood over the seat come through the deck; without any, 2 mm are
    enough."""
    job = load_job(SAMPLES / "coupon.toml")
    inserts = tuple(one.model_copy(update={"prongs": prongs}) for one in job.insert)
    checks = prepare_job(job.model_copy(update={"insert": inserts}), SAMPLES).checks
    found = [check for check in checks if check.id == "wood-over-seat"]
    assert found and {round(check.limit, 6) for check in found} == {limit}
    assert all(
        (f"its prongs reach {prongs:.2f}" in check.message) is (prongs > 0) for check in found
    )
