"""Digests that bind the files of a plan's folder to one another.

The digest of the plan, in each head and on the sheet, is worked out from `job.resolved.json` (job,
measured places and record); `report.json` holds the SHA-256 of each program and of every other file
that the plan wrote: the design, the sheet and the drawings that someone reads a height from. It
seals itself by a SHA-256 of the rest of its contents.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from corepath.gcode.read.findings import Findings
from corepath.job.text.resolved import digest_of
from corepath.planning.folder.held_deck import KEY as HEIGHTS
from corepath.planning.folder.limited import read_limited

__all__ = [
    "DESIGN",
    "KEY",
    "RECORD",
    "SEAL",
    "check_design",
    "files_sha256",
    "found_content",
    "seal_of",
]

DESIGN = ("job.resolved.json", "geometry.json")
"""Files from which a folder is read back and checked."""

KEY = "sha256"
"""Where `report.json` holds theirs."""

SEAL = "seal"
"""Where `report.json` holds the SHA-256 of itself."""

RECORD = ("measured", "record")
"""Keys beside the job that the digest of the plan counts."""


def files_sha256(files: Mapping[str, str | bytes]) -> dict[str, str]:
    """Return the entry of `report.json`: SHA-256 of each of `files` except the programs, which have
    it in their own entries."""
    return {name: _sha256(files[name]) for name in sorted(files) if not name.endswith(".nc")}


def seal_of(report: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a report without its seal, as JSON with sorted keys and no spaces."""
    # A form of its own, so that only a changed figure breaks the seal, not an editor that indents
    # the file in another way.
    own = {key: value for key, value in report.items() if key != SEAL}
    return _sha256(json.dumps(own, sort_keys=True, separators=(",", ":")))


def found_content(folder: Path, report: Mapping[str, Any]) -> dict[str, bytes]:
    """Return the bytes of the files of `DESIGN` and of all that a report names, as far as they
    exist.

    Raises InputError for one that cannot be read. A name that leads out of the folder is not
    followed.
    """
    planned = report.get(KEY)
    names = {*DESIGN, *(planned if isinstance(planned, dict) else ())}
    inside = [
        name
        for name in sorted(names)
        if name and ".." not in name and not PurePosixPath(name).is_absolute()
    ]
    return {
        name: read_limited(folder / name)
        for name in inside
        if "\0" not in name and (folder / name).is_file()
    }


def _sha256(content: str | bytes) -> str:
    return hashlib.sha256(
        content.encode("utf-8") if isinstance(content, str) else content
    ).hexdigest()


def _digest(resolved: Mapping[str, Any]) -> str:
    """Return the plan that a job belongs to, in words; "no plan" where it holds something that no
    plan writes, such as a NaN."""
    try:
        return f"plan {digest_of(resolved, beside=(HEIGHTS,), record=RECORD)}"
    except ValueError:
        return "no plan"


def check_design(
    resolved: Mapping[str, Any],
    report: Mapping[str, Any],
    content: Mapping[str, bytes],
    findings: Findings,
) -> None:
    """Add a finding for each of design, report, sheet and drawings in a folder that is not the one
    that was planned.

    `content` are the bytes of the files that exist. Without `report.json` (an empty `report`) only
    the heads can be checked; a report of an earlier form, without a seal, is checked by what it
    has.
    """
    plan, here = report.get("plan"), _digest(resolved)
    if plan is not None and here != f"plan {plan}":
        says = (
            f"it is the job of {here}, report.json is of plan {plan}: not what the files were "
            "planned from"
        )
        findings.add("changed", says, file="job.resolved.json")
    if SEAL in report and report[SEAL] != seal_of(report):
        findings.add("changed", "not the report that was planned", file="report.json")
    planned = report.get(KEY)
    for name, known in planned.items() if isinstance(planned, dict) else ():
        if name in content and _sha256(content[name]) != known:
            findings.add("changed", "not the file that was planned", file=name)
        elif name in DESIGN and name not in content:
            findings.add(
                "missing-file", "it was planned with the others and is not there", file=name
            )
