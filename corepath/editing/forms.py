"""Every key of the job as the page shows it: its value as typed, unit, range, default and reference
text, read from the model."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path as FilePath
from typing import Any

from pydantic import BaseModel

from corepath.editing.seen import faults as faults_told
from corepath.job.kinds import KeyKind, fields_of, wanted
from corepath.job.model import Job
from corepath.job.text.editing import toml_text
from corepath.job.text.positions import Path, layout_of
from corepath.job.text.shop_file import joined
from corepath.job.text.source import Source, key_of, parse, value_at
from corepath.job.text.starter import starter_text
from corepath.lengths import MM_PER_INCH, plain, units_of

__all__ = ["forms"]


def forms(text: str, file: FilePath) -> dict[str, Any]:
    """Return `units` and the `tables` of a job's text, or, where it does not parse, `broken`: its
    faults, with the text itself to read. `begin` has the values, as typed, of the first row of each
    array of tables."""
    source, wrong = parse(text, file.name)
    if source is None:
        return {"broken": faults_told(wrong, units_of("mm")), "text": text, "tables": []}
    source, _ = joined(replace(source, folder=file.parent))
    inch = source.document.get("units") == "inch"
    return {
        "broken": [],
        "text": text,
        "units": "in" if inch else "mm",
        "scale": units_of("inch" if inch else "mm").scale,
        "tables": list(_tables(source, inch)),
        "begin": _beginnings(inch),
    }


@cache
def _beginnings(inch: bool) -> dict[str, dict[str, str]]:
    """Return the first rows of the starter job, at the middle of the board, by table."""
    document = tomllib.loads(starter_text(""))
    found = {}
    for name, kind in fields_of(Job).items():
        model, rows = _table_of(kind), document.get(name)
        if model is None or kind.table is not None or not rows:
            continue
        fields = fields_of(model)
        found[name] = {key: _begun(fields[key], held, inch) for key, held in rows[0].items()}
    return found


def _begun(kind: KeyKind, held: Any, inch: bool) -> str:
    if isinstance(held, list):  # a place, or a list of them
        return "[[0, 0]]" if isinstance(held[0], list) else "[0, 0]"
    if inch and kind.length:
        return plain(held / MM_PER_INCH, 3)
    return held if isinstance(held, str) else toml_text(held)


def _tables(source: Source, inch: bool) -> Iterator[dict[str, Any]]:
    typed = _as_typed(source)
    alone = [name for name, kind in fields_of(Job).items() if _table_of(kind) is None]
    keys = [_key(source, typed, (name,), fields_of(Job)[name], Job, inch) for name in alone]
    yield {"key": "", "title": "Job", "there": True, "keys": keys}
    for name, kind in fields_of(Job).items():
        model = _table_of(kind)
        if model is None:
            continue
        if kind.table is not None:
            yield _table(source, typed, (name,), model, inch)
            yield from _rows_within(source, typed, (name,), model, inch)
            continue
        held = source.document.get(name)
        rows = held if isinstance(held, list) else []
        for place in range(len(rows)):
            yield _table(source, typed, (name, place), model, inch)


def _rows_within(
    source: Source, typed: Mapping[Path, str], path: Path, model: type[BaseModel], inch: bool
) -> Iterator[dict[str, Any]]:
    """Yield the rows of arrays of tables that stand under headers of their own in a table."""
    for one, kind in fields_of(model).items():
        within = _table_of(kind)
        if within is not None and _has_headers(source, typed, (*path, one)):
            for place in range(len(value_at(source.document, (*path, one))[1])):
                yield _table(source, typed, (*path, one, place), within, inch)


def _has_headers(source: Source, typed: Mapping[Path, str], path: Path) -> bool:
    there, held = value_at(source.document, path)
    return there and path not in typed and isinstance(held, list)


def _table_of(kind: KeyKind) -> type[BaseModel] | None:
    return kind.table or (kind.items[0].table if kind.items else None)


def _table(
    source: Source, typed: Mapping[Path, str], path: Path, model: type[BaseModel], inch: bool
) -> dict[str, Any]:
    there, held = value_at(source.document, path)
    name = held.get("name") if isinstance(held, dict) else None
    title = key_of(path) + (f" {name}" if isinstance(name, str) else "")
    keys = [
        _key(source, typed, (*path, one), kind, model, inch)
        for one, kind in fields_of(model).items()
        if one != "sha256" and not (_table_of(kind) and _has_headers(source, typed, (*path, one)))
    ]
    return {"key": key_of(path), "title": title, "there": there, "keys": keys}


def _key(
    source: Source,
    typed: Mapping[Path, str],
    path: Path,
    kind: KeyKind,
    model: type[BaseModel],
    inch: bool,
) -> dict[str, Any]:
    field = model.model_fields[str(path[-1])]
    there, held = value_at(source.document, path)
    text = typed.get(path, "")
    if kind.name in ("text", "choice") and isinstance(held, str):
        text = held
    of_shop = source.in_shop(path) is not None
    if of_shop and there and not text:
        text = toml_text(held)
    return {
        "key": key_of(path),
        "name": str(path[-1]),
        "kind": kind.name,
        "text": text if there else "",
        "there": there,
        "of_shop": of_shop and there,
        "required": field.is_required(),
        "default": _default(field.get_default(), kind, inch) if not field.is_required() else "",
        "unit": ("in" if inch else "mm") if _has_length(kind) else "",
        "wanted": wanted(kind, inch),
        "choices": list(kind.choices) or (["true", "false"] if kind.name == "flag" else []),
        "says": field.description or "",
    }


def _has_length(kind: KeyKind) -> bool:
    return kind.length or any(_has_length(one) for one in kind.items)


def _default(value: Any, kind: KeyKind, inch: bool) -> str:
    if value is None or isinstance(value, BaseModel) or value == ():
        return ""
    if isinstance(value, str):
        return value
    if inch and kind.length and isinstance(value, float):
        return f"{value / MM_PER_INCH:.4g}"
    return toml_text(value)


def _as_typed(source: Source) -> dict[Path, str]:
    """Return the text of each value as it stands in the file."""
    values = layout_of(source.text).values
    return {path: source.text[start:end] for path, (start, end) in values.items()}
