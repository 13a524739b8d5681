"""How the figures of a kind of entry are gathered for planning. Lengths in mm, places in the board
frame.

Each function takes the standing entries of one kind, in the order of the work, and as second
argument all standing entries. Readings at the same place are averaged; of things that change (fill,
touch, stop, depth of a pocket) the latest counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

from corepath.job.record.entry import Entry, operation_of, setup_of

__all__ = [
    "SAME_PLACE", "Gather", "Placed", "castings", "cut_since", "cutters", "last", "latest_by",
    "off_places", "operations", "placed", "placed_after_stop", "shifts", "stopped_at", "top_ups",
    "topped_up", "unfilled",
]  # fmt: skip

SAME_PLACE = 1.0
"""mm: readings closer than this to one another were taken at the same place."""

Placed: TypeAlias = tuple[float, float, float]
"""x, y and what was measured there, mm."""

Gather: TypeAlias = Callable[[Sequence[Entry], Sequence[Entry]], Any]


def last(key: str) -> Gather:
    """Return the function that gives what the latest entry has under `key`; None without one."""

    def gather(entries: Sequence[Entry], standing: Sequence[Entry]) -> Any:
        return getattr(entries[-1], key) if entries else None

    return gather


def latest_by(key: str) -> Gather:
    """Return the function that gives the latest value for each `key` (casting, operation, stage,
    insert or cutter), in the order first seen."""

    def gather(entries: Sequence[Entry], standing: Sequence[Entry]) -> dict[Any, float]:
        return {getattr(entry, key): entry.value for entry in entries if entry.value is not None}

    return gather


def placed(entries: Sequence[Entry], standing: Sequence[Entry] = ()) -> tuple[Placed, ...]:
    """Return (x, y, figure) for each place: the mean of the readings there, at the first place."""
    groups: list[tuple[tuple[float, float], list[float]]] = []
    for entry in entries:
        if entry.at is None or entry.value is None:
            continue
        group = next(
            (values for at, values in groups if math.dist(at, entry.at) <= SAME_PLACE), None
        )
        if group is None:
            groups.append((entry.at, [entry.value]))
        else:
            group.append(entry.value)
    return tuple((x, y, math.fsum(values) / len(values)) for (x, y), values in groups)


def placed_after_stop(entries: Sequence[Entry], standing: Sequence[Entry]) -> tuple[Placed, ...]:
    """Return what `placed` does for the readings since the latest stop: after an earlier stop the
    blank was thicker."""
    stops = [place for place, entry in enumerate(standing) if entry.kind == "stop"]
    since = standing[stops[-1] :] if stops else standing
    # by identity and not by value: two readings may be equal, one before the stop and one after it
    return placed([entry for entry in entries if any(entry is other for other in since)])


def castings(entries: Sequence[Entry], standing: Sequence[Entry]) -> tuple[str, ...]:
    """Return the castings that are named, each once."""
    return tuple(dict.fromkeys(entry.casting for entry in entries if entry.casting is not None))


def operations(entries: Sequence[Entry], standing: Sequence[Entry]) -> frozenset[str]:
    """Return the operations that are named."""
    return frozenset(entry.operation for entry in entries if entry.operation is not None)


def cutters(entries: Sequence[Entry], standing: Sequence[Entry]) -> tuple[int, ...]:
    """Return the numbers of the cutters that are named, each once."""
    return tuple(dict.fromkeys(entry.cutter for entry in entries if entry.cutter is not None))


def stopped_at(entries: Sequence[Entry], standing: Sequence[Entry]) -> dict[str, int]:
    """Return the line at which each file stopped, the latest; files of operations that are cut
    count no more."""
    done = operations([entry for entry in standing if entry.kind == "cut"], standing)
    return {
        entry.file: entry.line
        for entry in entries
        if entry.file is not None and entry.line is not None
        if operation_of(entry.file) not in done
    }


def shifts(
    entries: Sequence[Entry], standing: Sequence[Entry]
) -> dict[str, tuple[float, float, float]]:
    """Return the latest shift found in each set-up."""
    return {entry.setup: entry.by for entry in entries if entry.setup and entry.by is not None}


def cut_since(entries: Sequence[Entry], standing: Sequence[Entry]) -> frozenset[str]:
    """Return the operations that were cut after the shift of their set-up was found, or once more
    since: they lie where they should."""
    found = {entry.setup: entry.n for entry in entries if entry.setup is not None}
    last: dict[str, int] = {}
    for entry in standing:
        done = "skim" if entry.kind == "stop" else entry.operation if entry.kind == "cut" else None
        if done is not None:
            last[done] = max(entry.n, last.get(done, 0))
    return frozenset(name for name, n in last.items() if n > found.get(setup_of(name), n))


def off_places(
    entries: Sequence[Entry], standing: Sequence[Entry]
) -> dict[str, tuple[float, float]]:
    """Return how far each insert lies off its place, the latest."""
    return {entry.insert: entry.by[:2] for entry in entries if entry.insert and entry.by}


def unfilled(entries: Sequence[Entry], standing: Sequence[Entry]) -> tuple[str, ...]:
    """Return the castings with a void or leak that were not topped up since."""
    since: dict[str, int] = {}
    for entry in standing:
        if entry.kind == "top-up" and entry.casting is not None:
            since[entry.casting] = max(entry.n, since.get(entry.casting, 0))
    return castings(
        [entry for entry in entries if entry.n > since.get(entry.casting or "", 0)], standing
    )


def top_ups(
    entries: Sequence[Entry], standing: Sequence[Entry]
) -> tuple[tuple[str, float | None, float | None], ...]:
    """Return (casting, grams, mm raised) of each, one of the last two None."""
    found = []
    for entry in entries:
        grams = entry.value if entry.unit == "g" else None
        found.append((entry.casting or "", grams, None if grams is not None else entry.value))
    return tuple(found)


def topped_up(entries: Sequence[Entry], standing: Sequence[Entry]) -> tuple[str, ...]:
    """Return the castings topped up since their fill was measured; the old, lower fill counts until
    it is measured again."""
    waiting: dict[str, bool] = {}
    for entry in standing:
        if entry.kind in ("fill", "top-up") and entry.casting is not None:
            waiting[entry.casting] = entry.kind == "top-up"
    return tuple(name for name, topped in waiting.items() if topped)
