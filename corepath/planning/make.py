"""Make the programs of a plan from its works, and their text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from corepath.caching.store import NOTHING, Store
from corepath.gcode.write import Extents, Heading, write
from corepath.job.pose import pose_of
from corepath.motion.clock import Limits, minutes
from corepath.motion.program import Program, Setup
from corepath.operations import programs
from corepath.plain_text import sha256_of
from corepath.planning.prepare import Prepared
from corepath.planning.progress import Progress, quiet
from corepath.planning.report.times import MinutesApart, apart
from corepath.stackup.odds.acceptance import risk_words
from corepath.work import Work
from corepath.work.least_time.minutes import LeastTime, least_time

__all__ = [
    "MadeFile",
    "Progress",
    "heading_of",
    "make_files",
    "minutes_of",
    "quiet",
    "written_file",
]

_DECK = 30.0  # of the time that another operation's path takes, measured on the samples


@dataclass(frozen=True, slots=True)
class MadeFile:
    """One `.nc` file: the work and program it comes from, its text and figures.

    `minutes` is the time of cutting and rapids, from where the machine parks and back; `least_time`
    a lower bound of the time of any path; `apart` the stops and dwells; `cuts` the numbers of
    straight cuts and of arcs in it.
    """

    name: str
    work: Work
    program: Program
    text: str
    lines: int
    minutes: float
    extents: Extents
    least_time: LeastTime
    apart: MinutesApart
    cuts: tuple[int, int]

    @property
    def sha256(self) -> str:
        return sha256_of(self.text)


def make_files(
    prepared: Prepared, progress: Progress = quiet, store: Store = NOTHING
) -> tuple[MadeFile, ...]:
    """Make all files still to be cut, in their order; paths come from `store` where that has them.
    Raises CorepathError where no path can be found."""
    made: list[MadeFile] = []
    weights = [_DECK if work.name == "deck" else 1.0 for work in prepared.ahead]
    for k, work in enumerate(prepared.ahead):
        progress(f"path of {work.name}", sum(weights[:k]) / sum(weights))
        made += [written_file(prepared, work, program) for program in programs(work, store)]
    return tuple(made)


def written_file(prepared: Prepared, work: Work, program: Program) -> MadeFile:
    """Write a program as text, with its figures; its head names the failed checks of `prepared`."""
    machine = prepared.job.machine
    spent = minutes_of(program, machine.motion_limits)
    heading = heading_of(prepared, work.setup, spent)
    written = write(program, heading, machine=machine, units=prepared.job.units)
    least = least_time(work, machine.motion_limits, planes=_planes(program))
    name, text = f"{program.stem}.nc", written.text
    beside = apart(program, machine)
    cuts = written.cut_lines, written.cut_arcs
    return MadeFile(
        name, work, program, text, written.lines, spent, written.extents, least, beside, cuts
    )


def heading_of(prepared: Prepared, setup: Setup, spent: float) -> Heading:
    """Return what the head of a file says about the plan; `spent` are the file's minutes."""
    face_up = pose_of(prepared.job, setup).face_up
    failed, risk = _failed_ids(prepared), risk_words(prepared.odds, prepared.accepted)
    return Heading(prepared.job.title, prepared.digest, face_up, spent, failed, risk)


def minutes_of(program: Program, limits: Limits) -> float:
    """Return the minutes of a program from where the machine parks and back, with the first way
    down to the stop where the operator checks its zero."""
    looked_at = 0.0 if program.approach is None else program.approach.minutes_from(program.park)
    return minutes(program.passes, limits, park=program.park) + looked_at


def _planes(program: Program) -> tuple[int, int] | None:
    """Return (index, next index) of the plane that a file with a single pass of the skim cuts;
    None for any other file."""
    number = program.stem.rpartition("-pass-")[2]
    return (int(number) - 1, int(number)) if number.isdigit() and "-pass-" in program.stem else None


def _failed_ids(prepared: Prepared) -> str | None:
    """Return the ids of the failed checks, for the warning in each head; None where all hold, or
    the job accepts them."""
    if prepared.accepted:
        return None
    failed: Sequence[str] = list(
        dict.fromkeys(check.id for check in prepared.checks if check.verdict == "fail")
    )
    return ", ".join(failed) if failed else None
