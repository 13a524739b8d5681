"""The shop file: what all jobs of a shop share, written once and laid under each job that names it.

A key of the job wins. Tables are joined key by key; cutters are the same where their number is, own
resins and hardware where their name is. Rows of the job keep their index, so that a key means the
same row in a message, in the file and on the command line; those of the shop alone follow.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import zip_longest
from pathlib import Path as FilePath
from types import MappingProxyType
from typing import Any

from corepath.errors import Fault
from corepath.job.kinds import KeyKind, fields_of, wanted
from corepath.job.model import Inches, Job, Millimetres
from corepath.job.text.positions import Path
from corepath.job.text.schema import KEY, SHOP
from corepath.job.text.source import Source, locate, read_source
from corepath.lengths import MM_PER_INCH

__all__ = ["SHARED", "joined", "shop_path"]

SHARED = ("machine", "hold", "tolerances", "bed", "cutter", "resin", "hardware")
"""Tables of a job that a shop file may hold."""

_ROWS: Mapping[str, str] = MappingProxyType(
    {"cutter": "number", "resin": "name", "hardware": "name"}
)
"""The key by which the rows of an array are the same."""


def shop_path(document: Mapping[str, Any], folder: FilePath) -> FilePath | None:
    """Return the path of the shop file that a job in `folder` names; None where it names none."""
    named = document.get("shop")
    return folder / named if isinstance(named, str) and named and "\0" not in named else None


def joined(source: Source) -> tuple[Source, list[Fault]]:
    """Return the job joined with the shop file that it names, and the faults of that file as a
    whole, placed; the job as it is where it names none or is joined already.

    Where the file cannot be used the job is returned as it is, without the tables of the shop.
    """
    folder = FilePath(source.file).parent if source.folder is None else source.folder
    if "copy_of" in source.document and source.shop is None:
        return _copied(source, folder)
    path = shop_path(source.document, folder)
    if path is None or source.shop is not None:
        return source, []
    shop, faults = read_source(path)
    if shop is None:
        return source, [_unread(fault, source, path) for fault in faults]
    content, wrong = SHOP.settle(shop.document)
    if wrong is not None:
        return source, locate([wrong], shop)
    under = _Under(source.document, _scale(source, shop))
    for name in SHARED:
        if name in content:
            under.lay(name, content[name])
    whole = replace(
        source,
        document=under.document,
        shop=shop,
        origins=under.origins,
        beside=under.beside,
    )
    return whole, locate(_misplaced(content), shop)


_OWN_OF_COPY: tuple[tuple[str, str], ...] = (("blank", "measured"),)
"""Keys that a copy has for itself or not at all: its blank is another one."""


def _copied(source: Source, folder: FilePath) -> tuple[Source, list[Fault]]:
    """Return a copy joined with the job that it is a copy of, which may have a shop file; its own
    keys win. The other job takes the place of the shop file in `Source`."""
    named = source.document["copy_of"]
    if not isinstance(named, str) or FilePath(named).name != named or "\0" in named:
        allowed = 'the name of a job in the same folder, such as "core.toml"'
        return source, [
            source.place(Fault("copy_of", "is no job beside this one", allowed=allowed))
        ]
    found, faults = read_source(folder / named)
    if found is None:
        return source, [
            source.place(Fault("copy_of", one.message, allowed=one.allowed)) for one in faults
        ]
    if "copy_of" in found.document:
        says = f"{named} is a copy itself"
        allowed = str(found.document["copy_of"])
        return source, [source.place(Fault("copy_of", says, allowed=allowed))]
    base, faults = joined(found)
    if faults and base.shop is None:
        return source, faults
    under = _Under(source.document, None)
    for name, value in base.document.items():
        if isinstance(value, dict):
            under.lay(name, value)
        elif name != KEY and name not in under.document:
            under.document[name] = value
            under.origins[name,] = (name,)
    for table, key in _OWN_OF_COPY:
        if (table, key) in under.origins:
            del under.origins[table, key], under.document[table][key]
    under.document["units"] = base.document.get("units", "mm")
    under.document.pop("shop", None)
    whole = replace(
        source, document=under.document, shop=base, origins=under.origins, beside=under.beside
    )
    return whole, faults


def _unread(fault: Fault, source: Source, path: FilePath) -> Fault:
    """Return the fault of a shop file that is missing or cannot be read, at the key that names it
    unless a line of its own is known."""
    if fault.line is not None:
        return fault
    says = f"the shop file {path} {fault.message}".replace("there is no such file", "is not there")
    return source.place(Fault("shop", says, allowed=fault.allowed))


def _scale(source: Source, shop: Source) -> float | None:
    """Return how many mm a length of the shop has; None where both files have the same units."""
    units = [str(one.document.get("units", "mm")) for one in (source, shop)]
    if units[0] == units[1]:
        return None
    return MM_PER_INCH if units[1] == "inch" else 1.0


def _misplaced(content: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield the faults of what a shop file may not hold."""
    allowed = ", ".join(("units", *SHARED, KEY))
    for name, value in content.items():
        if name == "units":
            kind = fields_of(Job)["units"]
            if value not in kind.choices:
                yield Fault(name, "is not one of the choices", allowed=wanted(kind))
        elif name not in SHARED:
            belongs = "belongs in the job" if name in fields_of(Job) else "unknown key"
            yield Fault(name, f"{belongs}: a shop file holds what all jobs share", allowed=allowed)
        elif not isinstance(value, list if name in _ROWS else dict):
            shape = f"[[{name}]]" if name in _ROWS else f"[{name}]"
            yield Fault(name, "has the wrong shape", allowed=f"keys under {shape}")


