"""The job's cutters compared for the deck: minutes, scallops and what each leaves, and as a
yardstick plain lines of a ball.

Lengths in mm, times in minutes. The cutter that is taken and the next best one are judged by their
real paths (that of the other without a second round), tried at one place in each square
(`corepath.operations.deck.deck_finish`); the rest by an estimate, and marked so. *Ball lines* are
lines along the grain, back and forth over the whole blank, with a ball of the same diameter at the
same feed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from corepath.caching.store import NOTHING, Store
from corepath.errors import CorepathError
from corepath.geometry.step_counts import fewest_steps
from corepath.lengths import Said
from corepath.motion.clock import Limits, seconds
from corepath.motion.cutter import Cutter
from corepath.motion.program import Kind, Program, line
from corepath.operations.deck.surfacing import finished, judged
from corepath.planning.make import MadeFile, minutes_of
from corepath.planning.prepare import Prepared
from corepath.reported import Key, report_keys
from corepath.work.cutting.deck_cutter import Offer, deck_offers, hollow_left
from corepath.work.cutting.deck_steps import level_step
from corepath.work.works import Work

__all__ = ["ComparedCutter", "ball_lines", "compared_cutters"]

_TRIED = 1
"""How many cutters beside the one taken are judged by a real path."""


@report_keys(
    "cutter", "number", "taken", "estimate", Key("minutes", places=2), Key("least", places=2),
    Key("least_sloped", places=2), Key("scallop", places=None), "lowest", "highest", "hollow",
    Key("ball_lines", places=2), Key("refused", optional=True),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class ComparedCutter:
    """A cutter for the deck: `cutter` in words, its number, whether it is `taken`, and whether
    minutes are an estimate.

    `least` is what any path takes on level ground, `least_sloped` on this deck. `lowest` and
    `highest` are what it leaves against the deck, None where no path was tried; `hollow` is what it
    cannot reach, `scallop` the ridge that is allowed. `refused` says why there is no path.
    """

    cutter: str
    number: int
    taken: bool
    estimate: bool
    minutes: float
    least: float
    least_sloped: float
    scallop: float
    lowest: float | None
    highest: float | None
    hollow: float
    ball_lines: float
    refused: str | None = None


def compared_cutters(
    prepared: Prepared, made: Sequence[MadeFile], store: Store = NOTHING
) -> tuple[ComparedCutter, ...]:
    """Return one entry for each listed cutter that could finish the deck, the quickest first; empty
    where the deck has been cut already."""
    mine = next(
        (one for one in made if one.work.deck is not None and one.work.deck.rough == 0.0), None
    )
    if mine is None:
        return ()
    work, job = mine.work, prepared.job
    assert work.deck is not None
    deck = work.deck
    offers = deck_offers(job, deck.surface, deck.area.bounds, deck.deepest, deck.finished)
    # A cutter that even at its lower bound takes longer than the path made is not worth a path of
    # its own.
    others = [
        one
        for one in offers
        if one.chosen.cutter.number != work.cutter.number and one.minutes < mine.minutes
    ]
    tried = others[:_TRIED]
    return tuple(_entry(prepared, mine, offer, store, tried=offer in tried) for offer in offers)


def ball_lines(work: Work, diameter: float, feed: float, limits: Limits) -> float:
    """Return the minutes of lines along X over the whole blank with a ball of `diameter` (mm) at
    `feed` (mm/min), with the stepover of the allowed scallop.

    The lines are level: on a deck they are a little longer. Turns are straight links.
    """
    assert work.deck is not None
    ball = Cutter(0, "ball", diameter, diameter / 2.0, 2, diameter, diameter)
    left, low, right, high = work.deck.area.bounds
    count = fewest_steps(high - low, level_step(ball, work.deck.scallop, diameter))
    ys = low + (np.arange(count) + 0.5) * (high - low) / count
    xs = [(left, right) if k % 2 == 0 else (right, left) for k in range(count)]
    moves = [line(x, float(y), 0.0, feed) for pair, y in zip(xs, ys, strict=True) for x in pair]
    return float(seconds(moves, limits).sum()) / 60.0


def _entry(
    prepared: Prepared, mine: MadeFile, offer: Offer, store: Store, *, tried: bool
) -> ComparedCutter:
    work = mine.work
    cutter, cutting, limits = (
        offer.chosen.cutter,
        offer.chosen.cutting,
        prepared.job.machine.motion_limits,
    )
    taken = cutter.number == work.cutter.number
    assert work.deck is not None
    found = ComparedCutter(
        cutter=Said(cutter.describe()),
        number=cutter.number,
        taken=taken,
        estimate=not (taken or tried),
        minutes=offer.estimate,
        least=offer.minutes,
        least_sloped=offer.sloped,
        scallop=work.deck.scallop,
        lowest=None,
        highest=None,
        hollow=hollow_left(work.deck.surface, cutter),
        ball_lines=ball_lines(work, cutter.diameter, max(cutting.feed, cutting.finish), limits),
    )
    # A cutter that finds no path is an answer too: it is listed with the reason.
    variant = replace(work, cutter=cutter, cutting=cutting)
    try:
        path = mine.program if taken else _other(variant, store) if tried else None
    except CorepathError as error:
        return replace(found, estimate=True, refused=str(error))
    if path is None:
        return found
    left = judged(variant, [move for move in path.moves if move.kind != Kind.RAPID], store)
    spent = mine.minutes if taken else minutes_of(path, limits)
    return replace(found, minutes=spent, lowest=left.low, highest=left.high)


def _other(work: Work, store: Store) -> Program:
    """Return the path of a cutter that is only compared."""
    return finished(work, rounds=1, store=store)[0]
