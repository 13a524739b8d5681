"""The keys that a job may share with others as a table at most 80 columns wide: value, and the file
and line that gives it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import new_table, rendered
from corepath.lengths import MM
from corepath.planning.job_files.key_places import DEFAULT

if TYPE_CHECKING:
    from corepath.planning.job_files.key_places import KeyPlace

__all__ = ["key_table"]


def key_table(places: Sequence[KeyPlace]) -> str:
    """Return a row for each key, and below them the paths of the files; "" without keys."""
    if not places:
        return ""
    table = new_table(MM)
    table.add_column("key", no_wrap=True)
    for name in ("value", "stands in", "wins over"):
        table.add_column(name, overflow="fold")
    for one in places:
        table.row(one.key, one.value, _short(one.place), _short(one.over))
    files = dict.fromkeys(one.place.rpartition(":")[0] for one in places if one.place != DEFAULT)
    told = ", ".join(files)
    typed = f"values as typed, in the units of their file: {told}; defaults in mm"
    return f"{rendered(table)}\n{typed}"


def _short(place: str) -> str:
    return Path(place).name
