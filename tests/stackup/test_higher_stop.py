"""What check offers to raise the planned stop: typed into the job, each way by itself makes the
check pass.

The coupon by hand (docs/arithmetic.md): blank 10.6, deck 8.0, clean-up 0.4, so planes at 8.4 + k x
0.5. A floor f shows at 10.6 - f, and surely 0.36 lower; clean-up has 0.36 of errors too, so that
0.4 is surely left from 8.76 up.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.job.record.settled import Settled
from corepath.lengths import Said
from corepath.stackup import Check, build_stackup, depth_checks
from corepath.stackup.advice.higher_stop import higher_stop

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def coupon() -> Job:
    return load_job(SAMPLES / "coupon.toml")


def changed(job: Job, **sections: dict[str, object]) -> Job:
    update = {
        name: getattr(job, name).model_copy(update=values) for name, values in sections.items()
    }
    return job.model_copy(update=update)


def judged(job: Job, check_id: str) -> Check:
    stack = build_stackup(job, build_board(job, SAMPLES))
    return next(check for check in depth_checks(stack) if check.id == check_id)


def test_a_lower_floor_lifts_the_stop_only_when_it_reaches_the_next_pass(coupon: Job) -> None:
    """With 2.0 it surely shows at 8.24. The next pass that leaves enough is 8.9: 0.66 lower, not
    the 0.36 that lack.

    A finer step is no way: none fits between 8.76 and 8.24.
    """
    job = changed(coupon, groove={"floor": 2.0})
    mend = judged(job, "clean-up").mend
    assert mend == "groove.floor 0.67 lower, or a blank 0.67 thicker, or a core thinner by as much"
    assert judged(changed(job, groove={"floor": 2.0 - 0.36}), "clean-up").verdict != "ok"
    for better in ({"groove": {"floor": 2.0 - 0.67}}, {"blank": {"thickness": 10.6 + 0.67}}):
        assert judged(changed(job, **better), "clean-up").verdict == "ok"


def test_a_finer_step_is_offered_where_a_pass_fits(coupon: Job) -> None:
    """With 1.4 it surely shows at 8.84: a step of 0.36 to 0.44 puts a pass between 8.76 and
    that."""
    job = changed(coupon, groove={"floor": 1.4})
    found = judged(job, "clean-up")
    assert found.verdict != "ok" and found.mend.startswith(
        "skim.step = 0.37, or groove.floor 0.07 lower"
    )
    for better in ({"skim": {"step": 0.37}}, {"groove": {"floor": 1.4 - 0.07}}):
        assert judged(changed(job, **better), "clean-up").verdict == "ok"
    assert judged(changed(job, skim={"step": 0.35}), "clean-up").verdict != "ok"


def test_a_floor_that_would_leave_too_little_wood_is_not_offered(coupon: Job) -> None:
    """At 0.9 there is 0.67 of wood in the worst case, 0.07 more than least_floor: no 0.26 to take
    (9.34 to 9.9)."""
    job = changed(coupon, groove={"floor": 0.9})
    stack = build_stackup(job, build_board(job, SAMPLES))
    assert Said(higher_stop(stack, 9.5)) == "a blank 0.57 thicker, or a core thinner by as much"


def test_what_is_cut_is_no_way_out(coupon: Job) -> None:
    """Floor and blank are given once the groove is there."""
    job = changed(coupon, groove={"floor": 2.0})
    settled = Settled(cut=frozenset({"dowels", "plug-pockets", "groove"}))
    stack = build_stackup(job, build_board(job, SAMPLES), settled=settled)
    assert Said(higher_stop(stack, 8.76)) == "a core 0.67 thinner"


def test_an_edge_as_thick_as_hold_says_holds(coupon: Job) -> None:
    """In C the casting is as high as the edge, 5.0, and 0.23 less in the worst case."""
    job = changed(coupon, hold={"least_height": 5.0})
    assert judged(job, "hold").mend.startswith("board.edge_thickness 0.23 more")
    assert judged(changed(job, board={"edge_thickness": 5.24}), "hold").verdict == "ok"
    assert judged(changed(job, board={"edge_thickness": 5.2}), "hold").verdict != "ok"


def test_a_bore_that_the_deck_leaves_closed_asks_for_a_stop_that_is_high_enough(
    coupon: Job,
) -> None:
    """With clean-up 0.05 and a floor of 2.1 it surely shows at 8.14: the stop is 8.05, and a bore
    7.95 deep ends below the deck where that is 8.0; it must pass it by 0.21, so that with 0.1 of
    wood the stop is 8.31 at least.
    """
    job = changed(coupon, groove={"floor": 2.1}, deck={"clean_up": 0.05})
    found = judged(job, "opens")
    assert found.verdict == "fail" and found.worst < 0.0
    by = 8.55 - 8.14
    assert f"groove.floor {by + 0.01:.2f} lower" in found.mend and "through = true" in found.mend
    assert judged(changed(job, groove={"floor": 2.1 - by - 0.01}), "opens").verdict == "ok"
