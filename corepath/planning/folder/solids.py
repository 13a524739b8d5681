"""The core after each set-up as STL: what the files leave on the virtual blank, not the design.

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
from corepath.planning.proving.reading import Reading
from corepath.readback.result import ReadBack
from corepath.views.solid import HeightMap, body, stl

__all__ = ["FOLDER", "solids", "write_solids"]

FOLDER = "solid"
REPORT = "report.json"
# mm by which faces may leave the columns: for looking at.
_TOLERANCE = 0.03


def solids(readback: ReadBack, length: float, width: float) -> dict[str, bytes]:
    """Return STL files (name to bytes) of the wood, and of the casting where there is any, after
    each set-up that was read back; `length` and `width` are the blank's, mm."""
    files: dict[str, bytes] = {}
    for setup, left in readback.remaining.items():
        for kind, faces in (("wood", left.wood), ("casting", left.casting)):
            columns = HeightMap(left.grid.xs, left.grid.ys, *faces)
            made = body(columns, (length / 2.0, width / 2.0), _TOLERANCE)
            if len(made.faces):
                files[f"{FOLDER}/after-{setup}-{kind}.stl"] = stl(made)
    return files


def write_solids(reading: Reading, folder: Path) -> tuple[str, ...]:
    """Write the bodies of what was read into `folder`; return their names. Raises OutputError where
    that fails.

    They are added to the plan's list of its files, or the next plan would leave them beside its
    own.
    """
    blank = reading.prepared.job.blank
    made = solids(reading.readback, blank.length, blank.width)
    write_folder(folder, {**made, **_listing(folder, made)}, withdraw=False)
    return tuple(made)


def _listing(folder: Path, made: Mapping[str, bytes]) -> dict[str, str]:
    """Return the report with these files added to its list, and sealed again.

    Empty where it has no list, or where its seal does not hold: sealing a changed report anew would
    hide the change.
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
