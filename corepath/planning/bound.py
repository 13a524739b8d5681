"""What binds the files of a plan's folder to one another.

The digest of the plan, in each head and on the sheet, is worked out from `job.resolved.json` (job, measured places and
record); `report.json` holds the SHA-256 of each program, and of the two files that say what was designed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from corepath.job.resolved import digest_of
from corepath.planning.held_deck import KEY as HEIGHTS
from corepath.readback.findings import Findings

__all__ = ["DESIGN", "KEY", "RECORD", "check_design", "design_sha256"]

DESIGN = ("job.resolved.json", "geometry.json")
"""Files from which a folder is read back and checked."""

KEY = "sha256"
"""Where `report.json` holds theirs."""

RECORD = ("measured", "record")
"""Keys beside the job that the digest of the plan counts."""


def design_sha256(files: Mapping[str, str | bytes]) -> dict[str, str]:
    """The entry of `report.json`: SHA-256 of each file of `DESIGN` among `files`."""
    return {name: _sha256(files[name]) for name in DESIGN if name in files}


def _sha256(content: str | bytes) -> str:
    return hashlib.sha256(content.encode("utf-8") if isinstance(content, str) else content).hexdigest()


def _digest(resolved: Mapping[str, Any]) -> str:
    """The plan that a job belongs to, in words; none where it holds what no plan writes, as a NaN."""
    try:
        return f"plan {digest_of(resolved, beside=(HEIGHTS,), record=RECORD)}"
    except ValueError:
        return "no plan"


def check_design(
    resolved: Mapping[str, Any], report: Mapping[str, Any], content: Mapping[str, bytes], findings: Findings
) -> None:
    """Whether the design in a folder is the one that its files were planned from.

    `content` are the bytes of the files of `DESIGN` that are there. A folder without `report.json` (an empty `report`)
    is held to its heads alone.
    """
    plan, here = report.get("plan"), _digest(resolved)
    if plan is not None and here != f"plan {plan}":
        says = f"it is the job of {here}, report.json is of plan {plan}: not what the files were planned from"
        findings.add("changed", says, file="job.resolved.json")
    planned = report.get(KEY)
    for name, known in planned.items() if isinstance(planned, dict) else ():
        if name not in DESIGN:
            continue
        if name not in content:
            findings.add("missing-file", "it was planned with the others and is not there", file=name)
        elif _sha256(content[name]) != known:
            findings.add("changed", "not the file that was planned", file=name)
