"""A whole plan: paths, their text, the read-back, drawings and the report."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import Any

from corepath.job.resolved import resolved_dict
from corepath.lengths import MM
from corepath.planning.bound import KEY as FILES_KEY
from corepath.planning.bound import SEAL, files_sha256, seal_of
from corepath.planning.deck_casting import deck_casting
from corepath.planning.deck_deviation import deck_deviation, deviation_files
from corepath.planning.folder import Written, write_folder
from corepath.planning.geometry import geometry_dict
from corepath.planning.held_deck import seal
from corepath.planning.make import MadeFile, make_files
from corepath.planning.player import NAME as PREVIEW
from corepath.planning.player import player_page
from corepath.planning.prepare import Prepared
from corepath.planning.progress import Progress, quiet
from corepath.planning.reading import read_files, shop_of
from corepath.planning.rehearsal import Rehearsal, rehearsals
from corepath.planning.report import checks_report, full_report
from corepath.planning.skin import skin_files
from corepath.planning.solids import solids
from corepath.readback.findings import Finding
from corepath.readback.rehearsed import check_rehearsals
from corepath.readback.result import ReadBack
from corepath.stackup import Check
from corepath.stackup.pass_shows import showing
from corepath.views.deck_casting import deck_casting_sheet
from corepath.views.deck_pictures import deck_pictures
from corepath.views.drawing import drawings
from corepath.views.maps import maps
from corepath.views.sheet_html import Facts, sheet_html
from corepath.work.limit_checks import travel_check

__all__ = ["Plan", "Proof", "plan", "preview", "prove"]


@dataclass(frozen=True, slots=True)
class Plan:
    """What `plan` found. `files` maps names to texts or bytes, all that is to be written.

    `.nc` files are among them only when nothing failed, or with `despite_failures`.
    """

    prepared: Prepared
    made: tuple[MadeFile, ...]
    readback: ReadBack | None
    files: dict[str, str | bytes]
    report: dict[str, Any]

    @property
    def checks(self) -> tuple[Check, ...]:
        return self.prepared.checks

    @property
    def findings(self) -> tuple[Finding, ...]:
        return tuple(self.readback.findings) if self.readback is not None else ()

    @property
    def failed(self) -> bool:
        """Whether a check failed or the read-back found something."""
        return self.prepared.failed or bool(self.findings)

    def write(self, folder: str | PathLike[str]) -> Written:
        """Write `files` into `folder`, whole or not at all; earlier `.nc` files that are not among them go to
        `withdrawn/`. Raises OutputError where that cannot be done; what was there is then untouched."""
        return write_folder(Path(folder), self.files, done=self.prepared.done)


@dataclass(frozen=True, slots=True)
class Proof:
    """The files of a plan and what reading them back gave; `prepared` with `travel` as the files span it. Without
    files where a check had failed already."""

    prepared: Prepared
    made: tuple[MadeFile, ...] = ()
    readback: ReadBack | None = None
    walks: tuple[Rehearsal, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether a check failed or the read-back found something."""
        return self.prepared.failed or (self.readback is not None and bool(len(self.readback.findings)))


def plan(
    prepared: Prepared, *, progress: Progress = quiet, despite_failures: bool = False, bodies: bool = False
) -> Plan:
    """Make all files of a prepared job and read them back. Nothing is written to disk.

    With a failed check no path is made unless `despite_failures`; `bodies` adds the core after each set-up as
    STL. Raises CorepathError where no path can be found, InputError where the record contradicts itself.
    """
    prepared.refuse_contradictions()
    proof = Proof(prepared)
    if despite_failures or not prepared.failed:
        proof = prove(prepared, progress=progress, despite_failures=despite_failures, steps=True)
    prepared, made, readback, walks = proof.prepared, proof.made, proof.readback, proof.walks
    progress("drawings", 0.75)
    files: dict[str, str | bytes] = {**_drawings(prepared, made)}
    report = full_report(prepared, made, readback.as_dict() if readback is not None else None, despite_failures)
    if despite_failures or not (prepared.failed or (readback is not None and len(readback.findings))):
        files.update({one.name: one.text for one in made})
        files.update({one.name: one.text for one in walks})
    deviation = deck_deviation(prepared, readback)
    report["deck"]["deviation"] = deviation.as_dict() if deviation is not None else None
    files.update(deviation_files(prepared, deviation))
    casting = deck_casting(prepared, readback)
    report["deck_casting"] = casting.as_dict()
    files["deck-and-casting.svg"] = deck_casting_sheet(prepared.job, prepared.board, casting, digest=prepared.digest)
    report["rehearsals"] = [one.as_dict() for one in walks]
    if readback is not None and readback.steps:
        progress("preview", 0.9)
        warning = _warning(prepared, readback, despite_failures)
        files[PREVIEW] = player_page(prepared, readback, {one.name: one.text for one in made}, warning)
    files["sheet.html"] = _sheet(prepared, report, PREVIEW if PREVIEW in files else "")
    if prepared.stackup.heights.blank.measured:
        files.update(_maps(prepared))
    files.update(skin_files(prepared.job, prepared.board, prepared.skin, prepared.digest))
    progress("report", 0.97)
    if bodies and readback is not None:
        files.update(solids(readback, prepared.job.blank.length, prepared.job.blank.width))
    held = {**prepared.known.as_dict(), **seal(prepared.board.deck, prepared.job)}
    files["job.resolved.json"] = _json({**resolved_dict(prepared.resolved), **held})
    files["geometry.json"] = json.dumps(geometry_dict(prepared), separators=(",", ":")) + "\n"
    report["files"] = sorted((*files, "report.json"))
    report[FILES_KEY] = files_sha256(files)
    report[SEAL] = seal_of(json.loads(_json(report)))
    files["report.json"] = _json(report)
    return Plan(prepared, made, readback, files, report)


