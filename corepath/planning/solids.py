"""The core after each set-up as STL: what the files leave on the virtual blank, not what was wanted.

Each body lies as it does on the bed in that set-up (bed frame, mm; after B bottom up): `solid/after-C-wood.stl`.
"""

from __future__ import annotations

from pathlib import Path

from corepath.planning.folder import Written, write_folder
from corepath.planning.reading import Reading
from corepath.readback.result import ReadBack
from corepath.views.solid import body, stl

__all__ = ["FOLDER", "solids", "write_solids"]

FOLDER = "solid"
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


def write_solids(reading: Reading, folder: Path) -> Written:
    """Write the bodies of what was read into `folder`. Raises OutputError where that cannot be done."""
    blank = reading.prepared.job.blank
    return write_folder(folder, solids(reading.readback, blank.length, blank.width), withdraw=False)
