"""One file for one place that came out too shallow: a seat or a bore of an insert made deeper.

The file has cutter, zero and first way down of the inserts' own, and ends at the depth that is
asked for below the skimmed face, whatever is there above it: where the seat is there already it
cuts air. It is read back on a virtual blank as high as the skim left it, in which nothing is cut
yet: what is to be lowered must come out at that depth, and nothing beside it be touched.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from shapely import Point

from corepath.errors import Fault, InputError, OutputError
from corepath.gcode.write import write
from corepath.job.text.writing import locked, replace_file
from corepath.lengths import Said, marked, mm, units_of
from corepath.motion.program import Program
from corepath.operations import programs
from corepath.planning.bed.bed_proof import BedProof, prove
from corepath.planning.make import heading_of, minutes_of
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.progress import Progress, quiet
from corepath.stackup import Check
from corepath.work.bed_works import BedWork, Body
from corepath.work.works import Hole, Step, Work

__all__ = ["Part", "Recut", "recut_insert"]

Part = Literal["seat", "bore"]
_LEAST = 0.02
"""mm: no cut is made for less (twice the machine's own error would hide it: common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class Recut:
    """The file `name` with its `text` and minutes, what its read-back found, and the checks that
    would fail with the new depth and do not now: with any of these it must not be cut."""

    name: str
    text: str
    minutes: float
    proof: BedProof
    spoils: tuple[Check, ...]

    @property
    def failed(self) -> bool:
        return bool(self.spoils or self.proof.findings)

    @property
    def message(self) -> tuple[Said, ...]:
        """Why it must not be cut, in words."""
        return tuple(
            Said(
                f"{check.id} would fail: {marked(check.message)}. This place cannot be saved by "
                "cutting deeper; the nearest way out is hardware that needs less depth"
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


def recut_insert(
    path: Path, insert: str, part: Part, depth: float, progress: Progress = quiet
) -> Recut:
    """Return the file that makes seat or bore of one insert `depth` mm deep below the skimmed face.

    Raises InputError for a job with faults, an insert that is not there or not bored yet, and a
    depth that is there already or that no cutter of the inserts reaches.
    """
    prepared = prepare(path, progress)
    prepared.refuse_contradictions()
    work, hole = _found(prepared, insert, part)
    now = _depth_now(prepared, hole, part, insert)
    _refuse(prepared, work, part, depth, now)
    step = hole.steps[0] if part == "seat" else hole.steps[-1]
    top = prepared.stackup.skim.planned_plane
    made = replace(step, floor=top - depth)
    one = replace(
        work,
        holes=(Hole(hole.id, hole.x, hole.y, top, (made,)),),
        lowest=top - depth,
        watch=(f"only {part} {insert}, made deeper: from {mm(now):.2f} to {mm(depth):.2f}",),
    )
    title, stem = f"{part} {insert} made deeper", f"recut-{insert}-{part}"
    after = _after(prepared, path, insert, part, depth)
    program = replace(programs(one)[0], stem=stem)
    text, spent = _text(after, prepared.digest, program, title)
    cut = Point(hole.x, hole.y).buffer(step.diameter / 2.0, quad_segs=64)
    asked = BedWork("recut", title, one, _block(prepared, one), cut, -depth, "--depth")
    proof = prove(prepared.job, asked, program, text)
    return Recut(f"{stem}.nc", text, spent, proof, _spoilt(prepared, after))


def _found(prepared: Prepared, insert: str, part: Part) -> tuple[Work, Hole]:
    """Return the work and the hole of an insert, in the file that makes this part of it."""
    places = {place.id: place for place in prepared.board.places}
    if insert not in places:
        says = "this job has no such insert"
        raise InputError([Fault("--insert", says, insert, ", ".join(places) or "none at all")])
    if "inserts" not in prepared.done:
        says = "the inserts are not recorded as cut: their own file makes it"
        raise InputError([Fault("--insert", says, insert, "corepath record JOB --cut inserts")])
    if "deck" in prepared.done:
        says = "the deck is cut: turned over again, the core does not lie on its skimmed face"
        raise InputError([Fault("--insert", says, insert, "before the deck is cut")])
    place = places[insert]
    width = place.insert.seat_width if part == "seat" else place.bore
    for work in prepared.works:
        for hole in work.holes if work.name == "inserts" else ():
            if hole.id == insert and any(step.diameter == width for step in hole.steps):
                return work, hole
    raise InputError([Fault("--insert", f"no round {part} is cut for it", insert)])


def _depth_now(prepared: Prepared, hole: Hole, part: Part, insert: str) -> float:
    """Return the depth of a part now: as recorded, else as planned."""
    settled = prepared.known.settled
    recorded = settled.seat_depth if part == "seat" else settled.bore_depth
    step: Step = hole.steps[0] if part == "seat" else hole.steps[-1]
    top = prepared.stackup.skim.planned_plane
    return float(recorded.get(insert, top - step.floor))


def _refuse(prepared: Prepared, work: Work, part: Part, depth: float, now: float) -> None:
    if depth < now + _LEAST:
        says = f"the {part} is {mm(now):.3f~} deep already, and wood does not grow back"
        raise InputError([_fault(prepared, says, depth, f"more than {mm(now):.2f~}")])
    if not work.cutter.reaches(depth):
        says = f"is deeper than {work.cutter.describe()} reaches"
        most = f"at most {mm(work.cutter.cutting_length):g~}"
        raise InputError([_fault(prepared, says, depth, most)])


def _fault(prepared: Prepared, message: str, depth: float, allowed: str) -> Fault:
    units = units_of(prepared.job.units)
    return Fault("--depth", units.text(message), units.figure(depth, ".4n"), units.text(allowed))


def _after(prepared: Prepared, path: Path, insert: str, part: Part, depth: float) -> Prepared:
    """Return the job as it is once the part has its new depth."""
    settled = prepared.known.settled
    if part == "seat":
        settled = replace(settled, seat_depth={**settled.seat_depth, insert: depth})
    else:
        settled = replace(settled, bore_depth={**settled.bore_depth, insert: depth})
    known = replace(prepared.known, settled=settled)
    return prepare_job(prepared.resolved, path.parent, known)


def _spoilt(before: Prepared, after: Prepared) -> tuple[Check, ...]:
    """Return the checks that fail after it and not before."""
    failed = {check.id for check in before.checks if check.verdict == "fail"}
    return tuple(
        check for check in after.checks if check.verdict == "fail" and check.id not in failed
    )


def _text(after: Prepared, digest: str, program: Program, title: str) -> tuple[str, float]:
    """Return the text of the file, and its minutes; its head names the plan that is being cut, and
    checks that fail all the same."""
    job = after.job
    spent = minutes_of(program, job.machine.motion_limits)
    heading = heading_of(after, "B", spent)._replace(digest=digest, place=f"B, {title}")
    return write(program, heading, machine=job.machine, units=job.units).text, spent


def _block(prepared: Prepared, work: Work) -> Body:
    """Return the blank as high as the skim left it, with the zero on its face."""
    blank, top = prepared.job.blank, prepared.stackup.skim.planned_plane
    return Body(blank.length, blank.width, top, (work.zero.x, work.zero.y, top))
