"""Resins and hardware that a job or a shop lists for itself: names and kinds that are known, each
name once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from corepath.job.model import HardwareSection, ResinSection
from corepath.job.tables.builtin import hardware, resins, threads
from corepath.job.text.positions import Path

__all__ = ["own_contradictions"]

_Found = tuple[Path, str, str]


def own_contradictions(
    own_resins: Sequence[tuple[int, ResinSection]],
    own_hardware: Sequence[tuple[int, HardwareSection]],
) -> Iterator[_Found]:
    """Yield what is wrong in the job's own rows, each given with its index from 0: path, what is
    wrong, what is allowed."""
    yield from _names("resin", [(k, row.name) for k, row in own_resins], resins())
    yield from _names("hardware", [(k, row.name) for k, row in own_hardware], hardware())
    for place, resin in own_resins:
        if resin.kind not in resins():
            yield ("resin", place, "kind"), "is no kind of the resin table", ", ".join(resins())
    for place, row in own_hardware:
        if row.thread is not None and row.thread not in threads():
            says = "is a thread for which no holes are known"
            yield ("hardware", place, "thread"), says, ", ".join(threads())


def _names(
    table: str, rows: Sequence[tuple[int, str]], built_in: Mapping[str, object]
) -> Iterator[_Found]:
    seen: dict[str, int] = {}
    for place, name in rows:
        path = (table, place, "name")
        if name in built_in:
            yield path, "is a name of the table that comes with corepath", "a name of its own"
        elif name in seen:
            says = f"{table}[{seen[name] + 1}] has this name already"
            yield path, says, "a name of its own"
        seen.setdefault(name, place)
