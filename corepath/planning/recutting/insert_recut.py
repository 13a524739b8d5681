"""One file for one place that came out too shallow: a seat or a bore of an insert made deeper.

The file has cutter, zero and first way down of the inserts' own, and ends at the depth that is
asked for below the skimmed face, whatever is there above it: where the seat is there already it
cuts air. It is read back on a virtual blank as high as the skim left it, in which nothing is cut
yet: what is to be lowered must come out at that depth, and nothing beside it be touched.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Literal

from shapely import Point

from corepath.errors import Fault, InputError
from corepath.lengths import mm
from corepath.operations import programs
from corepath.planning.bed.bed_proof import prove
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.progress import Progress, quiet
from corepath.planning.recutting.recut_file import (
    Recut,
    refuse_depth,
    spoilt,
    text_of,
    works_again,
)
from corepath.work.bed_works import BedBlock, BedWork
from corepath.work.works import Hole, Step, Work

__all__ = ["Part", "recut_insert"]

Part = Literal["seat", "bore"]


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
    refuse_depth(prepared, part, work, depth, now)
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
    text, spent = text_of(after, prepared.digest, program, "B", title)
    cut = Point(hole.x, hole.y).buffer(step.diameter / 2.0, quad_segs=64)
    asked = BedWork("recut", title, one, _block(prepared, one), cut, -depth, "--depth")
    proof = prove(prepared.job, asked, program, text)
    way_out = "hardware that needs less depth"
    recorded = (f"--{part}-depth", insert, "D")
    spoils = spoilt(prepared, after)
    return Recut(
        f"{stem}.nc",
        text,
        spent,
        proof,
        spoils,
        way_out,
        "the skimmed face, cut, measure",
        recorded,
    )


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
    for work in works_again(prepared, "inserts"):
        for hole in work.holes:
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


def _after(prepared: Prepared, path: Path, insert: str, part: Part, depth: float) -> Prepared:
    """Return the job as it is once the part has its new depth."""
    settled = prepared.known.settled
    if part == "seat":
        settled = replace(settled, seat_depth={**settled.seat_depth, insert: depth})
    else:
        settled = replace(settled, bore_depth={**settled.bore_depth, insert: depth})
    known = replace(prepared.known, settled=settled)
    return prepare_job(prepared.resolved, path.parent, known)


def _block(prepared: Prepared, work: Work) -> BedBlock:
    """Return the blank as high as the skim left it, with the zero on its face."""
    blank, top = prepared.job.blank, prepared.stackup.skim.planned_plane
    return BedBlock(blank.length, blank.width, top, (work.zero.x, work.zero.y, top))
