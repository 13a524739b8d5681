"""The files that a plan depends on: the job, the record beside it, and the files that the job
names."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from corepath.job.record.ascut import record_path
from corepath.job.text.regular import read_regular
from corepath.job.text.shop_file import shop_path

__all__ = ["inputs_of"]

_KEYS = (("blank", "measured"), ("outline", "dxf"), ("deck", "mesh"), ("deck", "grid"))
_LARGEST = 2**20  # bytes of a job that is looked into


def inputs_of(job: Path) -> tuple[Path, ...] | None:
    """Return all files that the plan of a job is made from, whether they exist or not; None while
    the job cannot be read.

    Only the TOML is read, without checking the job: a job with faults still names its drawing, and
    saving that drawing may be what removes the fault.
    """
    try:
        document: dict[str, Any] = tomllib.loads(
            read_regular(job, _LARGEST).decode("utf-8-sig").replace("\r\n", "\n")
        )
    except (OSError, ValueError, RecursionError):
        return None
    named = []
    for section, key in _KEYS:
        table = document.get(section)
        value = table.get(key) if isinstance(table, dict) else None
        if isinstance(value, str) and value and "\0" not in value:
            named.append(job.parent / value)
    shop = shop_path(document, job.parent)
    base = document.get("copy_of")
    if isinstance(base, str) and Path(base).name == base and base != job.name and "\0" not in base:
        named += inputs_of(job.parent / base) or (job.parent / base,)
    return (job, record_path(job), *named, *([] if shop is None else [shop]))
