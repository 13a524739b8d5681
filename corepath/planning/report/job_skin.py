"""The skin of a job, loaded only where the job has one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from corepath.board.deck.make_deck import deck_follows_from
from corepath.board.features import Board
from corepath.job.model import Job
from corepath.reported import Key, report_keys
from corepath.stackup.checks.verdict import Check

if TYPE_CHECKING:
    from corepath.skin.report import SkinReport
    from corepath.skin.skin_advice import SkinAdvice
    from corepath.skin.study import SkinStudy

__all__ = ["SkinFound", "find_skin", "skin_files"]


@report_keys(Key("*", "report"))
class SkinFound(NamedTuple):
    """The study of a skin on its deck, the changes that would make it pass, and its checks."""

    study: SkinStudy
    advice: SkinAdvice
    checks: tuple[Check, ...]

    def report(self) -> SkinReport:
        from corepath.skin.report import SkinReport

        return SkinReport(self.study, self.advice)


def find_skin(job: Job, board: Board, reach: float, folder: Path) -> SkinFound | None:
    """Return the study, advice and checks of a job's skin; None for a job without `[skin]`.

    `reach` is how far the laminates are cut beyond the outline, mm (`skin_reach`); `folder` holds
    the files that the job names.
    """
    if job.skin is None:
        return None
    # All that the study and what is tried in it read of a job; the surface keeps it.
    key = ("skin", job.skin, *deck_follows_from(job), board.outline, reach, folder)
    return board.deck.kept_fields.of(key, lambda: _found(job, board, reach, folder))


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
