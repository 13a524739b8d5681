"""A stop and a thickness after the skim that cannot both be right are told before anything is
planned upon them."""

from pathlib import Path

import pytest

from corepath.job.load import load_job
from corepath.job.record.settled import Settled
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job

SAMPLES = Path(__file__).parents[2] / "samples"


def stopped(number: int | None, *after: float) -> Prepared:
    """The coupon with a stop at one of its planes 9.9, 9.4, 8.9, 8.4, and what was measured
    after it."""
    plane = None if number is None else 10.3996 - 0.5 * (number - 1)
    places = tuple((20.0 * k, 10.0, thickness) for k, thickness in enumerate(after))
    settled = Settled(
        stop=number, stop_plane=plane, thickness_after=places, cut=frozenset({"groove"})
    )
    return prepare_job(load_job(SAMPLES / "coupon.toml"), SAMPLES, Known(settled=settled))


def test_a_pass_counted_by_an_older_plan_is_found_out():
    """0.5 off is a whole pass: the seats would be right, the deck planned for stock that is not
    there."""
    (doubt,) = stopped(4, 9.4, 9.41).doubts
    assert "stop at 8.90" in doubt and "looks like the pass at 9.40" in doubt
    assert doubt.startswith("9.41")
    assert doubt in stopped(4, 9.4, 9.41).cautions


@pytest.mark.parametrize("thickness", [8.68, 8.9, 9.02])
def test_what_the_errors_explain_is_no_doubt(thickness: float):
    """8.9 less at most 0.1 under the blank, ± touch 0.05, machine 0.03, bed 0.05 and callipers
    0.03: 8.64 to 9.06."""
    assert stopped(4, thickness).doubts == ()


def test_just_beyond_the_errors_it_is_one():
    """Nearer to another pass, that pass is named; else it may be either figure."""
    (high,), (low,) = stopped(4, 9.1).doubts, stopped(4, 8.6).doubts
    assert "8.64 to 9.06" in high and "measure again" in high
    assert "8.64 to 9.06" in low and "looks like the pass at 8.40" in low


def test_nothing_is_doubted_before_the_stop_or_the_thickness():
    assert stopped(4).doubts == ()
    assert stopped(None).doubts == ()
