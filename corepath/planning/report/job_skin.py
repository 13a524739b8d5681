"""The skin of a job, loaded only where the job has one."""

from __future__ import annotations

import sys
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from corepath.board.deck.make_deck import deck_follows_from
from corepath.board.features import Board
from corepath.job.model import Job
from corepath.layup.laid import skin_outside
from corepath.planning.side_by_side import beside
from corepath.reported import Key, report_keys
from corepath.stackup.checks.verdict import Check

if TYPE_CHECKING:
    from corepath.skin.report import SkinReport
    from corepath.skin.skin_advice import SkinAdvice
    from corepath.skin.study import SkinStudy

__all__ = ["SkinBegun", "SkinFound", "find_skin", "skin_beside", "skin_files"]


@report_keys(Key("*", "report"))
class SkinFound(NamedTuple):
    """The study of a skin on its deck, the changes that would make it pass, and its checks."""

    study: SkinStudy
    advice: SkinAdvice
    checks: tuple[Check, ...]

    def report(self) -> SkinReport:
        from corepath.skin.report import SkinReport

        return SkinReport(self.study, self.advice)


class SkinBegun(NamedTuple):
    """The study of a skin that a process beside works on: what it follows from, and its result."""

    key: Hashable
    result: Callable[[], SkinFound]


@contextmanager
def skin_beside(job: Job, board: Board, folder: Path, cores: int) -> Iterator[SkinBegun | None]:
    """Begin the study of a job's skin before its works are known, by a process beside; None where
    there is no other of `cores`, or nothing to study.

    How far the laminates reach hangs on the works where a machine trims: that is not guessed.
    """
    reach = skin_outside(job, None)
    key = _key(job, board, reach, folder)
    # What a process beside had to load first, each new one would load again.
    loaded = "corepath.skin.study" in sys.modules
    if cores < 2 or job.skin is None or not loaded or board.deck.kept_fields.holds(key):
        yield None
        return
    with beside([lambda: _found(job, board, reach, folder)], cores) as (result,):
        yield SkinBegun(key, result)


def find_skin(
    job: Job, board: Board, reach: float, folder: Path, begun: SkinBegun | None = None
) -> SkinFound | None:
    """Return the study, advice and checks of a job's skin; None for a job without `[skin]`.

    `reach` is how far the laminates are cut beyond the outline, mm (`skin_reach`); `folder` holds
    the files that the job names; `begun` is the study that is worked on already.
    """
    if job.skin is None:
        return None
    key = _key(job, board, reach, folder)
    if begun is not None and begun.key == key:
        return board.deck.kept_fields.of(key, begun.result)
    return board.deck.kept_fields.of(key, lambda: _found(job, board, reach, folder))


def _key(job: Job, board: Board, reach: float, folder: Path) -> Hashable:
    """Return all that the study and what is tried in it read of a job; the surface keeps it."""
    return ("skin", job.skin, *deck_follows_from(job), board.outline, reach, folder)


def _found(job: Job, board: Board, reach: float, folder: Path) -> SkinFound:
    # Loaded here: it needs scipy's sparse solvers, which a job without a skin does without.
    from corepath.skin.checks import skin_checks
    from corepath.skin.skin_advice import advise_skin
    from corepath.skin.study import study_skin
    from corepath.skin.terms import cover_of

    study = study_skin(job, board.deck, cover_of(job, board.outline, reach))
    advice = advise_skin(job, board.deck, board.outline, study, folder)
    return SkinFound(study, advice, skin_checks(study, advice.fix))


def skin_files(job: Job, board: Board, found: SkinFound | None, digest: str) -> dict[str, str]:
    """Return the maps of a skin as SVG text by file name; empty without a skin."""
    if found is None:
        return {}
    from corepath.views.deck.skin_maps import skin_maps

    return skin_maps(job, board, found.study, digest=digest)
