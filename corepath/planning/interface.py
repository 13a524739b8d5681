"""The functions of `import corepath`: load a job, check it, plan it, read the files back. The
commands call the same functions.

Lengths are in mm throughout, whatever units a job file is written in; feeds in mm/min, speeds in
rev/min, times in minutes. Frames as in the guide (`docs/arithmetic.md`): the *board frame* has X
along the length, Y across, its origin at the middle of the blank, Z up from the finished bottom;
the *bed frame* of a set-up has Z up from the bed. Nothing is printed, and nothing is written but
where `Plan.write` or a folder says so, and paths into the user's cache folder by `plan`. The same
input gives the same result.
"""

from __future__ import annotations

from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any

from corepath.caching.folder_store import store_of
from corepath.planning.fixing.search import find_fixes
from corepath.planning.make import Progress, quiet
from corepath.planning.plan import Plan
from corepath.planning.plan import plan as make_plan
from corepath.planning.prepare import Prepared, prepare
from corepath.planning.proving.reading import Reading, read_folder
from corepath.planning.questions import PourSheet, passes, pour_sheet, stops
from corepath.planning.report.checks_report import checks_report
from corepath.stackup import Check
from corepath.stackup.advice.fix import Fixes
from corepath.stackup.pass_shows import PassShows
from corepath.stackup.stop_table import StopTable

__all__ = ["Checked", "check", "load", "plan", "read_back"]

JobLike = Prepared | str | PathLike[str]
"""A job that was loaded, or the path of a job file."""


@dataclass(frozen=True, slots=True)
class Checked:
    """Whether the depths of a job agree, before any path is made.

    `checks` stand in the order of the table, one for each relation (`fill` one for each casting),
    each with its value and limit and the worst-case and root-sum-square value; the relations and
    their sources are on the pages `docs/checks/`.
    """

    prepared: Prepared

    @property
    def checks(self) -> tuple[Check, ...]:
        return self.prepared.checks

    @property
    def failed(self) -> bool:
        """Whether a check failed that the job does not accept (`tolerances.accept`); one that holds
        only by root sum square is a caution and does not count."""
        return self.prepared.failed

    def of(self, id: str) -> tuple[Check, ...]:
        """Return the checks with one id, such as `window`; empty where this job has none of it."""
        return tuple(check for check in self.checks if check.id == id)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What is not known or doubtful, in plain words."""
        return self.prepared.cautions

    @property
    def advice(self) -> tuple[str, ...]:
        """What would let a check pass or widen the window, in plain words."""
        return tuple(self.prepared.advice.lines())

    @property
    def passes(self) -> tuple[PassShows, ...]:
        """What each pass of the skim shows of each casting, in the order cut."""
        return passes(self.prepared)

    @property
    def stops(self) -> StopTable:
        """The heights and margins that depend on the pass at which the skim stops."""
        return stops(self.prepared)

    @property
    def pour(self) -> PourSheet | None:
        """What to mix for the castings, as text; None once the fill of each is recorded."""
        return pour_sheet(self.prepared)

    def fixes(self) -> Fixes:
        """Return changes of the job after which no check fails, each tried; takes seconds."""
        return find_fixes(self.prepared)

    @property
    def report(self) -> dict[str, Any]:
        """All of it as plain JSON types, the first part of `report.json`."""
        return checks_report(self.prepared)


def load(path: str | PathLike[str]) -> Prepared:
    """Read a job file, the files it names and the as-cut record beside it; build geometry, stack-up
    and works.

    Raises `InputError` with all faults at once, each with file, line, key, value and what is
    allowed.
    """
    return prepare(Path(path))


def check(job: JobLike) -> Checked:
    """Check that all depths of a job agree with each other; no path is made. Raises `InputError`
    for a file that is wrong."""
    prepared = _loaded(job)
    prepared.refuse_contradictions()
    return Checked(prepared)


def plan(
    job: JobLike,
    *,
    despite_failures: bool = False,
    bodies: bool = False,
    progress: Progress = quiet,
    cache: bool = True,
    cores: int = 1,
) -> Plan:
    """Make the paths, write them as RS-274 (NIST IR 6556) in memory, read that text back and draw
    it.

    `Plan.files` maps names to texts or bytes; `Plan.write` puts them into a folder. Where a check
    fails that the job does not accept (`tolerances.accept`) no path is made, unless
    `despite_failures`; where the read-back finds something, no `.nc` file is among them. `bodies`
    adds the core after each set-up as STL. `progress` is called with
    words and the share done, 0 to 1. Paths are kept in the user's cache folder and taken from there
    the next time, unless `cache` is False; the files are the same and are read back either way.
    With more than one of `cores`, copies of this process (Linux alone) take a part of the work.

    Raises `InputError` for a job file that is wrong, `CorepathError` where no path can be found.
    """
    return make_plan(
        _loaded(job),
        progress=progress,
        despite_failures=despite_failures,
        bodies=bodies,
        store=store_of(cache),
        cores=cores,
    )


def read_back(folder: str | PathLike[str], *, progress: Progress = quiet) -> Reading:
    """Read the `.nc` files in a plan's folder independently, cut a virtual blank and measure what
    is left.

    Nothing of how the files were made is used: zero, cutter and motions come from the text, what
    must be reached from `job.resolved.json` beside it. Raises `InputError` for a folder that holds
    no plan.
    """
    return read_folder(Path(folder), progress)


def _loaded(job: JobLike) -> Prepared:
    return job if isinstance(job, Prepared) else load(job)
