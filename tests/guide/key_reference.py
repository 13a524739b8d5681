"""The reference of all keys of a job file, generated from the model, so that it cannot drift from
it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from corepath.job.kinds import KeyKind, fields_of, kind_of, wanted
from corepath.job.model import Job
from corepath.job.tables.builtin import hardware, resins, woods
from corepath.job.text.schema import JOB, KEY

__all__ = ["key_reference"]

_HEAD = """# The keys of a job file

Generated from the model; do not edit. A job is a TOML file. Lengths are in mm, or in inches
throughout with `units = "inch"`; defaults are in mm in either case. An unknown key is an error that
names its nearest neighbour. Axes: X along the length, Y across, origin at the middle of the blank,
Z up from the finished bottom.
"""


def key_reference() -> str:
    """The reference as Markdown: for each key its type, unit, default and meaning."""
    parts = [_HEAD, *_table_of("At the top of the file", Job, scalars_only=True)]
    for name, kind in fields_of(Job).items():
        model = kind.table or (kind.items[0].table if kind.items else None)
        if model is not None:
            parts += _table_of(_header(name, kind), model)
            parts += _inner_tables(name, model)
    parts += _names()
    return "\n".join(parts) + "\n"


def _inner_tables(name: str, model: type[BaseModel]) -> Iterator[str]:
    """The tables within a table: arrays of them, such as `[[deck.patch]]`, and single ones."""
    for key, kind in fields_of(model).items():
        inner = kind.items[0].table if kind.repeated and kind.items else None
        if inner is not None:
            yield from _table_of(f"`[[{name}.{key}]]`, one for each", inner)
        elif kind.table is not None:
            yield from _table_of(f"`{key} = {{…}}` of `[[{name}]]`", kind.table)


def _header(name: str, kind: KeyKind) -> str:
    field = Job.model_fields[name]
    header = f"`[{name}]`" if kind.table is not None else f"`[[{name}]]`, one for each"
    least = next((item.min_length for item in field.metadata if hasattr(item, "min_length")), 0)
    if least:
        return f"{header}, at least {least}"
    return header if field.is_required() or (kind.table is None) else f"{header}, may be left out"


def _table_of(header: str, model: type[BaseModel], scalars_only: bool = False) -> Iterator[str]:
    yield f"## {header}\n"
    yield "| key | type | unit | default | meaning |"
    yield "|---|---|---|---|---|"
    for name, field in model.model_fields.items():
        kind = kind_of(field)
        if scalars_only and (kind.table is not None or kind.name == "list"):
            continue
        cells = (
            f"`{name}`",
            _type(kind),
            _unit(kind, field),
            _default(field),
            field.description or _SCALARS.get(name, ""),
        )
        yield "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"
    if model is Job:
        yield f"| `{KEY}` | whole number |  | {JOB.newest} | {_SCALARS[KEY]} |"
    yield ""


_SCALARS = {
    "title": "name of the job, in the head of each file and on each drawing; 1 to 60 characters",
    KEY: "form of this file: a corepath that knows only older ones refuses it, a newer one still "
    "reads it",
    "units": "unit of all lengths in this file and in the G-code",
}


def _type(kind: KeyKind) -> str:
    return wanted(kind).removesuffix(", mm")


def _unit(kind: KeyKind, field: FieldInfo) -> str:
    said = field.description or ""
    for unit in ("mm/min", "mm/s²", "mm/m", "g/cm³", "GPa", "bar", "degrees", "seconds", "± %"):
        if re.search(rf"(?<![\w/]){re.escape(unit)}(?!\w)", said):
            return unit.removeprefix("± ")
    if said.startswith("share"):
        return "share"
    inner = kind
    while inner.items:
        inner = inner.items[0]
    return "length" if inner.length else ""


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "needed"
    value: Any = field.get_default(call_default_factory=True)
    return "none" if value is None else f"`{_written(value)}`"


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(_written(item) for item in value) + "]"
    return str(value)


def _names() -> Iterator[str]:
    yield "## Names in the tables that come with corepath\n"
    yield (
        "Figures from memory are marked so in the tables; measure your own and give the keys "
        "yourself.\n"
    )
    yield "| key | names |"
    yield "|---|---|"
    for key, names in (
        ("blank.wood", woods()),
        ("cast.resin", resins()),
        ("insert.hardware", hardware()),
    ):
        yield f"| `{key}` | {', '.join(f'`{name}`' for name in names)} |"
    yield ""
    yield "| hardware | barrel | flange | flange_thickness | length | prongs | source |"
    yield "|---|---|---|---|---|---|---|"
    for name, row in hardware().items():
        figures = (row.barrel, row.flange, row.flange_thickness, row.length, row.prongs)
        yield (
            f"| `{name}` | "
            + " | ".join(f"{figure.value:g}" for figure in figures)
            + f" | {row.barrel.source} |"
        )
