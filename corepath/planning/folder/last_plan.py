"""The folder of the last plan of a job: where its files lie, and at what height each pass of the
skim cuts.

Where a plan was written is not stored anywhere. It is looked for in the current folder and in the
folder of the job: a folder whose report names the job file; of several, the one whose report was
written last.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from corepath.errors import InputError
from corepath.job.record.record_facts import PlanFolder
from corepath.planning.folder.limited import read_limited

__all__ = ["last_plan"]

_MOST = 500  # folders that are looked at
_PASS = re.compile(r"-pass-([1-9][0-9]{0,3})\.nc$")


def last_plan(job: Path) -> PlanFolder | None:
    """Return the folder of the last plan of a job file, named as it can be typed; None where no
    such folder is found."""
    found: list[tuple[int, str, PlanFolder]] = []
    for folder in _folders(job):
        report = folder / "report.json"
        if not report.is_file():
            continue
        passes = _passes(report, job.name)
        if passes is not None:
            found.append((report.stat().st_mtime_ns, str(folder), PlanFolder(str(folder), passes)))
    return max(found, key=lambda one: one[:2])[2] if found else None


def _folders(job: Path) -> Iterator[Path]:
    """Yield the folders in the current one and beside the job, each once."""
    seen: set[Path] = set()
    for parent in (Path(), job.parent):
        try:
            below = sorted(path for path in parent.iterdir() if path.is_dir())[:_MOST]
        except OSError:
            continue
        for path in below:
            if path.resolve() not in seen:
                seen.add(path.resolve())
                yield path


def _passes(report: Path, job: str) -> dict[int, float] | None:
    """Return heights (mm) by the number in a file's name, or by their number in the report for a
    plan without files of the skim; None where it is no report of this job."""
    try:
        data: Any = json.loads(read_limited(report))
        if data["job_file"] != job:
            return None
        planes = {
            number: float(plane) for number, plane in enumerate(data["skim"]["planes"], start=1)
        }
        names = [str(entry["file"]) for entry in data.get("operations", ())]
    except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    # A plan made after some passes were cut has files for the rest only, but its report all planes.
    numbers = {int(name[1]) for name in map(_PASS.search, names) if name is not None}
    return {number: plane for number, plane in planes.items() if not numbers or number in numbers}
