"""Jobs with other values, worked out up to their checks; each once, and no more than is allowed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from corepath.errors import InputError
from corepath.job.measured import Measured
from corepath.job.model import Job
from corepath.job.rules.consistency import ValidSections, contradictions
from corepath.kept import Kept
from corepath.planning.fixing.changed_values import OF_DECK, changed_job
from corepath.planning.fixing.surer import measured_as_assumed
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
        self._tried: dict[tuple[bool, tuple[tuple[str, Value], ...]], Prepared | None] = {}
        self._decks: set[tuple[tuple[str, Value], ...]] = set()
        self._assumed: Measured | None = None

    def of(self, values: Mapping[str, Value], measured: bool = False) -> Prepared | None:
        """Returns the job with these values (mm or flags, by key) as it is worked out; None where
        such a job is refused as input.

        `measured`: with its blank measured, each figure just as the job assumes it. Raises Spent.
        """
        if not values and not measured:
            return self.start
        key = measured, tuple(sorted(values.items()))
        if key not in self._tried:
            self._tried[key] = self._made(values, measured)
        return self._tried[key]

    def _made(self, values: Mapping[str, Value], measured: bool) -> Prepared | None:
        job = changed_job(self.start.resolved, values)
        if contradictions(ValidSections({name: getattr(job, name) for name in Job.model_fields})):
            return None
        deck_values = tuple(one for one in sorted(values.items()) if one[0].startswith(OF_DECK))
        self._spend(deck_values)
        deck = None if deck_values else self.start.board.deck
        # the skin is bent over deck and edge alone: where these stay, so do its checks
        skin = None if deck_values else self.start.skin
        bare = job if deck_values else job.model_copy(update={"skin": None})
        try:
            made = prepare_job(bare, Path(), self._known(measured), deck, kept=self._kept)
        except InputError:
            return None
        return made if skin is None else _with_skin(made, self.start)

    @property
    def places(self) -> int:
        """How many places of the blank are measured where it is."""
        return 0 if self._assumed is None else len(self._assumed.x)

    def _known(self, measured: bool) -> Known:
        if not measured:
            return self.start.known
        if self._assumed is None:
            self._assumed = measured_as_assumed(self.start)
        return replace(self.start.known, measured=self._assumed)

    def _spend(self, deck_values: tuple[tuple[str, Value], ...]) -> None:
        """Count one trial; a deck that was made before is kept, and costs nothing more."""
        start = self.start
        crowd = 1 + (len(start.board.castings) + len(start.board.places)) // _CROWD
        new = bool(deck_values) and deck_values not in self._decks
        cost = crowd * (_DECK if new else 1)
        if cost > self._left:
            raise Spent
        self._decks.add(deck_values)
        self._left -= cost
        self.count += 1


def _with_skin(made: Prepared, start: Prepared) -> Prepared:
    assert start.skin is not None
    return replace(made, skin=start.skin, checks=(*made.checks, *start.skin.checks))
