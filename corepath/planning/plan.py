"""A whole plan: paths, their text, the read-back, drawings and the report."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from os import PathLike
from pathlib import Path
from typing import Any, NamedTuple

from corepath.caching.store import NOTHING, Store
from corepath.gcode.read.findings import Finding
from corepath.job.text.resolved import resolved_dict
from corepath.lengths import MM
from corepath.planning.folder.held_deck import seal
from corepath.planning.folder.plan_folder import Written, write_folder
from corepath.planning.folder.plan_seal import KEY as FILES_KEY
from corepath.planning.folder.plan_seal import SEAL, files_sha256, seal_of
from corepath.planning.folder.solids import solids
from corepath.planning.make import MadeFile, make_files
from corepath.planning.player import NAME as PREVIEW
from corepath.planning.player import player_page
from corepath.planning.prepare import Prepared
from corepath.planning.progress import Progress, quiet, within
from corepath.planning.proving.proof import Proof, judged, written
from corepath.planning.proving.reading import try_files
from corepath.planning.report.deck_deviation import deviation_files
from corepath.planning.report.deck_table import ComparedCutter, compared_cutters
from corepath.planning.report.full_report import Results, full_report, results_of
from corepath.planning.report.geometry import geometry_dict
from corepath.planning.report.job_skin import skin_files
from corepath.planning.side_by_side import beside
from corepath.readback.result import ReadBack
from corepath.reported import PLACES
from corepath.stackup import Check
from corepath.stackup.odds.acceptance import risk_words
from corepath.stackup.pass_shows import showing
from corepath.stock.loading import load_loops
from corepath.views.deck.casting_sheet import deck_casting_sheet
from corepath.views.deck.deck_pictures import deck_pictures
from corepath.views.drawings.drawing import drawings
from corepath.views.drawings.scene import DrawnPlan
from corepath.views.maps.blank_maps import SkimShows, maps
from corepath.views.sheet_html import Facts, PlannedFile, sheet_html
from corepath.views.short_sheet import short_sheet

__all__ = ["Plan", "plan", "preview"]


@dataclass(frozen=True, slots=True)
class Plan:
    """The result of `plan`: `files` maps the names of all files to write to their texts or bytes.

    `.nc` files are among them only when nothing failed, or with `despite_failures`.
    """

    prepared: Prepared
    made: tuple[MadeFile, ...]
    readback: ReadBack | None
    results: Results
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
        """Whether a check failed that the job does not accept, or the read-back found something."""
        return self.prepared.failed or bool(self.findings)

    def write(self, folder: str | PathLike[str]) -> Written:
        """Write `files` into `folder`, whole or not at all; earlier `.nc` files that are not among
        them go to `withdrawn/`. Raises OutputError where that cannot be done; what was there is
        then untouched."""
        return write_folder(Path(folder), self.files, done=self.prepared.done)


def plan(
    prepared: Prepared,
    *,
    progress: Progress = quiet,
    despite_failures: bool = False,
    bodies: bool = False,
    store: Store = NOTHING,
    cores: int = 1,
) -> Plan:
    """Make all files of a prepared job and read them back. Nothing is written to disk, but for
    paths to `store`, which are taken from there the next time.

    With a failed check no path is made unless `despite_failures`; `bodies` adds the core after each
    set-up as STL. `cores` says how many processes may work at once; the files are the same. Raises
    CorepathError where no path can be found, InputError where the record contradicts itself.
    """
    prepared.refuse_contradictions()
    # Paths over a job whose depths do not agree would cost minutes and only repeat its faults; the
    # drawings, sheet and report below are made all the same, to show what fails.
    wanted = despite_failures or not prepared.failed
    proof = Proof(prepared)
    if wanted:
        proof = written(
            prepared,
            progress=within(progress, 0.1, 0.45),
            despite_failures=despite_failures,
            store=store,
        )
    read = proof.plan_files
    read.read_all()
    if wanted and cores > 1:
        load_loops()
    tasks = (partial(try_files, proof.prepared, read), partial(_pictured, proof, store))
    with beside(tasks if wanted else tasks[1:], cores) as results:
        if wanted:
            reading = within(progress, 0.45, 0.75)
            proof = judged(proof, read, progress=reading, steps=True, tried=results[0])
        progress("drawings", 0.75)
        pictured: _Pictured = results[-1]()
    playing = partial(_played, proof, despite_failures)
    with beside((playing,), cores) as (played,):
        return _planned_of(proof, pictured, played, progress, despite_failures, bodies)


class _Pictured(NamedTuple):
    """What hangs on the files, but not on what their read-back finds."""

    drawings: dict[str, str]
    cutters: tuple[ComparedCutter, ...]
    skin: dict[str, str]


def _pictured(proof: Proof, store: Store) -> _Pictured:
    """Draw all but what the read-back finds, and compare the cutters; another process may do it."""
    prepared, made = proof.prepared, proof.made
    skin = skin_files(prepared.job, prepared.board, prepared.skin, prepared.digest)
    return _Pictured(_drawings(prepared, made), compared_cutters(prepared, made, store), skin)


def _played(proof: Proof, despite_failures: bool) -> str:
    """Return the page that plays the files; empty where they were not read back."""
    prepared, readback = proof.prepared, proof.readback
    if readback is None or not readback.steps:
        return ""
    texts = {one.name: one.text for one in proof.made}
    return player_page(prepared, readback, texts, _warning(prepared, readback, despite_failures))


def _planned_of(
    proof: Proof,
    pictured: _Pictured,
    played: Callable[[], str],
    progress: Progress,
    despite_failures: bool,
    bodies: bool,
) -> Plan:
    """Put the files of a plan together; `played` returns what `_played` does."""
    prepared, readback = proof.prepared, proof.readback
    files: dict[str, str | bytes] = {**pictured.drawings}
    if despite_failures or not proof.failed:
        files.update({one.name: one.text for one in proof.made})
        files.update({one.name: one.text for one in proof.walks})
        files.update({one.name: one.text for one in proof.touches.files})
    results = results_of(proof, pictured.cutters)
    files.update(deviation_files(prepared, results.deviation))
    files["deck-and-casting.svg"] = deck_casting_sheet(
        prepared.job, prepared.board, results.casting, digest=prepared.digest
    )
    page = PREVIEW if readback is not None and readback.steps else ""
    if page:
        files[page] = ""  # its place among the files; it is made meanwhile
    facts = _facts(proof, results, despite_failures, page)
    files["sheet.html"], files["short.html"] = sheet_html(facts), short_sheet(facts)
    if prepared.stackup.heights.blank.measured:
        files.update(_maps(prepared))
    files.update(pictured.skin)
    if bodies and readback is not None:
        files.update(solids(readback, prepared.job.blank.length, prepared.job.blank.width))
    # Last, since the report holds the digests of all other files.
    held = {**prepared.known.as_dict(), **seal(prepared.board.deck, prepared.job)}
    files["job.resolved.json"] = _json({**resolved_dict(prepared.resolved), **held})
    files["geometry.json"] = json.dumps(geometry_dict(prepared), separators=(",", ":")) + "\n"
    report = full_report(proof, results, despite_failures)
    if page:
        progress("preview", 0.9)
        files[page] = played()
    progress("report", 0.97)
    files["report.json"] = _sealed(report, files)
    return Plan(prepared, proof.made, readback, results, files, report)


def _sealed(report: dict[str, Any], files: Mapping[str, str | bytes]) -> str:
    """Add the names and digests of the other files to the report, and its own seal; return it as
    text."""
    report["files"] = sorted((*files, "report.json"))
    report[FILES_KEY] = files_sha256(files)
    text = _json(report)
    # From the text: the seal must match the report as it is read from the file, where tuples are
    # lists and marked lengths plain text. It is put in by hand: to write all again takes as long.
    report[SEAL] = seal_of(json.loads(text))
    return text.removesuffix("\n}\n") + f',\n "{SEAL}": "{report[SEAL]}"\n}}\n'


def preview(
    prepared: Prepared, folder: Path, progress: Progress = quiet, store: Store = NOTHING
) -> Written:
    """Write the drawings only, into `folder`; failed checks are shown in them but stop nothing."""
    made = make_files(prepared, within(progress, 0.1, 0.8), store)
    progress("drawings", 0.8)
    return write_folder(folder, _drawings(prepared, made), withdraw=False)


def _drawings(prepared: Prepared, made: Sequence[MadeFile]) -> dict[str, str]:
    shown = DrawnPlan(
        job=prepared.job,
        board=prepared.board,
        stackup=prepared.stackup,
        works=prepared.works,
        digest=prepared.digest,
        programs=[one.program for one in made],
        minutes={one.program.stem: one.minutes for one in made},
        checks=prepared.checks,
    )
    return {
        **drawings(shown),
        **deck_pictures(prepared.job, prepared.board, digest=prepared.digest),
    }


def _warning(prepared: Prepared, readback: ReadBack, despite_failures: bool) -> str:
    """Return the warning at the top of the preview; empty where nothing failed."""
    if not (prepared.failed or len(readback.findings)):
        risk = risk_words(prepared.odds, prepared.accepted)
        return f"Risk accepted: {risk}" if risk else ""
    if despite_failures:
        return "DO NOT CUT: planned despite failures"
    return "No G-code was written: the set-up sheet says why"


def _facts(proof: Proof, results: Results, despite_failures: bool, player: str) -> Facts:
    """Return what both sheets show."""
    prepared = proof.prepared
    found = () if proof.readback is None else tuple(proof.readback.findings)
    return Facts(
        job=prepared.job,
        board=prepared.board,
        stackup=prepared.stackup,
        works=prepared.works,
        settled=prepared.known.settled,
        file=prepared.file,
        digest=prepared.digest,
        done=prepared.done,
        checks=prepared.checks,
        cautions=prepared.cautions,
        lists=results.lists,
        planned=[_planned(one) for one in proof.made],
        minutes=results.minutes,
        findings=[(one.message, one.file) for one in found],
        despite_failures=despite_failures,
        player=player,
        short="short.html",
        touches=[one.name for one in proof.touches.files],
        untouched=proof.touches.missed,
    )


def _planned(made: MadeFile) -> PlannedFile:
    """Return a file as the sheet shows it; its figures are those of the report."""
    # Extents and zero are rounded one by one, as the report has them, before they are added: else
    # the sheet could differ from it in the last digit.
    zero = made.program.zero
    x, y, z = (
        (round(low, PLACES) + round(at, PLACES), round(high, PLACES) + round(at, PLACES))
        for (low, high), at in zip(made.extents, (zero.x, zero.y, zero.z), strict=True)
    )
    return PlannedFile(made.program, round(made.minutes, 2), (x, y, z))


def _maps(prepared: Prepared) -> dict[str, str]:
    stack = prepared.stackup
    return maps(
        prepared.job,
        prepared.board,
        stack.heights.blank,
        stack.table.courses,
        SkimShows(showing(stack), stack.skim.planned_stop),
        digest=prepared.digest,
    )


def _json(data: dict[str, Any]) -> str:
    return MM.text(json.dumps(data, indent=1, ensure_ascii=False)) + "\n"
