"""How likely a core comes out: its distribution, its stop, and what does not count as spoiled."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from corepath.board.features import Board
from corepath.board.make_board import build_board
from corepath.cli.tables.verdict_lines import verdict_lines
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.job.record.settled import Settled
from corepath.stackup import build_stackup
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.stackup.measuring.blank import Blank
from corepath.stackup.odds import odds
from corepath.stackup.odds.drawn_errors import DrawnErrors, ErrorCell, even, normal
from corepath.stackup.odds.odds import Odds, draw_odds, odds_words
from corepath.stackup.odds.outcome import outcome_of

SAMPLES = Path(__file__).parents[2] / "samples"


@lru_cache
def coupon() -> Job:
    return load_job(SAMPLES / "coupon.toml")


def with_keys(job: Job, **tables: dict[str, object]) -> tuple[Job, Board]:
    made = {name: getattr(job, name).model_copy(update=keys) for name, keys in tables.items()}
    changed = job.model_copy(update=made)
    return changed, build_board(changed, SAMPLES)


def odds_of(job: Job, board: Board, settled: Settled | None = None, **asked: float) -> Odds:
    return draw_odds(build_stackup(job, board, settled=settled), board, **asked)


def test_one_error_falls_short_of_rss_as_often_as_a_normal_one() -> None:
    """Three standard deviations are its half-width: 68.4 % of a normal distribution cut off there
    lie within a third of it (0.68269 / 0.99730), and nothing lies beyond."""
    errors = DrawnErrors(200_000)
    drawn = errors.values(10.0 + Linear.term("touch for deck", 0.3), ErrorCell("deck"))
    assert abs(float(drawn.mean()) - 10.0) < 0.001
    assert float((np.abs(drawn - 10.0) < 0.1).mean()) == pytest.approx(0.68454, abs=0.004)
    assert 0.29 < float(np.abs(drawn - 10.0).max()) <= 0.3


def test_a_one_sided_gap_is_drawn_about_its_middle() -> None:
    drawn = DrawnErrors(50_000).values(Linear.gap("lying flat in B", 0.2), ErrorCell("deck"))
    assert float(drawn.min()) >= 0.0 and float(drawn.max()) <= 0.2
    assert float(drawn.mean()) == pytest.approx(0.1, abs=0.001)


def test_errors_of_a_place_are_its_own_and_those_of_a_set_up_are_shared() -> None:
    """One touch moves all places alike; wood and bed do not know of each other's."""
    errors = DrawnErrors(20_000)

    def alike(name: str, one: str, other: str) -> float:
        value = Linear.term(name, 1.0)
        pair = [errors.values(value, ErrorCell(cell, cell[:2])) for cell in (one, other)]
        return float(np.corrcoef(*pair)[0, 1])

    assert alike("touch for groove", "P1 0", "P2 0") == pytest.approx(1.0)
    assert abs(alike("thickness", "P1 0", "P2 0")) < 0.03
    assert abs(alike("bed, gauged", "P1 0", "P2 0")) < 0.03
    assert alike("depth gauge at the resin", "P1 0", "P1 1") == pytest.approx(1.0)
    assert abs(alike("depth gauge at the resin", "P1 0", "P2 0")) < 0.03


def test_even_errors_reach_their_ends_as_often_as_their_middle() -> None:
    drawn = even(np.random.default_rng(1), 100_000)
    assert float((np.abs(drawn) < 1 / 3).mean()) == pytest.approx(1 / 3, abs=0.006)
    assert float(np.abs(normal(np.random.default_rng(1), 100_000)).max()) <= 1.0


def test_a_floor_in_the_way_of_a_leak_spoils_by_the_share_of_a_normal_distribution() -> None:
    """One plug and the groove's cells run thin independently but for touch and machine; with the
    gap alone drawn the share can be worked out: every cell by itself, F(x) = the gap's share."""
    none = dict.fromkeys(("touch", "machine", "bed", "level", "pour_line", "moisture"), 0.0)
    job, board = with_keys(
        coupon(), groove={"floor": 0.35, "leak_floor": 0.2, "least_floor": 0.01},
        tolerances={**none, "flat": 0.2},
    )  # fmt: skip
    found = odds_of(job, board, cores=100_000)
    plug = next(one for one in found.spoilers if (one.check, one.where) == ("floor", "P1"))
    # wood 0.35 less a gap that is normal about 0.1 with a standard deviation of 0.2 / 6: it leaks
    # where the gap is over 0.15, which is 1.5 standard deviations, of a distribution cut at three
    tail = (0.5 * math.erfc(1.5 / math.sqrt(2)) - 0.00135) / 0.9973
    assert plug.share == pytest.approx(tail, abs=0.003)


def test_what_misses_only_a_margin_comes_out() -> None:
    """`least_floor` is a margin: a job that fails by it alone is not spoiled."""
    job, board = with_keys(coupon(), groove={"least_floor": 1.5})
    stack = build_stackup(job, board)
    floor = Check("floor", "fail", 1.2, 0.9, 1.0, 1.5, "mm", "thin", "groove", "fix")
    found = outcome_of((floor,), stack, board)
    assert found.answer == "no" and found.failed == ("floor",)
    assert found.odds.share > 0.999


