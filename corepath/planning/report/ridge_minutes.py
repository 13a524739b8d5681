"""Ridge height against minutes: what the deck takes with higher ridges, for the cutters listed.

The first row is the path that was made. The others are estimates of the kind by which a cutter is
chosen, scaled by how far that estimate was off for the path made. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from corepath.job.model import Job
from corepath.lengths import Said
from corepath.planning.make import MadeFile
from corepath.planning.prepare import Prepared
from corepath.reported import Key, report_keys
from corepath.work.cutting.deck_cutter import DEEPEST_HOLLOW, Offer, deck_offers, hollow_left
from corepath.work.works import Work

__all__ = ["LONG", "RidgeMinutes", "ridge_minutes"]

LONG = 1.0 / 3.0
"""Share of a plan's minutes from which a deck takes long."""

_TIMES = (2.0, 4.0)
"""Ridges that are estimated, as multiples of `deck.scallop`: half and a quarter of the sanding lost
is a choice that a builder can feel (common practice, no source)."""


@report_keys("scallop", "cutter", Key("minutes", places=1), "estimate")
@dataclass(frozen=True, slots=True)
class RidgeMinutes:
    """Ridges of at most `scallop` mm: the cutter that is quickest for them, in words, and the
    minutes of the finished deck."""

    scallop: float
    cutter: str
    minutes: float
    estimate: bool


def ridge_minutes(
    prepared: Prepared, made: Sequence[MadeFile], minutes: float
) -> tuple[RidgeMinutes, ...]:
    """Returns ridges and minutes, the finest first; () where the deck takes less than a third of
    all `minutes`, or is not cut."""
    decks = [one for one in made if one.work.deck is not None]
    mine = next((one for one in decks if one.work.deck and one.work.deck.rough == 0.0), None)
    if mine is None or mine.work.deck is None or sum(one.minutes for one in decks) < LONG * minutes:
        return ()
    scallop = mine.work.deck.scallop
    usual = _offers(prepared.job, mine.work, scallop)
    estimated = next(
        (one.estimate for one in usual if one.chosen.cutter.number == mine.work.cutter.number),
        mine.minutes,
    )
    rows = [RidgeMinutes(scallop, Said(mine.work.cutter.describe()), mine.minutes, estimate=False)]
    for times in _TIMES:
        best = _best(prepared, mine.work, scallop * times)
        if best is not None:
            spent = best.estimate * mine.minutes / estimated
            words = Said(best.chosen.cutter.describe())
            rows.append(RidgeMinutes(scallop * times, words, spent, estimate=True))
    return tuple(rows)


def _offers(job: Job, work: Work, scallop: float) -> list[Offer]:
    assert work.deck is not None
    higher = job.model_copy(update={"deck": job.deck.model_copy(update={"scallop": scallop})})
    deck = work.deck
    return deck_offers(higher, deck.surface, deck.area.bounds, deck.deepest, deck.finished)


def _best(prepared: Prepared, work: Work, scallop: float) -> Offer | None:
    """Return the quickest of the cutters that fit the hollows for such ridges, as one is chosen."""
    assert work.deck is not None
    surface = work.deck.surface
    offers = _offers(prepared.job, work, scallop)
    fits = (
        one for one in offers if hollow_left(surface, one.chosen.cutter) <= DEEPEST_HOLLOW * scallop
    )
    return next(fits, None)
