"""One file that cuts one place once more: what all kinds of it share."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from corepath.errors import Fault, InputError, OutputError
from corepath.gcode.write import write
from corepath.job.text.writing import locked, replace_file
from corepath.lengths import Said, marked, mm, units_of
from corepath.motion.program import Program, Setup
from corepath.planning.bed.bed_proof import BedProof
from corepath.planning.make import heading_of, minutes_of
from corepath.planning.prepare import Prepared
from corepath.stackup import Check
from corepath.work.unbroken import works_left
from corepath.work.works import Work

__all__ = ["LEAST", "Recut", "depth_fault", "refuse_depth", "spoilt", "text_of", "works_again"]

LEAST = 0.02
"""mm: no cut is made for less (twice the machine's own error would hide it: common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class Recut:
    """The file `name` with its `text` and minutes, what its read-back found, and the checks that
    would fail with the new depth and do not now: with any of these it must not be cut.

    `way_out` says what saves the core then; `touched` says what is touched for Z and
    done then, `record` are the words that record it.
    """

    name: str
    text: str
    minutes: float
    proof: BedProof
    spoils: tuple[Check, ...]
    way_out: str
    touched: str
    record: tuple[str, ...]

    @property
    def failed(self) -> bool:
        return bool(self.spoils or self.proof.findings)

    @property
    def message(self) -> tuple[Said, ...]:
        """Why it must not be cut, in words."""
        return tuple(
            Said(
                f"{check.id} would fail: {marked(check.message)}. This place cannot be saved by "
                f"cutting deeper; the nearest way out is {self.way_out}"
            )
            for check in self.spoils
        )

    def write(self, folder: Path) -> Path:
        """Write the file into a folder that exists, and return its path. Raises OutputError."""
        path = folder / self.name
        try:
            with locked(folder):
                replace_file(path, self.text.encode("ascii"))
        except OSError as error:
            says = f"{path}: cannot be written: {error.strerror or error}"
            raise OutputError(says) from error
        return path


def works_again(prepared: Prepared, name: str) -> tuple[Work, ...]:
    """Return the works of an operation that is cut, with cutters that are whole. Raises InputError
    where none of those fits."""
    if not prepared.known.settled.broken:
        return tuple(work for work in prepared.works if work.name == name)
    found, faults = works_left(
        prepared.job, prepared.board, prepared.stackup, prepared.done - {name}
    )
    if faults:
        raise InputError(faults)
    return tuple(work for work in found if work.name == name)


def refuse_depth(prepared: Prepared, what: str, work: Work, depth: float, now: float) -> None:
    """Raise InputError for a depth that is there already (`now`), or that the cutter does not
    reach; mm."""
    if depth < now + LEAST:
        says = f"the {what} is {mm(now):.3f~} deep already, and wood does not grow back"
        raise InputError([depth_fault(prepared, says, depth, f"more than {mm(now):.2f~}")])
    if not work.cutter.reaches(depth):
        says = f"is deeper than {work.cutter.describe()} reaches"
        most = f"at most {mm(work.cutter.cutting_length):g~}"
        raise InputError([depth_fault(prepared, says, depth, most)])


def depth_fault(prepared: Prepared, message: str, depth: float, allowed: str) -> Fault:
    """Return the fault of a depth (mm), in the units of the job."""
    units = units_of(prepared.job.units)
    return Fault("--depth", units.text(message), units.figure(depth, ".4n"), units.text(allowed))


def text_of(
    after: Prepared, digest: str, program: Program, setup: Setup, title: str
) -> tuple[str, float]:
    """Return the text of the file, and its minutes. Its head names the plan that is being cut, by
    its `digest`; `after` is the job as it is after the cut."""
    job = after.job
    spent = minutes_of(program, job.machine.motion_limits)
    # checks that fail already, as of a groove that is to be cut deeper next, do not forbid it
    heading = heading_of(after, setup, spent)._replace(
        digest=digest, place=f"{setup}, {title}", warning=None
    )
    return write(program, heading, machine=job.machine, units=job.units).text, spent


def spoilt(before: Prepared, after: Prepared) -> tuple[Check, ...]:
    """Return the checks that fail after it and not before."""
    failed = {check.id for check in before.checks if check.verdict == "fail"}
    return tuple(
        check for check in after.checks if check.verdict == "fail" and check.id not in failed
    )
