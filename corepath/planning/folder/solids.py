"""The core after each set-up as STL: what the files leave on the virtual blank, not what was
wanted.

Each body lies as it does on the bed in that set-up (bed frame, mm; after B bottom up):
`solid/after-C-wood.stl`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from corepath.errors import InputError
from corepath.planning.folder.limited import read_limited
from corepath.planning.folder.plan_folder import write_folder
from corepath.planning.folder.plan_seal import KEY as FILES_KEY
from corepath.planning.folder.plan_seal import SEAL, files_sha256, seal_of
from corepath.planning.reading import Reading
from corepath.readback.result import ReadBack
from corepath.views.solid import body, stl

__all__ = ["FOLDER", "solids", "write_solids"]

FOLDER = "solid"
REPORT = "report.json"
_TOLERANCE = 0.03


def solids(readback: ReadBack, length: float, width: float) -> dict[str, bytes]:
    """File name to bytes: wood, and casting where there is any, after A, B and C as far as cut, and
    after D."""
    files: dict[str, bytes] = {}
    for setup, left in readback.remaining.items():
        for kind, (bottom, top) in (("wood", left.wood), ("casting", left.casting)):
            made = body(
                left.grid.xs, left.grid.ys, bottom, top, (length / 2.0, width / 2.0), _TOLERANCE
            )
            if len(made.faces):
                files[f"{FOLDER}/after-{setup}-{kind}.stl"] = stl(made)
    return files


def write_solids(reading: Reading, folder: Path) -> tuple[str, ...]:
    """Write the bodies of what was read into `folder`; returns their names. Raises OutputError
    where that fails.

    The plan's list of its files takes them up: else the next plan would leave the bodies of this
    one beside its own.
    """
    blank = reading.prepared.job.blank
    made = solids(reading.readback, blank.length, blank.width)
    write_folder(folder, {**made, **_listing(folder, made)}, withdraw=False)
    return tuple(made)


def _listing(folder: Path, made: Mapping[str, bytes]) -> dict[str, str]:
    """The report with these files taken into its list, and sealed again.

    Nothing where it has no list, or says something else than what was sealed: a changed one must be
    found changed.
    """
    try:
        report = json.loads(read_limited(folder / REPORT))
        if not isinstance(report, dict) or report.get(SEAL) != seal_of(report):
            return {}
    except (InputError, ValueError, RecursionError):
        return {}
    held, known = report.get("files"), report.get(FILES_KEY)
    if not isinstance(held, list) or not isinstance(known, dict):
        return {}
    report["files"] = sorted({*map(str, held), *made})
    report[FILES_KEY] = {**known, **files_sha256(made)}
    report[SEAL] = seal_of(report)
    return {REPORT: json.dumps(report, indent=1, ensure_ascii=False) + "\n"}
