"""Completions for the shell: job files, folders of plans, their files, names in the job on the
command line.

They must be quick, since they run at every tab: files are looked for in the folder that the typed
word names and in those directly below it, and a job is read without being checked. Where nothing is
found the shell completes by itself. Never an error.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

__all__ = [
    "castings",
    "cutters",
    "inserts",
    "jobs",
    "jobs_and_samples",
    "operations",
    "plans",
    "programs",
    "stages",
]

_MOST = 500
_LARGEST_JOB = 8 * 2**20
_HEAD = 65536  # bytes of a file that are looked at
_RECORD = ".ascut.toml"


def jobs(incomplete: str) -> list[str]:
    """Return job files in the current folder and in those directly below, such as `samples/`."""
    return _matching(incomplete, _is_job)


def jobs_and_samples(incomplete: str) -> list[str]:
    """Return job files, and the samples by their names."""
    from corepath.job.text.samples import samples

    return [*jobs(incomplete), *(name for name in samples() if name.startswith(incomplete))]


def plans(incomplete: str) -> list[str]:
    """Return folders that hold a plan, and single files of G-code."""
    return _matching(
        incomplete, lambda path: (path / "job.resolved.json").is_file() or path.suffix == ".nc"
    )


def programs(incomplete: str) -> list[str]:
    """Return files of G-code."""
    return _matching(incomplete, lambda path: path.suffix == ".nc")


def operations(incomplete: str) -> list[str]:
    """Return the operations of the job as `--cut` and `--touch` take them."""
    from corepath.job.record.entry_kinds import OPERATIONS

    job = _job()
    kinds = {"dowels": "dowel", "plug-pockets": "plug", "inserts": "insert", "trim": "trim"}
    names = [name for name in OPERATIONS if not job or name not in kinds or kinds[name] in job]
    return [name for name in names if name.startswith(incomplete)]


def castings(incomplete: str) -> list[str]:
    """Return the groove and the plugs of the job."""
    names = ["groove", *_ids("plug")]
    return [name for name in names if name.startswith(incomplete)]


def inserts(incomplete: str) -> list[str]:
    """Return the inserts of the job, one for each place."""
    return [name for name in _ids("insert") if name.startswith(incomplete)]


def cutters(incomplete: str) -> list[str]:
    """Return the numbers of the job's cutters."""
    found = [str(table.get("number")) for table in _tables("cutter")]
    return [number for number in found if number.startswith(incomplete)]


def stages(incomplete: str) -> list[str]:
    """Return the stages of the work, for `--stage`."""
    from corepath.job.record.entry_kinds import STAGES

    return [name for name in STAGES if name.startswith(incomplete)]


def _is_job(path: Path) -> bool:
    """Whether a file looks like a job: other programs keep their settings in TOML too."""
    if path.suffix != ".toml" or path.name.endswith(_RECORD) or not path.is_file():
        return False
    from corepath.job.text.regular import open_regular

    with open_regular(path) as file:
        return b"[board]" in file.read(_HEAD)


def _tables(name: str) -> list[dict[str, Any]]:
    """Return the tables of this name in the job; empty where they are not tables."""
    tables = _job().get(name)
    return (
        [table for table in tables if isinstance(table, dict)] if isinstance(tables, list) else []
    )


def _ids(table_name: str) -> Iterator[str]:
    """Yield the ids that the board gives to the places of these tables."""
    from corepath.board.footprints import place_ids
    from corepath.job.places import all_places, most_places

    for table in _tables(table_name):
        name = table.get("name")
        if isinstance(name, str) and most_places(table) <= _MOST:
            with suppress(TypeError, KeyError, ValueError):
                yield from place_ids(name, len(all_places(table)))


def _matching(incomplete: str, wanted: Callable[[Path], bool]) -> list[str]:
    """Return the wanted paths that begin as typed, in the form in which they would be typed: those
    in the folder that the word names, then those in the folders below."""
    typed = incomplete[: incomplete.rfind("/") + 1]
    found: list[str] = []
    try:
        here = _listed(Path(typed or "."))
        below = [
            one for path in here if path.is_dir() and not wanted(path) for one in _listed(path)
        ]
        for path in (*here, *below):
            text = typed + path.relative_to(Path(typed or ".")).as_posix()
            if text.startswith(incomplete) and wanted(path):
                found.append(text)
    except OSError:
        return []
    return found


def _listed(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if not path.name.startswith("."))[:_MOST]
    except OSError:
        return []


def _job() -> dict[str, Any]:
    """Return the job file on the command line, unchecked; empty where there is none or it cannot be
    read."""
    # The variable depends on the shell and its way of asking for completions.
    line = (
        os.environ.get("COMP_WORDS") or os.environ.get("_TYPER_COMPLETE_ARGS") or " ".join(sys.argv)
    )
    name = re.search(r"(?<!\S)(\S+\.toml)(?!\S)", line)
    if name is None:
        return {}
    import tomllib

    from corepath.job.text.regular import read_regular

    try:
        return tomllib.loads(read_regular(Path(name[1]).expanduser(), _LARGEST_JOB).decode("utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