@dataclass(slots=True)
class _Under:
    """A job's document that tables of a shop are laid under; `scale` as in `_scale`."""

    document: dict[str, Any]
    scale: float | None
    origins: dict[Path, Path] = field(default_factory=dict)
    beside: dict[Path, Path] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.document = dict(self.document)

    def lay(self, name: str, theirs: Any) -> None:
        """Lay one table, or all rows of one array."""
        kind = fields_of(Job).get(name, KeyKind("table"))
        if name in _ROWS and isinstance(theirs, list):
            self._lay_rows(name, theirs, kind.items[0])
        elif name not in _ROWS and isinstance(theirs, dict):
            if name not in self.document:
                self.origins[name,] = (name,)
            ours = self.document.get(name, {})
            if isinstance(ours, dict):
                self.document[name] = self._table(ours, theirs, kind, ((name,), (name,)))

    def _lay_rows(self, name: str, theirs: list[Any], kind: KeyKind) -> None:
        held = self.document.get(name, [])
        if not isinstance(held, list):
            return
        ours, key = list(held), _ROWS[name]
        own = {row[key]: k for k, row in enumerate(ours) if _has(row, key)}
        for place, row in enumerate(theirs):
            at = own.get(row[key]) if _has(row, key) else None
            if at is None:
                self.origins[name, len(ours)] = (name, place)
                ours.append(self._value(row, kind))
            elif isinstance(row, dict):
                ours[at] = self._table(ours[at], row, kind, ((name, at), (name, place)))
        self.document[name] = ours

    def _table(
        self,
        ours: Mapping[str, Any],
        theirs: Mapping[str, Any],
        kind: KeyKind,
        at: tuple[Path, Path],
    ) -> dict[str, Any]:
        """Return one table of both files; `at` are its paths in the job and in the shop."""
        table = dict(ours)
        self.beside[at[0]] = at[1]
        known = {} if kind.table is None else fields_of(kind.table)
        for key, value in theirs.items():
            if key not in table:
                table[key] = self._value(value, known.get(key))
                self.origins[(*at[0], key)] = (*at[1], key)
        return table

    def _value(self, value: Any, kind: KeyKind | None) -> Any:
        """Return a value of the shop as it stands, its lengths in mm where its units are not those
        of the job."""
        if self.scale is None or kind is None:
            return value
        if isinstance(value, dict) and kind.table is not None:
            kinds = fields_of(kind.table)
            return {key: self._value(one, kinds.get(key)) for key, one in value.items()}
        if isinstance(value, list) and kind.items:
            items = kind.items * len(value) if kind.repeated else kind.items
            return [self._value(one, item) for one, item in zip_longest(value, items)][: len(value)]
        if kind.length and isinstance(value, int | float) and not isinstance(value, bool):
            return _in_mm(value, self.scale)
        return value


def _has(row: Any, key: str) -> bool:
    return isinstance(row, dict) and isinstance(row.get(key), int | str)


def _in_mm(value: float, scale: float) -> Millimetres:
    # an integer of hundreds of digits does not fit a float: infinity is refused later on
    try:
        return Millimetres(value) if scale == 1.0 else Inches(value * scale)
    except OverflowError:
        return Millimetres(math.inf)
