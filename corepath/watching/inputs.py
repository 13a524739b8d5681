"""The files that a plan hangs on: the job, the record beside it, and the files that the job names."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from corepath.job.record import record_path

__all__ = ["inputs_of"]

_KEYS = (("blank", "measured"), ("outline", "dxf"), ("deck", "mesh"), ("deck", "grid"))
_LARGEST = 2**20  # bytes of a job that is looked into


def inputs_of(job: Path) -> tuple[Path, ...] | None:
    """All files that the plan of a job is made from, there or not; None while the job cannot be read.

    Read from the text alone, so that a job with faults still tells where its drawing lies.
    """
    try:
        if job.stat().st_size > _LARGEST:
            return None
        document: dict[str, Any] = tomllib.loads(job.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return None
    named = []
    for section, key in _KEYS:
        table = document.get(section)
        value = table.get(key) if isinstance(table, dict) else None
        if isinstance(value, str) and value and "\0" not in value:
            named.append(job.parent / value)
    return (job, record_path(job), *named)
