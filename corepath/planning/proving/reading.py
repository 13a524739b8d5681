"""Read back the files of a plan and compare them with the works that its resolved job gives."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from corepath.errors import Fault, InputError
from corepath.gcode.read.findings import Finding
from corepath.job.pose import pose_of
from corepath.job.text.resolved import from_resolved
from corepath.job.text.schema import GEOMETRY, REPORT
from corepath.job.text.writing import locked
from corepath.layup.laid import laid_up
from corepath.motion.program import Setup
from corepath.planning.folder.held_deck import held_deck
from corepath.planning.folder.in_place import refuse_half_written
from corepath.planning.folder.limited import read_limited
from corepath.planning.folder.plan_seal import check_design, found_content
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.progress import Progress, quiet, within
from corepath.planning.proving.reading_cases import Tried, lies_of, try_cases, with_cases
from corepath.planning.proving.rehearsal import FOLDER
from corepath.planning.proving.touch_files import TOUCH_FOLDER, read_touches
from corepath.planning.restart.restart_check import check_restarts, is_restart
from corepath.readback.measure import read_back
from corepath.readback.plan_files import PlanFiles
from corepath.readback.result import CaseOutcome, ReadBack
from corepath.readback.simulation_setup import Pour, SimulationSetup
from corepath.readback.surfaces.measures import Measure
from corepath.readback.words.rehearsed import check_rehearsals
from corepath.readback.words.spoken import Spoken
from corepath.reported import reported
from corepath.stackup.odds.acceptance import risk_words

__all__ = ["Reading", "read_files", "read_folder", "read_plan", "shop_of", "try_files"]


@dataclass(frozen=True, slots=True)
class Reading:
    """The result of reading a folder back."""

    prepared: Prepared
    readback: ReadBack

    @property
    def findings(self) -> tuple[Finding, ...]:
        return tuple(self.readback.findings)

    @property
    def measures(self) -> tuple[Measure, ...]:
        return self.readback.measures

    @property
    def cases(self) -> tuple[CaseOutcome, ...]:
        """The results on other stops and blanks."""
        return self.readback.cases

    @property
    def failed(self) -> bool:
        return bool(self.findings)

    @property
    def report(self) -> dict[str, Any]:
        return {"plan": self.prepared.digest, "readback": reported(self.readback)}


def read_files(
    prepared: Prepared, texts: Mapping[str, str], progress: Progress = quiet
) -> ReadBack:
    """Read `texts` (name to text) back and compare what they leave with the works of `prepared`."""
    return read_plan(prepared, PlanFiles(texts), progress)


def read_plan(
    prepared: Prepared,
    files: PlanFiles,
    progress: Progress = quiet,
    *,
    steps: bool = False,
    tried: Callable[[], Tried] | None = None,
) -> ReadBack:
    """Read `files` back, as `read_files` does.

    With `steps` the blank before and after each file is kept too. `tried` hands over what
    `try_files` returns, where that is called elsewhere.
    """
    done = 0

    def step(name: str) -> None:
        nonlocal done
        progress(f"reading back {name}", done / max(1, len(files.texts)))
        done += 1

    shop = shop_of(prepared)
    read = read_back(shop, prepared.works, files, progress=step, steps=steps)
    progress("other stops and blanks", 1.0)
    found = try_cases(prepared, shop, files) if tried is None else tried()
    return with_cases(prepared, shop, read, found)


def try_files(prepared: Prepared, files: PlanFiles) -> Tried:
    """Read `files` back in the other cases; see `try_cases`."""
    return try_cases(prepared, shop_of(prepared), files)


def shop_of(prepared: Prepared) -> SimulationSetup:
    """Return the simulation set-up of a job: blank, machine, cutters and pour."""
    job, stack = prepared.job, prepared.stackup
    return SimulationSetup(
        length=job.blank.length,
        width=job.blank.width,
        thickness=stack.heights.blank.nominal,
        flip_about=job.machine.flip_about,
        xy_zero=job.machine.xy_zero,
        z_zero=job.machine.z_zero,
        touch_at=job.machine.touch_at,
        spoil_board=job.blank.spoil_board,
        travel=job.machine.travel,
        cutters={section.number: section.cutter for section in job.cutter},
        pour={
            casting.casting.id: Pour(casting.casting.area, casting.pour.p_poured)
            for casting in stack.castings
        },
        planned_pass=stack.skim.planned_stop,
        done=prepared.done,
        lies=lies_of(stack.heights.blank) if stack.heights.blank.measured else None,
        laid=laid_up(job, prepared.board) if job.layup is not None and job.layup.cradle else None,
        spin_up=job.machine.spin_up,
        outline=prepared.board.outline,
        second_zero=job.machine.second_zero,
        length_offset=job.machine.length_offset,
        spoken=_spoken_of(prepared),
        exact_path=job.machine.exact_path,
        dowels=tuple(dowel.at for dowel in job.dowel),
        bores={place.id: (place.x, place.y, place.bore) for place in prepared.board.places},
        seats={place.id: place.seat.area for place in prepared.board.places},
    )


def _spoken_of(prepared: Prepared) -> Spoken:
    """Return what the comments and messages of the files must agree with."""
    setups: tuple[Setup, ...] = ("A", "B", "C", "D")
    faces = {setup: pose_of(prepared.job, setup).face_up for setup in setups}
    risk = risk_words(prepared.odds, prepared.accepted)
    return Spoken(faces, prepared.job.units, not prepared.job.machine.length_offset, risk)


def read_folder(folder: Path, progress: Progress = quiet) -> Reading:
    """Read the files in a plan's folder again.

    The design comes from `job.resolved.json`, the motions from the `.nc` files alone;
    `report.json`, where there is one, only shows whether a file has changed since. Raises
    InputError for a folder that holds no plan.
    """
    if not folder.is_dir():
        raise InputError(
            [
                Fault(
                    "",
                    "is a pipe or a device" if folder.exists() else "no such folder",
                    file=str(folder),
                    allowed="a folder that plan wrote, or a file of G-code",
                )
            ]
        )
    # All files are read under the lock: a plan written in between would mix old and new ones.
    with locked(folder, shared=True):
        refuse_half_written(folder)
        resolved = _json(folder / "job.resolved.json")
        programs = {path.name: _text(path) for path in _programs(folder)}
        restarts = {name: text for name, text in programs.items() if is_restart(name)}
        texts = {name: text for name, text in programs.items() if name not in restarts}
        walks, felt = (
            {f"{name}/{one.name}": _text(one) for one in _programs(folder / name)}
            for name in (FOLDER, TOUCH_FOLDER)
        )
        report = _json(folder / "report.json") if (folder / "report.json").exists() else {}
        REPORT.require(report, str(folder / "report.json"))
        job = from_resolved(resolved, str(folder / "job.resolved.json"))
        filed = job.deck.mesh is not None or job.deck.grid is not None
        geometry = _json(folder / "geometry.json") if filed else {}
        content = found_content(folder, report)
        GEOMETRY.require(geometry, str(folder / "geometry.json"))
    if not texts:
        raise InputError([Fault("", "no .nc file here", file=str(folder))])
    deck = held_deck(job, resolved, geometry) if filed else None
    prepared = prepare_job(
        job, folder, Known.from_dict(resolved), deck, within(progress, 0.0, 0.25)
    )
    plan = str(report.get("plan", ""))
    files = PlanFiles(texts, plan, _sha256(report, "operations"))
    readback = read_plan(prepared, files, within(progress, 0.25, 1.0))
    check_design(resolved, report, content, readback.findings)
    walked = check_rehearsals(
        prepared.ahead,
        shop_of(prepared),
        walks,
        readback.travelled,
        _sha256(report, "rehearsals"),
        plan,
    )
    readback.findings.extend(walked)
    touched = read_touches(prepared, shop_of(prepared), felt, _sha256(report, "touches"), plan)
    readback.findings.extend(touched)
    check_restarts(folder, restarts, texts, readback.findings)
    return Reading(prepared, readback)


def _programs(folder: Path) -> list[Path]:
    """Return the files that a control may accept as a program, sorted; `.NC` counts too."""
    if not folder.is_dir():
        return []
    return sorted(
        path for path in folder.iterdir() if path.suffix.lower() == ".nc" and path.is_file()
    )


def _sha256(report: dict[str, Any], key: str) -> dict[str, str]:
    operations = report.get(key)
    if not isinstance(operations, list):
        return {}
    entries = [entry for entry in operations if isinstance(entry, dict)]
    return {
        str(entry["file"]): str(entry["sha256"])
        for entry in entries
        if "file" in entry and "sha256" in entry
    }


def _text(path: Path) -> str:
    """Return a file as text; bytes that are not text are replaced, for the reader to report."""
    return read_limited(path).decode("utf-8", errors="replace")


def _json(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(read_limited(path))
    except (ValueError, RecursionError) as error:
        raise InputError([Fault("", f"is not JSON: {error}", file=str(path))]) from error
    if not isinstance(data, dict):
        raise InputError([Fault("", "is not a table of keys", file=str(path))])
    return data
