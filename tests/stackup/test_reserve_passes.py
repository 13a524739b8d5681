"""Passes below a planned stop that is sure are a reserve: they fail no job, and one that would
spoil the core is gone.

The coupon by hand: blank 10.6, floor 1.2, so D = 9.4, and in the worst case everything shows at
9.04 (0.36 lower, as docs/arithmetic.md has it). The deck is 8.0 high. What the deck pass removes
has the errors of skim (touch 0.05, machine 0.03, bed 0.05, gap 0.10) and deck (0.05, 0.03, bed
0.05; its gap only helps): 0.36 in all, and by root sum square of the six and of the halves of both
gaps sqrt(6 x 0.05² + 2 x 0.03²) = 0.130.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.job.model import Job, ScrewSection
from corepath.job.record.settled import Settled
from corepath.planning.prepare import prepare_job
from corepath.reported import reported
from corepath.stackup import Check, Stackup, build_stackup, depth_checks, place_checks
from corepath.stackup.advice.remedies import Advice, advise
from corepath.stackup.stop_table import stop_table

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def coupon() -> Job:
    return load_job(SAMPLES / "coupon.toml")


def built(job: Job, settled: Settled | None = None) -> Stackup:
    return build_stackup(job, build_board(job, SAMPLES), settled=settled)


def advised(job: Job) -> Advice:
    board = build_board(job, SAMPLES)
    return advise(build_stackup(job, board), board)


def changed(job: Job, **sections: dict[str, object]) -> Job:
    update = {
        name: getattr(job, name).model_copy(update=values) for name, values in sections.items()
    }
    return job.model_copy(update=update)


def judged(stack: Stackup) -> dict[str, Check]:
    return {check.id: check for check in depth_checks(stack)}


@pytest.mark.parametrize(
    ("clean_up", "lowest", "stop"),
    [(0.4, 8.4, 8.9), (0.2, 8.2, 8.7), (0.1, 8.6, 8.6), (0.05, 8.55, 8.55)],
)
def test_a_pass_that_the_plan_never_needs_fails_no_job(
    coupon: Job, clean_up: float, lowest: float, stop: float
) -> None:
    """Planes lie on 8.0 + clean_up + k x 0.5; the stop is the highest below 9.04, less 0.36 in the
    worst case.

    At the lowest plane just clean_up is removed nominally: less than 0.13 may leave nothing, and it
    is not offered.
    """
    stack = built(changed(coupon, deck={"clean_up": clean_up}))
    assert (stack.skim.planned_plane, stack.skim.planes[-1]) == (
        pytest.approx(stop, abs=0.01),
        pytest.approx(lowest, abs=0.01),
    )
    check = judged(stack)["clean-up"]
    assert check.verdict == ("ok" if stop - 8.0 - 0.36 >= clean_up else "caution")
    assert check.worst == pytest.approx(stop - 8.0 - 0.36, abs=0.001)
    assert stack.skim.lowest_plane == pytest.approx(8.0 + clean_up, abs=0.001)


def test_why_a_pass_is_not_offered_is_said(coupon: Job) -> None:
    assert not built(coupon).withheld
    stack = built(changed(coupon, deck={"clean_up": 0.1}))
    assert len(stack.withheld) == 1
    assert (
        "no pass at 8.10" in stack.withheld[0] and "clean-up would fail there" in stack.withheld[0]
    )
    assert [round(plane, 2) for plane in stack.skim.not_offered] == [8.1]
    assert reported(stack.skim)["lowest_plane"] == pytest.approx(8.1, abs=0.001)


def test_fill_is_judged_at_the_lowest_pass_that_is_offered(coupon: Job) -> None:
    """With clean_up = 0.1 that is 8.6, not 8.1: 8.6 - 6.32 - 0.5 = 1.78 is allowed over the
    plug."""
    stack = built(changed(coupon, deck={"clean_up": 0.1}))
    plug = next(casting for casting in stack.castings if casting.casting.id == "P1")
    assert plug.pour.p_limit == pytest.approx(1.78, abs=0.005)
    fill = next(
        check
        for check in depth_checks(stack)
        if check.id == "fill" and check.where.startswith("P1")
    )
    assert fill.value == pytest.approx(1.78 - plug.pour.p_expected.nominal, abs=0.005)


@pytest.mark.parametrize(
    ("low", "lowest", "verdict", "value"),
    [
        (1.4, 8.4, "caution", 0.18),
        (1.5, 8.9, "ok", 0.58),
        (1.9, 8.9, "caution", 0.18),
        (2.2, 8.4, "fail", -0.62),
    ],
)
def test_a_reserve_pass_that_would_bare_a_hollow_fails_no_job(
    coupon: Job, low: float, lowest: float, verdict: str, value: float
) -> None:
    """Resin in P1 gauged `low` below the raw top. It may lie s - 6.32 - 0.5 low: 2.08 at the stop
    8.9, 1.58 at 8.4.

    Errors are those of clean-up with the gauge's 0.03: 0.39 in all, 0.133 by root sum square. So
    8.4 is offered as long as 1.58 - low is over 0.133. The job fails only where 2.08 - low is not;
    it is judged at 8.4 then, and the fix serves all passes.
    """
    stack = built(coupon, Settled(fill={"P1": low}))
    assert stack.skim.planned_plane == pytest.approx(8.9, abs=0.001)
    assert stack.skim.planes[-1] == pytest.approx(lowest, abs=0.001)
    fill = next(
        check
        for check in depth_checks(stack)
        if check.id == "fill" and check.where.startswith("P1")
    )
    assert (fill.verdict, fill.value) == (verdict, pytest.approx(value, abs=0.005))
    assert fill.worst == pytest.approx(value - 0.39, abs=0.005)
    assert [("fill would fail there" in words and "P1" in words) for words in stack.withheld] == (
        [True] if lowest == 8.9 else []
    )


def test_a_pass_that_is_cut_stays_though_it_spoils(coupon: Job) -> None:
    """What was cut at 8.4 is cut; the resin gauged after it is judged there: 1.58 - 1.9 = -0.32."""
    for cut in (Settled(fill={"P1": 1.9}, deepest=8.4), Settled(fill={"P1": 1.9}, passes=9)):
        stack = built(coupon, cut)
        assert stack.skim.planes[-1] == pytest.approx(8.4, abs=0.001)
        fill = next(
            check
            for check in depth_checks(stack)
            if check.id == "fill" and check.where.startswith("P1")
        )
        assert (fill.verdict, fill.value) == ("fail", pytest.approx(-0.32, abs=0.005))


def test_a_pour_higher_by_what_fill_says_is_enough_for_every_pass(coupon: Job) -> None:
    """At 8.9 the resin lacks 0.21 in the worst case, at 8.4 0.71: with 0.21 more, 8.4 would be
    offered, and unsure."""
    fill = next(
        check
        for check in depth_checks(built(coupon, Settled(fill={"P1": 1.9})))
        if check.id == "fill" and check.where.startswith("P1")
    )
    assert fill.worst == pytest.approx(-0.21, abs=0.005)
    assert "pour 0.71 higher" in fill.fix
    after = built(coupon, Settled(fill={"P1": 1.9 - 0.72}))
    assert after.skim.planes[-1] == pytest.approx(8.4, abs=0.001)
    assert {check.verdict for check in depth_checks(after) if check.id == "fill"} == {"ok"}


def test_a_reserve_pass_that_would_meet_a_dowel_is_not_offered(coupon: Job) -> None:
    """A dowel stands 8.0 in a frame that the deck leaves (margin 21): 0.9 below the stop 8.9, but
    0.4 below 8.4."""
    tall = tuple(dowel.model_copy(update={"stand": 8.0}) for dowel in coupon.dowel)
    job = changed(coupon, deck={"margin": 21.0}).model_copy(update={"dowel": tall})
    board = build_board(job, SAMPLES)
    stack = build_stackup(job, board)
    assert stack.skim.planes[-1] == pytest.approx(8.9, abs=0.001)
    dowels = next(check for check in place_checks(stack, board) if check.id == "dowels")
    assert (dowels.verdict, dowels.value) == ("ok", pytest.approx(0.9, abs=0.001))
    assert dowels.worst == pytest.approx(0.9 - 0.13, abs=0.001)


def test_a_reserve_pass_that_would_meet_a_screw_is_not_offered(coupon: Job) -> None:
    """Heads 3.0 high, 6.0 below a raw bottom at 10.6: 7.6, which 8.9 clears by 1.3 and 8.4 by 0.8;
    1.0 is asked for."""
    screw = ScrewSection(
        at=((112.0, 38.0),), head=6.0, head_height=3.0, counterbore=6.0, setups=("B",)
    )
    prepared = prepare_job(coupon.model_copy(update={"screw": (screw,)}), SAMPLES)
    assert prepared.stackup.skim.planes[-1] == pytest.approx(8.9, abs=0.001)
    assert next(work for work in prepared.works if work.name == "skim").lowest == pytest.approx(
        8.9, abs=0.001
    )
    found = next(check for check in prepared.checks if check.id == "screws")
    assert (found.verdict, found.value) == ("caution", pytest.approx(1.3, abs=0.001))
    assert "screws would fail there" in " ".join(prepared.stackup.withheld)


def test_a_reserve_pass_that_would_drill_through_the_bed_is_not_offered(coupon: Job) -> None:
    """A through bore ends 1.0 in the bed after the earliest stop, 9.9, so 2.0 at 8.9 and 2.5 at
    8.4.

    Of a spoil board of 4.2 that leaves 2.2 and 1.7; 2.0 is asked for.
    """
    through = tuple(insert.model_copy(update={"through": True}) for insert in coupon.insert)
    short = tuple(dowel.model_copy(update={"depth_in_bed": 1.0}) for dowel in coupon.dowel)
    job = changed(coupon, blank={"spoil_board": 4.2}).model_copy(
        update={"insert": through, "dowel": short}
    )
    prepared = prepare_job(job, SAMPLES)
    assert prepared.stackup.skim.thickest_plane == pytest.approx(9.9, abs=0.001)
    assert prepared.stackup.skim.planes[-1] == pytest.approx(8.9, abs=0.001)
    left = next(check for check in prepared.checks if check.id == "spoil-board")
    assert (left.verdict, left.value) == ("caution", pytest.approx(2.2, abs=0.001))


def test_each_reserve_pass_has_its_own_verdict(coupon: Job) -> None:
    """At 8.4 just 0.4 is removed, 0.04 in the worst case, 0.27 by root sum square: a caution there
    and none at 8.9."""
    stack = built(coupon)
    table = stop_table(stack)
    verdicts = {round(stop.plane, 2): table.verdict(stop.number) for stop in table.stops}
    assert (verdicts[8.9], verdicts[8.4]) == ("ok", "caution")
    row = next(row for row in table.rows if row.name == "clean-up")
    assert row.checks[-1].limit == 0.4
    assert row.checks[-1].worst == pytest.approx(0.04, abs=0.001)
    assert row.checks[-1].rss == pytest.approx(0.4 - 0.1296, abs=0.001)


def test_a_stop_that_is_not_sure_keeps_all_passes_and_is_judged(coupon: Job) -> None:
    """With a floor of 2.0 it shows at 8.24 in the worst case, below every plane: the last one is
    the stop."""
    stack = built(changed(coupon, groove={"floor": 2.0}))
    assert stack.skim.latest is None and stack.skim.planes[-1] == pytest.approx(8.4, abs=0.001)
    assert judged(stack)["clean-up"].verdict == "caution"
    bare = built(changed(coupon, groove={"floor": 2.3}, deck={"clean_up": 0.1}))
    assert judged(bare)["clean-up"].verdict == "fail"


def test_without_clean_up_raw_top_may_stay_and_where_is_said(coupon: Job) -> None:
    """Nothing is removed nominally at 8.0, 0.36 too little at most: raw top stays where the deck is
    over 7.64."""
    stack = built(changed(coupon, groove={"floor": 2.4}, deck={"clean_up": 0.0}))
    check = judged(stack)["clean-up"]
    assert (check.verdict, check.limit) == ("caution", 0.0)
    assert check.worst == pytest.approx(-0.36, abs=0.001)
    assert "raw top stays where the deck is more than 7.64 high" in check.message
    assert judged(built(changed(coupon, deck={"clean_up": 0.0})))["clean-up"].verdict == "ok"


def test_a_lower_floor_or_a_thicker_blank_helps_the_clean_up(coupon: Job) -> None:
    """Less clean_up is no help: it lowers all planes, and is not named."""
    short = changed(coupon, groove={"floor": 2.0})
    before = judged(built(short))["clean-up"]
    assert before.fix == ""
    by = before.limit - before.worst
    for better in (
        changed(short, groove={"floor": 2.0 - by}),
        changed(short, blank={"thickness": 10.6 + by}),
    ):
        after = judged(built(better))["clean-up"]
        assert after.worst - after.limit >= before.worst - before.limit
    floor = advised(short).floors[1]
    assert judged(built(changed(short, groove={"floor": floor})))["clean-up"].verdict == "ok"


def test_the_floor_that_advice_says_passes_passes(coupon: Job) -> None:
    """With little clean-up the lowest pass is not offered; the floors named must pass all the
    same."""
    for clean_up in (0.05, 0.1, 0.4):
        thin = changed(coupon, deck={"clean_up": clean_up})
        least, most = advised(thin).floors
        for floor in (least, most):
            found = judged(built(changed(thin, groove={"floor": floor})))
            assert {found[name].verdict for name in ("window", "floor", "shows", "clean-up")} == {
                "ok"
            }, (
                clean_up,
                floor,
            )


def test_a_thickness_measured_after_the_skim_is_of_its_stop_alone(coupon: Job) -> None:
    """Measured 9.40 after the stop at 9.40, the table judged 8.90 and 8.40 by it too: 3.0 of fill
    and 0.6 of clean-up at every plane. Those stops are over."""
    (plane,) = (plane for plane in built(coupon).skim.planes if round(plane, 2) == 9.4)
    settled = Settled(stop_plane=plane, thickness_after=((0.0, -36.0, 9.4), (0.0, 36.0, 9.4)))
    table = stop_table(built(coupon, settled))
    assert [round(stop.plane, 2) for stop in table.stops] == [9.4]
    before = stop_table(built(coupon, Settled(stop_plane=plane)))
    assert [round(stop.plane, 2) for stop in before.stops] == [9.4, 8.9, 8.4]


def test_a_bore_that_came_out_short_is_bored_deeper_not_planned_anew(coupon: Job) -> None:
    """7.90 deep under a deck of 7.98 it ends 0.08 short; errors of the deck's touch, machine and
    bed and of the gauge, 0.05 + 0.03 + 0.05 + 0.03, make that 0.24."""
    stack = built(coupon, Settled(stop_plane=9.4, bore_depth={"I1": 7.9}))
    check = judged(stack)["opens"]
    assert check.verdict == "fail"
    assert check.worst == pytest.approx(check.value - 0.16, abs=0.001)
    assert "0.08 short of the deck" in check.message
    assert f"{-check.worst:.2f} deeper before the deck is cut" in check.fix
    assert "through" not in check.fix