def prove(
    prepared: Prepared, *, progress: Progress = quiet, despite_failures: bool = False, steps: bool = False
) -> Proof:
    """All files of a prepared job and their read-back: what a plan stands or falls by, without any drawing.

    `steps` keeps the blank before and after each file, for the preview. Raises CorepathError where no path can be
    found.
    """
    made = make_files(prepared, progress, (0.1, 0.45))
    measured = _with_travel(prepared, made)
    if measured.failed and not prepared.failed and despite_failures:  # each head must tell it
        made = make_files(measured, progress, (0.1, 0.45))
    texts = {one.name: one.text for one in made}
    readback = read_files(measured, texts, progress, (0.45, 0.75), steps=steps)
    walks = rehearsals(measured, made)
    walked = {one.name: one.text for one in walks}
    found = check_rehearsals(measured.ahead, shop_of(measured), walked, readback.travelled)
    readback.findings.extend(found)
    return Proof(measured, made, readback, walks)


def _with_travel(prepared: Prepared, made: Sequence[MadeFile]) -> Prepared:
    """The same with `travel` judged by what the written files span."""
    if not made:
        return prepared
    spans = {}
    for one in made:
        x, y, z = ((low, high) for low, high in one.extents)
        spans[one.program.stem] = (x[1] - x[0], y[1] - y[0], z[1] - z[0])
    travel = travel_check(prepared.job, spans)
    return replace(prepared, checks=tuple(travel if check.id == "travel" else check for check in prepared.checks))


def preview(prepared: Prepared, folder: Path, progress: Progress = quiet) -> Written:
    """Write the drawings only; failed checks stand in them but keep nothing back."""
    made = make_files(prepared, progress, (0.1, 0.8))
    progress("drawings", 0.8)
    return write_folder(folder, _drawings(prepared, made), withdraw=False)


def _drawings(prepared: Prepared, made: Sequence[MadeFile]) -> dict[str, str]:
    out = drawings(
        prepared.job,
        prepared.board,
        prepared.stackup,
        prepared.works,
        [one.program for one in made],
        digest=prepared.digest,
        checks=prepared.checks,
        minutes={one.program.stem: one.minutes for one in made},
    )
    return {**out, **deck_pictures(prepared.job, prepared.board, digest=prepared.digest)}


def _warning(prepared: Prepared, readback: ReadBack, despite_failures: bool) -> str:
    """What the preview must say over all else; empty where all is well."""
    if not (prepared.failed or len(readback.findings)):
        return ""
    if despite_failures:
        return "DO NOT CUT: planned despite failures"
    return "No G-code was written: the set-up sheet says why"


def _sheet(prepared: Prepared, report: dict[str, Any], player: str) -> str:
    settled, file = prepared.known.settled, prepared.file
    facts = Facts(prepared.job, prepared.board, prepared.stackup, prepared.works, report, settled, file, player)
    return sheet_html(facts)


def _maps(prepared: Prepared) -> dict[str, str]:
    stack = prepared.stackup
    return maps(
        prepared.job,
        prepared.board,
        stack.heights.blank,
        stack.table.courses,
        showing(stack),
        digest=prepared.digest,
        planned_stop=stack.skim.planned_stop,
    )


def _json(data: dict[str, Any]) -> str:
    return MM.text(json.dumps(data, indent=1, ensure_ascii=False)) + "\n"


def check_report(prepared: Prepared) -> dict[str, Any]:
    """The report of `check --json`."""
    return checks_report(prepared)
