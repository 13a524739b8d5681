"""Jobs with other values, worked out up to their checks; each once, and no more than is allowed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from corepath.errors import InputError
from corepath.job.model import Job
from corepath.job.rules.consistency import ValidSections, contradictions
from corepath.kept import Kept
from corepath.planning.fixing.changing import OF_DECK, changed_job
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job
from corepath.stackup.advice.fix import Value

__all__ = ["MOST_TRIALS", "Spent", "Trials"]

MOST_TRIALS = 60
"""Jobs that one search works out."""

_DECK = 8
"""How many others a job with another deck counts for, by the time that it takes."""

_CROWD = 40
"""Castings and inserts from which on a job counts for two, and so on."""

_PARTS = 12


class Spent(Exception):
    """As many jobs were tried as one search may try."""


class Trials:
    """Works out `start` with other values; `kept` holds parts of boards made before.

    What a job costs is counted, never timed: the same job must get the same answer everywhere.
    """

    def __init__(self, start: Prepared, kept: Kept | None = None) -> None:
        self.start = start
        self.count = 0
        self._left = MOST_TRIALS
        self._kept = kept or Kept(_PARTS)
        self._tried: dict[tuple[tuple[str, Value], ...], Prepared | None] = {}

    def of(self, values: Mapping[str, Value], known: Known | None = None) -> Prepared | None:
        """Returns the job with these values (mm or flags, by key) as it is worked out; None where
        such a job is refused as input.

        `known` takes the place of what is known of the blank. Raises Spent.
        """
        if not values and known is None:
            return self.start
        key = tuple(sorted(values.items()))
        if known is not None:
            return self._made(values, known)
        if key not in self._tried:
            self._tried[key] = self._made(values, self.start.known)
        return self._tried[key]

    def _made(self, values: Mapping[str, Value], known: Known) -> Prepared | None:
        shaped = any(key.startswith(OF_DECK) for key in values)
        self._spend(shaped)
        job = changed_job(self.start.resolved, values)
        if contradictions(ValidSections({name: getattr(job, name) for name in Job.model_fields})):
            return None
        deck = None if shaped else self.start.board.deck
        # the skin is bent over deck and edge alone: where these stay, so do its checks
        skin = None if shaped else self.start.skin
        bare = job if shaped else job.model_copy(update={"skin": None})
        try:
            made = prepare_job(bare, Path(), known, deck, kept=self._kept)
        except InputError:
            return None
        return made if skin is None else _with_skin(made, self.start)

    def _spend(self, shaped: bool) -> None:
        start = self.start
        crowd = 1 + (len(start.board.castings) + len(start.board.places)) // _CROWD
        cost = crowd * (_DECK if shaped else 1)
        if cost > self._left:
            raise Spent
        self._left -= cost
        self.count += 1


def _with_skin(made: Prepared, start: Prepared) -> Prepared:
    assert start.skin is not None
    return replace(made, skin=start.skin, checks=(*made.checks, *start.skin.checks))
