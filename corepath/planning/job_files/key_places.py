"""Where each key stands that a job may share with others: in its own file or in that of the
shop."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Any

from corepath.errors import InputError
from corepath.job.kinds import kind_of
from corepath.job.model import Job
from corepath.job.text.positions import Path
from corepath.job.text.shop_file import SHARED, joined
from corepath.job.text.source import Source, key_of, read_source, shown, value_at
from corepath.reported import report_keys

__all__ = ["DEFAULT", "KeyPlace", "key_places"]

DEFAULT = "default"
"""Where a key stands that no file gives."""

_SINGLE = ("machine", "hold", "tolerances")
"""Tables of `SHARED` that every job has once: their defaults hold where no file says otherwise."""


@report_keys("key", "value", "place", "over")
@dataclass(frozen=True, slots=True)
class KeyPlace:
    """A key of the job with its value as typed, and `file:line` where it stands; a default in mm.
    `over` is where the shop file gives it too; "" where it does not."""

    key: str
    value: str
    place: str
    over: str = ""


def key_places(job: FilePath) -> tuple[KeyPlace, ...]:
    """Return the keys of machine, holding, tolerances, bed, cutters, own resins and hardware that a
    job file or its shop file gives, and the defaults of the first three and of each cutter. Raises
    InputError where either file cannot be read."""
    source, faults = read_source(job)
    if source is None:
        raise InputError(faults)
    whole, of_shop = joined(source)
    if whole.shop is None and of_shop:
        raise InputError(of_shop)
    found = [_place(whole, path) for name in SHARED for path in _keys(whole, name)]
    given = {one.key for one in found}
    return (*found, *(one for one in _defaults(whole) if one.key not in given))


def _defaults(source: Source) -> Iterator[KeyPlace]:
    """Yield all defaults of the single tables and of each cutter, given or not."""
    cutters = source.document.get("cutter")
    tables = [(name, name) for name in _SINGLE]
    rows = range(1, len(cutters) + 1) if isinstance(cutters, list) else ()
    tables += [(f"cutter[{number}]", "cutter") for number in rows]
    for key, name in tables:
        kind = kind_of(Job.model_fields[name])
        model = kind.table or (kind.items[0].table if kind.items else None)
        for field, info in model.model_fields.items() if model is not None else ():
            held = info.get_default(call_default_factory=True)
            if not info.is_required() and held is not None:
                yield KeyPlace(f"{key}.{field}", shown(held), DEFAULT)


def _keys(source: Source, name: str) -> Iterator[Path]:
    """Yield the paths of all keys in a table or in the rows of an array, without those within."""
    held = source.document.get(name)
    for at, row in enumerate(held) if isinstance(held, list) else [(None, held)]:
        for key in row if isinstance(row, dict) else ():
            yield (name, key) if at is None else (name, at, key)


def _place(source: Source, path: Path) -> KeyPlace:
    key, theirs = key_of(path), source.in_shop(path)
    if source.shop is not None and theirs is not None:
        if source.shop.shop is not None:  # a copy of a job with a shop file
            return replace(_place(source.shop, theirs), key=key)
        return KeyPlace(key, _typed(source.shop, theirs), _line(source.shop, theirs))
    return KeyPlace(key, _typed(source, path), _line(source, path), _beneath(source, path))


def _beneath(source: Source, path: Path) -> str:
    """Return where the shop gives a key that the job gives itself."""
    shop = source.shop
    if shop is None:
        return ""
    same = (theirs for ours, theirs in source.beside.items() if ours == path[:-1])
    for theirs in same:
        if value_at(shop.document, (*theirs, path[-1]))[0]:
            return _line(shop, (*theirs, path[-1]))
    return ""


def _typed(source: Source, path: Path) -> str:
    held: Any = value_at(source.document, path)[1]
    return shown(held)


def _line(source: Source, path: Path) -> str:
    found = source.positions.nearest(path)
    return f"{source.file}:{found.line}" if found is not None else source.file
