"""From a job file to all that is known before any path is made: geometry, stack-up, works, checks."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from corepath.board.build import collect_faults
from corepath.board.model import Board
from corepath.errors import Fault, InputError
from corepath.job.load import read_job
from corepath.job.model import Job
from corepath.job.resolved import digest
from corepath.stackup import Check, Stackup, build_stackup, depth_checks, place_checks
from corepath.work import Work, build_works, limit_checks

__all__ = ["Prepared", "prepare", "prepare_job"]


@dataclass(frozen=True, slots=True)
class Prepared:
    """A job that can be planned: `checks` in the order of the table, `digest` names job and geometry.

    `resolved` is the job as it stands in `job.resolved.json`: an outline from a DXF file is held as
    points, so that the folder of a plan needs no other file.
    """

    job: Job
    resolved: Job
    board: Board
    stackup: Stackup
    works: tuple[Work, ...]
    checks: tuple[Check, ...]
    digest: str

    @property
    def failed(self) -> bool:
        return any(check.verdict == "fail" for check in self.checks)


def prepare(path: Path) -> Prepared:
    """Read a job file and work everything out up to the checks.

    Raises InputError with all faults found, those of the file and those of the geometry together.
    """
    job, faults = read_job(path)
    if job is None:
        raise InputError(faults)
    try:
        prepared = prepare_job(job, path.parent)
    except InputError as error:
        raise InputError(_placed(path, [*faults, *error.faults])) from None
    if faults:
        raise InputError(faults)
    return prepared


def prepare_job(job: Job, folder: Path) -> Prepared:
    """The same from a checked job; files it names lie in `folder`. Raises InputError."""
    board, faults = collect_faults(job, folder)
    if board is None:
        raise InputError(faults)
    stack = build_stackup(job, board)
    works, unfit = build_works(job, board, stack)
    faults = [*faults, *unfit]
    if faults:
        raise InputError(faults)
    checks = (*depth_checks(stack), *place_checks(stack, board), *limit_checks(job, works))
    resolved = _resolved(job, board)
    return Prepared(job, resolved, board, stack, works, checks, digest(resolved))


def _resolved(job: Job, board: Board) -> Job:
    if job.outline.dxf is None:
        return job
    points = tuple((float(x), float(y)) for x, y in board.outline.exterior.coords[:-1])
    taken_out = {"dxf": None, "layer": None, "dxf_units": None, "points": points, "smooth": False}
    return job.model_copy(update={"outline": job.outline.model_copy(update=taken_out)})


def _placed(path: Path, faults: list[Fault]) -> list[Fault]:
    """Give the faults found later their line of the file."""
    from corepath.job.source import locate, read_source

    source, _ = read_source(path)
    return locate(faults, source)
