"""What was seen at the machine stands: a recorded stop settles what the castings were only likely
to do."""

from pathlib import Path

import pytest

from corepath.job.load import load_job
from corepath.job.record.settled import Settled
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.proving.proof import prove
from corepath.stackup.pass_shows import showing

SAMPLES = Path(__file__).parents[2] / "samples"
LIKELY, LATEST = 2, 3


def stopped(number: int, tolerance: float = 0.1) -> Prepared:
    """The coupon, D = 9.4, with a stop at one of its planes 9.9, 9.4, 8.9, 8.4."""
    job = load_job(SAMPLES / "coupon.toml")
    job = job.model_copy(update={"blank": job.blank.model_copy(update={"tolerance": tolerance})})
    settled = Settled(
        stop=number,
        stop_plane=9.8996 - 0.5 * (number - 1),
        cut=frozenset({"plug-pockets", "groove"}),
    )
    return prepare_job(job, SAMPLES, Known(settled=settled))


@pytest.mark.whole
def test_a_stop_earlier_than_sure_is_believed_and_planned_on():
    """It showed at the likely pass, one before the sure one, as most will: a plan that refused
    would be in the way."""
    prepared = stopped(LIKELY)
    assert {check.verdict for check in prepared.checks} == {"ok"}
    (shows,) = [check for check in prepared.checks if check.id == "shows"]
    assert shows.worst == 0.0 and shows.message.endswith("the recorded stop")
    assert not prove(prepared).failed
    shares = showing(prepared.stackup)
    assert shares[LIKELY - 1].shares["groove"] == (1.0, 1.0, 1.0)
    assert shares[LIKELY - 2].shares["groove"][0] < 1.0


def test_it_settles_the_window_as_well():
    """D + gB is at least the plane at which it showed: with thickness ± 0.7 the window alone would
    not be ok."""
    before = prepare_job(stopped(LIKELY, 0.7).job, SAMPLES)
    assert next(check for check in before.checks if check.id == "window").verdict != "ok"
    after = next(check for check in stopped(LIKELY, 0.7).checks if check.id == "window")
    assert after.verdict == "ok"
    assert after.value == pytest.approx(9.4 - 8.0 - 0.4, abs=1e-3)


def test_what_cannot_have_shown_is_not_believed():
    """At 9.9 a groove 9.4 deep, in a blank known to 0.02, cannot show, by errors of 0.48 in all:
    the wrong pass was noted, and that is said."""
    shows = next(check for check in stopped(1, 0.02).checks if check.id == "shows")
    assert shows.verdict == "fail" and shows.value == pytest.approx(-0.5, abs=1e-3)
    assert "correct the stop" in shows.fix


def test_a_stop_lower_than_sure_keeps_its_margin():
    """Nothing is lifted that stands by itself: 9.4 - 8.9."""
    shows = next(check for check in stopped(LATEST).checks if check.id == "shows")
    assert shows.value == pytest.approx(0.5, abs=1e-3) and 0.0 < shows.worst < 0.5
