"""The odds against a Monte Carlo of the physical process (process.py), which shares no relation
with them: the same cells of groove and deck, errors of the same distribution drawn another way, and
an operator who stops at the first pass where everything shows."""

from __future__ import annotations

import numpy as np
import pytest

from corepath.board.features import Board
from corepath.board.make_board import collect_faults
from corepath.job.model import Job
from corepath.stackup import build_stackup
from corepath.stackup.odds.cells import casting_cells, deck_cells
from corepath.stackup.odds.odds import draw_odds
from corepath.stackup.stackup import Stackup
from tests.outside.process import Process, Site, site_of
from tests.outside.test_outside_process import SAMPLES, drawn

CORES = 40_000
SEEDS = 12
CLOSE = 0.011
"""One core in a hundred, and three standard errors of the difference of two such shares."""


def risky(seed: int) -> tuple[Job, Board]:
    """A drawn job on a blank that only just gives its core, or only just does not, with what can
    spoil it close: a low floor, a fill without much to spare, hardware that reaches far."""
    rng = np.random.default_rng(seed)
    job, board = drawn(seed)
    deck = board.deck.highest_over(board.blank)[0]
    clean_up = float(rng.uniform(0.05, 0.3))
    floor = float(rng.uniform(0.3, 0.6))
    window = float(rng.uniform(0.05, 0.45))
    insert = job.insert[0].model_copy(update={"length": float(rng.uniform(5.6, 6.9))})
    update = {
        "deck": job.deck.model_copy(update={"clean_up": clean_up}),
        "groove": job.groove.model_copy(update={"floor": floor}),
        "blank": job.blank.model_copy(update={"thickness": deck + clean_up + floor + window}),
        "cast": job.cast.model_copy(
            update={"flush": "none", "pour_short": float(rng.uniform(0.6, 3.2)), "fill_margin": 0.0}
        ),
        "tolerances": job.tolerances.model_copy(update={"flat": float(rng.uniform(0.1, 0.3))}),
        "insert": (insert,),
    }
    job = job.model_copy(update=update)
    # none of these keys moves the deck, which takes longest to make
    changed, faults = collect_faults(job, SAMPLES, board.deck)
    assert changed is not None and not faults
    return job, changed


def cells_of(stack: Stackup, board: Board) -> Site:
    """One place for each cell, where the deck in it is highest; seats and touch as they were."""
    site = site_of(stack.job, board, some=0)
    h, at = list(site.h), [tuple(place) for place in site.at]

    def add(height: float, place: tuple[float, float]) -> int:
        h.append(height)
        at.append(place)
        return len(h) - 1

    castings: dict[str, list[int]] = {}
    for one in casting_cells(stack, board):
        castings.setdefault(one.cell.casting, []).append(add(one.deck, one.highest_at))
    deck = [add(one.deck, one.at) for one in deck_cells(stack, board)]
    return Site(
        np.array(h), np.array(at), site.touch, deck, castings, site.inserts, site.over, site.spans
    )


def both(job: Job, board: Board) -> tuple[float, float, dict[str, float], dict[str, float]]:
    """Share of cores that come out here and there, and the shares of what spoils them."""
    stack = build_stackup(job, board)
    odds = draw_odds(stack, board, CORES)
    process = Process(job, board, stack, cells_of(stack, board))
    spoilt = process.as_operated(process.draw_normal(CORES, 5))
    lost = np.logical_or.reduce(list(spoilt.values()))
    here = {f"{one.check} {one.where}": one.share for one in odds.spoilers}
    there = {f"{check} {where}": float(so.mean()) for (check, where), so in spoilt.items()}
    return odds.share, 1.0 - float(lost.mean()), here, there


@pytest.mark.whole
def test_odds_of_drawn_jobs_are_those_of_the_process() -> None:
    """Jobs of every kind, sure, hopeless and between, so that no half of the odds goes unproved."""
    between, met = 0, set()
    for seed in range(SEEDS):
        here, there, spoilers, spoilt = both(*risky(seed))
        says = f"seed {seed}: {spoilers} here, {spoilt} there"
        assert here == pytest.approx(there, abs=CLOSE), says
        for name, share in spoilt.items():
            assert spoilers.get(name, 0.0) == pytest.approx(share, abs=CLOSE), says
            met |= {name.split()[0]} if 0.02 < share < 0.98 else set()
        between += 0.03 < there < 0.97
    assert between >= SEEDS // 3
    assert met >= {"floor", "shows", "clean-up", "fill", "barrel"}