def test_raw_top_that_may_stay_spoils_nothing_where_no_clean_up_is_asked() -> None:
    """But its share is told; the same blank with some clean-up asked is spoiled by it."""
    thin = {"thickness": 9.72}
    free, board = with_keys(coupon(), deck={"clean_up": 0.0}, blank=thin)
    asked, asked_board = with_keys(coupon(), deck={"clean_up": 0.01}, blank=thin)
    without, within = odds_of(free, board), odds_of(asked, asked_board)
    assert without.raw_stays is not None and without.raw_stays > 0.01
    assert "clean-up" not in {one.check for one in without.spoilers}
    assert within.raw_stays is None and within.spoilers[0].check == "clean-up"


def test_a_recorded_stop_at_which_all_was_seen_to_show_hides_nothing() -> None:
    """Before it some cores never show; once it is recorded that is over."""
    job, board = with_keys(coupon(), blank={"thickness": 9.6})
    before = odds_of(job, board)
    assert {"shows"} & {one.check for one in before.spoilers}
    lowest = build_stackup(job, board).skim.lowest_plane
    settled = Settled(stop_plane=lowest, stop=1)
    found = outcome_of((), build_stackup(job, board, settled=settled), board)
    seen = found.odds
    assert "shows" not in {one.check for one in seen.spoilers} and seen.share > before.share
    # and the line says by how much it narrowed the odds
    assert (
        found.before == before.share
        and outcome_of((), build_stackup(job, board), board).before is None
    )
    line = " ".join(verdict_lines("Coupon", found).split())
    assert f"{odds_words(seen.share)}; before measuring {math.floor(100 * before.share)}. " in line


def test_a_seat_off_its_place_by_more_than_its_wood_is_lost() -> None:
    """Its flange then lies over the casting. The play of the dowels alone is drawn, normal with a
    standard deviation of a third of it and cut off at three: the share follows from the wood
    between."""
    coupon_, none = coupon(), dict.fromkeys(("moisture", "flip_axis", "cutter_diameter"), 0.0)
    near = coupon_.insert[0].model_copy(update={"at": ((34.0, -15.07),)})
    job = coupon_.model_copy(update={"insert": (near,)})
    job, board = with_keys(job, tolerances={**none, "dowel_play": 0.3})
    wood = board.ring.distance(board.places[0].seat.area)
    assert 0.02 < wood < 0.2
    spoilers = odds_of(job, board).spoilers
    lost = {one.where: one.share for one in spoilers if one.check == "registration"}
    tail = (0.5 * math.erfc(wood / 0.1 / math.sqrt(2)) - 0.00135) / 0.9973
    assert lost == {"seat I1": pytest.approx(tail, abs=0.01)}


def test_a_board_without_inserts_has_odds_too() -> None:
    """Two drawn jobs ended in a traceback: no seat can be lost where there is none."""
    job = coupon().model_copy(update={"insert": ()})
    assert odds_of(job, build_board(job, SAMPLES), cores=2_000).share > 0.9


def test_nothing_is_drawn_where_nothing_can_spoil(monkeypatch: pytest.MonkeyPatch) -> None:
    """A verdict on a sound job need not load the generators; drawn all the same, its odds are the
    same, and a casting that may not show asks for a draw by itself."""
    job, board = with_keys(coupon())
    with monkeypatch.context() as no_draws:
        no_draws.delattr(np.random, "default_rng")
        once = odds_of(job, board)
        hidden, thin_board = with_keys(coupon(), blank={"thickness": 9.6})
        with pytest.raises(AttributeError, match="default_rng"):
            odds_of(hidden, thin_board)
    monkeypatch.setattr(odds, "_may_hide", lambda stack, cells: True)
    assert once == odds_of(job, board)


def test_the_same_job_has_the_same_odds_and_they_hold_on_other_draws() -> None:
    job, board = with_keys(coupon(), blank={"thickness": 9.6})
    once = odds_of(job, board)
    assert once == odds_of(job, board) and 0.02 < once.share < 0.98
    more = odds_of(job, board, cores=80_000)
    assert once.share == pytest.approx(more.share, abs=0.01)
    # the lower end of the interval: 1.6449 standard errors below, to within their curvature
    error = math.sqrt(once.share * (1.0 - once.share) / once.cores)
    assert once.share - once.at_least == pytest.approx(1.6449 * error, rel=0.05)


def test_a_finer_grid_has_the_same_odds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Places half as far apart, along the castings and over the deck, find the same weakest one in
    each cell: less than one core in a hundred."""
    job, board = with_keys(coupon(), blank={"thickness": 9.26}, deck={"clean_up": 0.05})
    found = odds_of(job, board)
    assert 0.02 < found.share < 0.98
    assert {"shows", "clean-up"} <= {one.check for one in found.spoilers}
    nodes = Blank.nodes
    monkeypatch.setattr("corepath.stackup.stations.STATION", 5.0)
    monkeypatch.setattr("corepath.stackup.stations._LEAST_STATIONS", 144)
    monkeypatch.setattr("corepath.stackup.stations._WITHIN", 1.5)
    monkeypatch.setattr(Blank, "nodes", lambda self, step=5.0: nodes(self, step / 2.0))
    finer = odds_of(job, board)
    assert finer.share == pytest.approx(found.share, abs=0.01)
    assert finer.share != 0.0 and finer.cores == found.cores


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (1.0, "more than 99 of 100"),
        (0.9951, "more than 99 of 100"),
        (0.9949, "99 of 100"),
        (0.29, "29 of 100"),
        (0.97, "97 of 100"),
        (0.01, "1 of 100"),
        (0.0099, "fewer than 1 of 100"),
        (0.0, "fewer than 1 of 100"),
    ],
)
def test_odds_are_never_all_or_none(share: float, words: str) -> None:
    assert odds_words(share) == words
