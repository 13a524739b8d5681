"""Minutes of the deck of board-1280 against plain lines with a ball of the same diameter, and
against the bound."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from corepath.motion.clock import seconds
from corepath.motion.program import Kind
from corepath.operations.deck.surfacing import finished, judged
from corepath.planning.prepare import prepare
from corepath.planning.report.deck_table import ball_lines
from corepath.work.cutting.deck_cutter import deck_offers

SAMPLE = Path(__file__).parents[2] / "samples" / "board-1280.toml"


def test_the_deck_takes_less_than_three_tenths_of_lines_with_a_ball() -> None:
    """The same feed, clock, extents and ridges; on the slopes alone at most half."""
    prepared = prepare(SAMPLE)
    limits = prepared.job.machine.motion_limits
    work = next(work for work in prepared.works if work.name == "deck")
    assert work.deck is not None and work.cutter.shape == "flat"
    program, left = finished(work)
    cuts = [move for move in program.moves if move.kind != Kind.RAPID]
    assert left is not None and judged(work, cuts) == left
    assert left.unreached == 0 and left.low > -work.deck.gouge and left.high <= work.deck.scallop

    feed = max(move.feed for move in cuts)
    spent = seconds(cuts, limits) / 60.0
    reference = ball_lines(work, work.cutter.diameter, feed, limits)
    assert spent.sum() <= 0.30 * reference

    ends = np.array([(move.x, move.y) for move in cuts])
    middles = np.concatenate([ends[:1], 0.5 * (ends[1:] + ends[:-1])])
    hx, hy = work.deck.surface.gradient(middles[:, 0], middles[:, 1])
    sloped = np.hypot(hx, hy) > 1e-3
    x, y = np.meshgrid(np.arange(-699.5, 700.0), np.arange(-239.5, 240.0))
    gx, gy = work.deck.surface.gradient(x, y)
    share = float((np.hypot(gx, gy) > 1e-3).mean())
    assert 0.3 < share < 0.6
    assert spent[sloped].sum() <= 0.50 * share * reference

    offers = deck_offers(prepared.job, work.deck.surface, work.deck.area.bounds, work.deck.deepest)
    least = min(offer.minutes for offer in offers)
    # Turns at the ends of short lines and whole numbers of lines: see docs/surfacing.md.
    assert least < spent.sum() <= 1.85 * least


def test_the_offers_are_in_order_and_the_quickest_that_fits_is_taken() -> None:
    prepared = prepare(SAMPLE)
    bounds = prepared.board.blank.bounds
    offers = deck_offers(prepared.job, prepared.board.deck, bounds, 2.0)
    estimates = [offer.estimate for offer in offers]
    assert estimates == sorted(estimates) and len(offers) == 4
    work = next(work for work in prepared.works if work.name == "deck")
    assert work.cutter == offers[0].chosen.cutter
    assert [offer.chosen.cutter.shape for offer in offers].count("ball") == 1
    assert all(
        offer.sloped == pytest.approx(offer.sloped) and offer.sloped < offer.minutes
        for offer in offers
    )
