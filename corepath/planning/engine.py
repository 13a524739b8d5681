"""The engine: one job after another worked out up to its checks, each from what has changed.

Outline, its distances, deck and groove are kept by the keys of the job that they follow from; what
is worked out of a deck (its highest places, the hollows that a cutter leaves, the skin on it) is
kept by the deck itself. All depths are worked out anew each time: they are quick, and hang on every
number.
"""

from __future__ import annotations

from pathlib import Path

from corepath.job.model import Job
from corepath.job.text.source import Source
from corepath.kept import Kept
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job, prepare_source

__all__ = ["Engine"]

_PARTS = 16
"""Outlines, their distances, decks and grooves that are kept: of a board of 1.3 m a deck takes some
11 MB, the distances 5."""


class Engine:
    """Answers for jobs whose files lie in `folder`, as `corepath.planning.prepare.prepare_job`
    does: the same result, whatever was asked before. With more than one of `cores` the skin of
    another deck is worked out by a process beside, while its works are made."""

    def __init__(self, folder: Path, cores: int = 1) -> None:
        self._folder = folder
        self._kept = Kept(_PARTS, cores)

    def alone(self) -> None:
        """Work in this process only from now on."""
        self._kept.cores = 1

    def prepared(self, job: Job, known: Known | None = None) -> Prepared:
        """Returns `job`, already checked for itself, worked out up to its checks. Raises InputError
        with all faults of its geometry."""
        return prepare_job(job, self._folder, known, kept=self._kept)

    def prepared_source(self, source: Source, path: Path) -> Prepared:
        """Returns the job of a text, as `corepath.planning.prepare.prepare_source` does. Raises
        InputError with all faults, placed in the text."""
        return prepare_source(source, path, kept=self._kept)
