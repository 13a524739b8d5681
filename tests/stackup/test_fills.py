"""Low castings of a recorded board: what can still be done, by how far the work is."""

from pathlib import Path

import pytest

from corepath.job.load import load_job
from corepath.job.record.settled import Settled
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job
from corepath.stackup.pour.fills import fill_advices, fill_lines

SAMPLES = Path(__file__).parents[2] / "samples"
LOW = {"groove": 4.0}


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    """The coupon, its groove poured 4 mm short."""
    return prepare_job(load_job(SAMPLES / "coupon.toml"), SAMPLES, Known(settled=Settled(fill=LOW)))


@pytest.mark.parametrize(
    ("cut", "stop", "when"),
    [
        ((), None, "now, from above, before the blank is turned over"),
        (("skim",), None, "once it lies deck up again"),
        ((), 3, "once it lies deck up again"),
        (("skim", "inserts"), 3, "now, from above, before anything is cut in C"),
    ],
)
def test_a_top_up_is_asked_for_when_the_casting_can_be_reached(
    prepared: Prepared, cut: tuple[str, ...], stop: int | None, when: str
) -> None:
    """Told to pour from above while the blank lies on its face, one would turn it over and lose the
    flip."""
    (advice,) = fill_advices(prepared.stackup, Settled(fill=LOW, cut=frozenset(cut), stop=stop))
    assert advice.top_up is not None and when in advice.top_up.when


@pytest.mark.parametrize("cut", ["deck", "deck-rough"])
def test_no_top_up_once_the_deck_is_cut(prepared: Prepared, cut: str) -> None:
    """Resin poured over a finished deck would have to be cut again."""
    settled = Settled(fill=LOW, cut=frozenset({"skim", "inserts", cut}), stop=3)
    (advice,) = fill_advices(prepared.stackup, settled)
    assert advice.top_up is None


def test_the_stop_that_serves_all_is_asked_for_until_there_is_one(prepared: Prepared) -> None:
    """After the stop is recorded, advice on where to stop comes too late."""
    before = fill_lines(prepared.stackup, Settled(fill=LOW))
    after = fill_lines(prepared.stackup, Settled(fill=LOW, stop=3))
    assert "stop" in before[-1] and "castings" in before[-1]
    assert before[-1] not in after and after
    assert fill_lines(prepared.stackup, Settled()) == ()


def test_a_fill_that_fits_says_so() -> None:
    """A user who recorded a fill was told nothing, and could not know whether it had been judged.

    At the lowest pass, 8.40 + the stated errors, more than 1.00 is allowed in a blank 10.6 thick.
    """
    job, known = load_job(SAMPLES / "coupon.toml"), Known(settled=Settled(fill={"groove": 1.0}))
    (line,) = prepare_job(job, SAMPLES, known).fills
    assert line.startswith("groove: the resin lies 1.00 below") and line.endswith("high enough")


def test_a_stop_that_is_passed_already_is_not_offered(prepared: Prepared) -> None:
    """The first passes leave more room over the deck; once they are cut nobody can stop there."""
    planes = prepared.stackup.skim.planes
    ahead = fill_lines(prepared.stackup, Settled(fill=LOW))
    passed = Settled(fill=LOW, passes=len(planes), deepest=planes[-1])
    (advice,) = fill_advices(prepared.stackup, passed)
    none_left = "no pass of the skim that is still ahead serves all castings as they are"
    assert advice.earlier is None and any("allow a stop at" in line for line in ahead)
    assert fill_lines(prepared.stackup, passed)[-1] == none_left
    # Numbers are those of the plan that was cut: where the height is recorded, it counts.
    held = Settled(fill=LOW, passes=99, deepest=planes[0])
    assert fill_lines(prepared.stackup, held)[-1] != none_left
