"""What it saves to finish the deck only as far beyond the outline as skin and bag reach.

The waste is level, so its lines lie as far apart as the cutter's stepover allows. Lengths in mm,
times in minutes, of lines alone, without turns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.reported import Key, report_keys
from corepath.work.checks.laid_checks import skin_reach
from corepath.work.cutting.deck_steps import level_step
from corepath.work.cutting.waste import finished_within
from corepath.work.works import Work

__all__ = ["WasteMinutes", "waste_minutes"]

_SPARE = 10.0
"""mm by which a deck that is only proposed is finished beyond the skins: bag and peel ply are laid
by hand (common practice, no source)."""
_ROUND = 5.0
"""mm; a width that is only proposed is rounded up to a multiple of it."""


@report_keys("beyond", "given", Key("waste", places=0), Key("saves", places=2))
@dataclass(frozen=True, slots=True)
class WasteMinutes:
    """Minutes that it `saves` to finish the deck `beyond` mm beyond the outline and not the `waste`
    outside, mm²; `given`: the job does so."""

    beyond: float
    given: bool
    waste: float
    saves: float


def waste_minutes(job: Job, board: Board, works: Sequence[Work]) -> WasteMinutes | None:
    """Return what `deck.beyond` saves, or would save at the least width that skin and bag ask for;
    None where the whole blank must be finished, or no deck is cut."""
    decks = [(work, work.deck) for work in works if work.deck is not None]
    finish = [one for one in decks if one[1].rough <= 0.0]
    whole = job.deck.margin > 0.0 or (job.skin is not None and job.skin.covers == "blank")
    if not finish or whole:
        return None
    asked = skin_reach(job, works) + job.limits.beyond + _SPARE
    by = job.deck.beyond
    wide = _ROUND * math.ceil(asked / _ROUND) if by is None else by
    area = finished_within(board, wide)
    if area is None:
        return None
    waste = board.blank.area - area.area

    saves = sum(
        waste / level_step(work.cutter, deck.scallop, work.cutting.stepover) / work.cutting.finish
        for work, deck in finish
    )
    return WasteMinutes(wide, by is not None, waste, saves)
