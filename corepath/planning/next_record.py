"""The `corepath record` command that follows a file of a plan's folder, as it can be typed in the
current folder."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from corepath.errors import InputError
from corepath.job.record.ascut import load_record, record_path
from corepath.job.record.settled import Settled
from corepath.planning.folder.limited import read_limited

__all__ = ["record_words", "recorded_since"]


def record_words(folder: Path, file: str) -> tuple[str, ...] | None:
    """Return the words after `corepath` that record `file` as cut; None where the folder's report
    or the job cannot be found.

    The job is looked for in the current folder and beside the plan's folder. For the skim, whose
    stop is not known here, the command only shows what the record still needs.
    """
    report = _report(folder)
    named = report.get("job_file")
    # A report may have been edited: a path in it must not lead to a command about another folder.
    if not isinstance(named, str) or Path(named).name != named:
        return None
    job = next((path for path in (Path(named), folder.parent / named) if path.is_file()), None)
    if job is None:
        return None
    operation = _operation(report, re.sub(r"\.from-\d+(?=\.nc$)", "", file))
    return ("record", str(job), *(("--cut", operation) if operation not in ("", "skim") else ()))


def recorded_since(job: Path, settled: Settled) -> bool:
    """Return whether the record beside the job is another than the one, `settled`, that a plan was
    made with: its files may then have been cut already."""
    try:
        held = load_record(record_path(job)).settled()
    except InputError:
        return False  # what is wrong with it is told by the commands that use it
    return held.as_dict() != settled.as_dict()


def _report(folder: Path) -> dict[str, Any]:
    try:
        data = json.loads(read_limited(folder / "report.json"))
    except (InputError, ValueError, RecursionError):
        return {}
    return data if isinstance(data, dict) else {}


def _operation(report: dict[str, Any], file: str) -> str:
    entries = report.get("operations")
    for entry in entries if isinstance(entries, list) else ():
        if (
            isinstance(entry, dict)
            and entry.get("file") == file
            and isinstance(entry.get("name"), str)
        ):
            return str(entry["name"])
    return ""
