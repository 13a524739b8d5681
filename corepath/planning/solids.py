"""The core after each set-up as STL: what the files leave on the virtual blank, not what was wanted.

Each body lies as it does on the bed in that set-up (bed frame, mm; after B bottom up): `solid/after-C-wood.stl`.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from pathlib import Path

from corepath.errors import InputError
from corepath.planning.folder import write_folder
from corepath.planning.limited import read_limited
from corepath.planning.reading import Reading
from corepath.readback.result import ReadBack
from corepath.views.solid import body, stl

__all__ = ["FOLDER", "solids", "write_solids"]

FOLDER = "solid"
REPORT = "report.json"
_TOLERANCE = 0.03


def solids(readback: ReadBack, length: float, width: float) -> dict[str, bytes]:
    """File name to bytes: wood, and casting where there is any, after A, B and C as far as cut, and after D."""
    files: dict[str, bytes] = {}
    for setup, left in readback.remaining.items():
        for kind, (bottom, top) in (("wood", left.wood), ("casting", left.casting)):
            made = body(left.grid.xs, left.grid.ys, bottom, top, (length / 2.0, width / 2.0), _TOLERANCE)
            if len(made.faces):
                files[f"{FOLDER}/after-{setup}-{kind}.stl"] = stl(made)
    return files


def write_solids(reading: Reading, folder: Path) -> tuple[str, ...]:
    """Write the bodies of what was read into `folder`; returns their names. Raises OutputError where that fails.

    The plan's list of its files takes them up: else the next plan would leave the bodies of this one beside its own.
    """
    blank = reading.prepared.job.blank
    made = solids(reading.readback, blank.length, blank.width)
    write_folder(folder, {**made, **_listing(folder, made)}, withdraw=False)
    return tuple(made)


def _listing(folder: Path, made: Collection[str]) -> dict[str, str]:
    """The report with the names added to its list of files; nothing where it has none."""
    try:
        report = json.loads(read_limited(folder / REPORT))
    except (InputError, ValueError, RecursionError):
        return {}
    held = report.get("files") if isinstance(report, dict) else None
    if not isinstance(held, list) or not all(isinstance(name, str) for name in held):
        return {}
    report["files"] = sorted({*held, *made})
    return {REPORT: json.dumps(report, indent=1, ensure_ascii=False) + "\n"}
