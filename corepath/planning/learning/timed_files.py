"""The files of a plan's folder that were timed: their motions as read, for the clock."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

from corepath.errors import InputError
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.job.record.ascut import Record
from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter
from corepath.planning.folder.limited import read_limited
from corepath.planning.learning.clock_fit import Timed
from corepath.readback.foreign.timing import time_path
from corepath.stock.path import Path as ToolPath
from corepath.stock.path import lay

__all__ = ["minutes_of_record", "timed_files"]

# The clock needs no chords: as coarse as may be.
_CHORDS = 5.0


def minutes_of_record(record: Record) -> dict[str, float]:
    """Return the minutes recorded for each file, the latest that stand."""
    return {
        entry.file: entry.value
        for entry in record.standing
        if entry.kind == "minutes" and entry.file is not None and entry.value is not None
    }


def timed_files(
    folder: Path | None, minutes: Mapping[str, float]
) -> tuple[tuple[Timed, ...], tuple[str, ...]]:
    """Return the files of a plan's folder that were timed, those in `done` too, and the names of
    those that are not there any more."""
    found, missing = [], []
    for name, spent in minutes.items():
        path = None if folder is None else _held(folder, name)
        way = None if path is None else _motions(path, path.stat().st_mtime_ns)
        if way is None:
            missing.append(name)
        else:
            found.append(Timed(name, spent, _Clock(way)))
    return tuple(found), tuple(missing)


class _Clock:
    """Minutes of one file for given limits, dwells counted and stops not."""

    def __init__(self, way: ToolPath) -> None:
        self.way = way

    def __call__(self, limits: Limits) -> float:
        return time_path(self.way, limits).total


def _held(folder: Path, name: str) -> Path | None:
    """Return where a file of a plan lies: among those to be cut, or among those that are."""
    if Path(name).name != name:
        return None
    places = (folder / "done" / name, folder / name)
    return next((path for path in places if path.is_file()), None)


@lru_cache(maxsize=64)
def _motions(path: Path, changed: int) -> ToolPath | None:
    """Return the motions of a file as it was `changed` last; None where it cannot be read."""
    try:
        text = read_limited(path).decode("utf-8")
        program = read_program(text, path.name)
        if program.refused or not program.count:
            return None
        cutter = Cutter(1, "flat", 1.0, 0.0, 1, 1.0, 1.0)
        return lay(program, (0.0, 0.0, 0.0), cutter, -1e9, _CHORDS, Findings())
    except (InputError, OSError, UnicodeDecodeError):
        return None
