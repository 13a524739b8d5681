"""The files that cut a bed: paths, text, read-back, report and page."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from corepath.errors import Fault, InputError
from corepath.gcode.read.findings import Finding
from corepath.gcode.write import Extents, Heading, write
from corepath.job.model import Job
from corepath.job.text.resolved import digest
from corepath.job.text.source import locate
from corepath.lengths import MM, mm
from corepath.motion.program import Program
from corepath.operations import programs
from corepath.operations.facing.bed_paths import line_program
from corepath.plain_text import sha256_of
from corepath.planning.bed.bed_proof import BedProof, prove
from corepath.planning.bed.shop_job import Shop, read_shop
from corepath.planning.folder.plan_folder import ensure_writable, write_folder
from corepath.planning.make import minutes_of
from corepath.planning.progress import Progress, quiet
from corepath.reported import Key, report_keys, reported
from corepath.work.bed_works import BedWork, bed_works

__all__ = ["BedFile", "BedPlan", "plan_bed"]


@report_keys(
    Key("file", "name"), Key("title", "work.title"), Key("cutter", "program.cutter.facts", None),
    Key("zero", "program.zero"), Key("touch", "program.zero.touch"),
    Key("minutes", places=2), "extents", "sha256", "told", "proof",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class BedFile:
    """One file with its text, minutes and extents (program coordinates, mm), and its read-back."""

    work: BedWork
    program: Program
    text: str
    minutes: float
    extents: Extents
    proof: BedProof

    @property
    def name(self) -> str:
        return f"{self.work.stem}.nc"

    @property
    def told(self) -> tuple[str, ...]:
        return self.work.told

    @property
    def sha256(self) -> str:
        return sha256_of(self.text)


@dataclass(frozen=True, slots=True)
class BedPlan:
    """All files of a bed. `digest` names the shop file's content, in heads and on the page."""

    path: Path
    shop: Shop
    digest: str
    files: tuple[BedFile, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        return tuple(finding for file in self.files for finding in file.proof.findings)

    @property
    def report(self) -> dict[str, Any]:
        """The report: lengths in mm."""
        return {
            "plan": self.digest,
            "shop": self.path.name,
            "bed": self.shop.bed.model_dump(mode="json"),
            "operations": reported(self.files),
        }

    def write(self, folder: Path) -> tuple[str, ...]:
        """Write files, page and report, and return their names.

        Raises OutputError where they cannot be written, InputError for the folder of a job's plan.
        """
        from corepath.views.bed_sheet import bed_sheet

        if (folder / "job.resolved.json").exists():
            says = "holds the plan of a job"
            raise InputError([Fault("-o", says, str(folder), "a folder for the bed alone")])
        ensure_writable(folder)
        files: dict[str, str] = {file.name: file.text for file in self.files}
        rows = [(file.work, file.program, file.minutes) for file in self.files]
        files["sheet.html"] = bed_sheet(self.shop.job.units, self.digest, rows, self.path.name)
        files["report.json"] = MM.text(json.dumps(self.report, indent=1, ensure_ascii=False)) + "\n"
        return write_folder(folder, files, withdraw=False).written


def plan_bed(path: Path, progress: Progress = quiet) -> BedPlan:
    """Return the files for the bed of a shop file, each read back.

    Raises InputError for faults of the file, where no cutter fits, and where the machine does not
    reach.
    """
    shop = read_shop(path)
    job = shop.job
    works, faults = bed_works(job, shop.bed)
    if faults:
        raise InputError(locate(faults, shop.source))
    named = digest(job)
    made = []
    for k, work in enumerate(works):
        progress(f"{work.name} of the bed", k / len(works))
        made.append(_file(job, named, path, work))
    _require_travel(shop, made)
    return BedPlan(path, shop, named, tuple(made))


def _file(job: Job, named: str, path: Path, work: BedWork) -> BedFile:
    program = _program(work)
    spent = minutes_of(program, job.machine.motion_limits)
    place = "the bed alone, no blank on it" if work.name != "edge" else "a blank alone, one edge"
    up = "the spoil board" if work.name != "edge" else "either face"
    heading = Heading(f"{path.stem}: {work.title}", named, up, spent, place=place)
    written = write(program, heading, machine=job.machine, units=job.units)
    proof = prove(job, work, program, written.text)
    return BedFile(work, program, written.text, spent, written.extents, proof)


def _program(work: BedWork) -> Program:
    if work.lines is not None:
        found = line_program(work.work, work.lines)
    else:
        (found,) = programs(work.work)
    # passes of a skim are named by heights above the bed, which this file makes
    passes = tuple(replace(one, planes=()) for one in found.passes)
    # corners that stay round beside the board, or where the machine does not reach, are told above
    watch = work.work.watch
    return replace(found, stem=work.stem, passes=passes, watch=watch, corners=())


def _require_travel(shop: Shop, made: Sequence[BedFile]) -> None:
    """Raise InputError for files that need more than the machine's travel."""
    faults = []
    for file in made:
        for axis, ends, room in zip("XYZ", file.extents, shop.job.machine.travel, strict=True):
            span = ends[1] - ends[0]
            if span > room + 1e-6:
                says = f"{file.name} travels {mm(span):.1f~} along {axis}"
                faults.append(Fault(file.work.key, says, allowed=f"machine.travel, {mm(room):g~}"))
    if faults:
        raise InputError(locate(faults, shop.source))
