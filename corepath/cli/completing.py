"""What the shell offers after a tab: job files, folders of plans, their files, names in the job
that is being typed.

Light, since it runs at every tab: files are looked for in the folder that the typed word names and
in those directly below it, and of a job only its names are read. Nothing found leaves the word to
the shell. Never an error.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

__all__ = ["castings", "cutters", "inserts", "jobs", "operations", "plans", "programs", "stages"]

_MOST = 500
_LARGEST_JOB = 8 * 2**20
_HEAD = 65536  # bytes of a file that are looked at
_RECORD = ".ascut.toml"


def jobs(incomplete: str) -> list[str]:
    """Job files here and in the folders below, such as `samples/`."""
    return _matching(incomplete, _is_job)


def plans(incomplete: str) -> list[str]:
    """Folders that hold a plan, and single files of G-code."""
    return _matching(
        incomplete, lambda path: (path / "job.resolved.json").is_file() or path.suffix == ".nc"
    )


def programs(incomplete: str) -> list[str]:
    """Files of G-code."""
    return _matching(incomplete, lambda path: path.suffix == ".nc")


def operations(incomplete: str) -> list[str]:
    """Operations as `--cut` and `--touch` take them, those that the job has."""
    from corepath.job.record.entry_kinds import OPERATIONS

    job = _job()
    kinds = {"dowels": "dowel", "plug-pockets": "plug", "inserts": "insert", "trim": "trim"}
    names = [name for name in OPERATIONS if not job or name not in kinds or kinds[name] in job]
    return [name for name in names if name.startswith(incomplete)]


def castings(incomplete: str) -> list[str]:
    """The groove and the plugs of the job."""
    names = ["groove", *_ids("plug")]
    return [name for name in names if name.startswith(incomplete)]


def inserts(incomplete: str) -> list[str]:
    """The inserts of the job, each at its place."""
    return [name for name in _ids("insert") if name.startswith(incomplete)]


def cutters(incomplete: str) -> list[str]:
    """Numbers of the cutters of the job."""
    found = [str(table.get("number")) for table in _tables("cutter")]
    return [number for number in found if number.startswith(incomplete)]


def stages(incomplete: str) -> list[str]:
    """Stages of the work, for `--stage`."""
    from corepath.job.record.entry_kinds import STAGES

    return [name for name in STAGES if name.startswith(incomplete)]


def _is_job(path: Path) -> bool:
    """Whether a file looks like a job: other programs keep their own things in TOML too."""
    if path.suffix != ".toml" or path.name.endswith(_RECORD) or not path.is_file():
        return False
    from corepath.job.text.regular import open_regular

    with open_regular(path) as file:
        return b"[board]" in file.read(_HEAD)


def _tables(name: str) -> list[dict[str, Any]]:
    """The tables of this name in the job."""
    tables = _job().get(name)
    return (
        [table for table in tables if isinstance(table, dict)] if isinstance(tables, list) else []
    )


def _ids(table_name: str) -> Iterator[str]:
    """Ids as the board gives them to the places."""
    from corepath.board.footprints import place_ids

    for table in _tables(table_name):
        name, places = table.get("name"), table.get("at")
        if isinstance(name, str) and isinstance(places, list):
            yield from place_ids(name, min(len(places), _MOST))


def _matching(incomplete: str, wanted: Callable[[Path], bool]) -> list[str]:
    """Paths that begin as typed: of the folder that the word names, then of those below it; as they
    would be typed."""
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
    """The job file on the line that is being typed, as far as it can be read."""
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
