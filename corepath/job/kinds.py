"""What each key may hold, read from the model itself, so that messages and reference follow it.

A *kind* describes one value: number, whole number, text, flag, choice, list or table, with its
bounds. Bounds of lengths are in mm, as in the model.
"""

from __future__ import annotations

import re
import types
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import annotated_types
from pydantic import BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

from corepath.job.model import Job
from corepath.lengths import MM_PER_INCH

__all__ = ["KeyKind", "fields_of", "kind_at", "kind_of", "wanted"]

_NAMED_LIST = re.compile(r"\[([a-z][a-z _]*(?:, [a-z][a-z _]*)+)\]")


@dataclass(frozen=True, slots=True)
class KeyKind:
    """What one key may hold.

    `length`: a length in the file's units, bounds in mm. `items`: of a list, one kind if
    `repeated`, else one for each place. `names`: what the places of a fixed list are called.
    """

    name: Literal["number", "whole number", "text", "flag", "choice", "list", "table"]
    length: bool = False
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    choices: tuple[str, ...] = ()
    items: tuple[KeyKind, ...] = ()
    repeated: bool = False
    table: type[BaseModel] | None = None
    names: tuple[str, ...] = ()


@cache
def fields_of(table: type[BaseModel]) -> dict[str, KeyKind]:
    """Return the kinds of all keys of one table, in the model's order."""
    return {name: kind_of(field) for name, field in table.model_fields.items()}


def kind_of(field: FieldInfo) -> KeyKind:
    """Return the kind of one field of the model. Raises TypeError for a type not used so far."""
    # names of places come from the description: "[x, half width] pairs; …"
    named = _NAMED_LIST.search(field.description or "")
    names = tuple(named.group(1).split(", ")) if named else ()
    return _kind(field.annotation, tuple(field.metadata), names)


def kind_at(path: tuple[str | int, ...]) -> KeyKind | None:
    """Return the kind of the value at a path of the job; None where the model has no such key."""
    kind: KeyKind | None = KeyKind("table", table=Job)
    for part in path:
        if kind is None:
            return None
        if kind.name == "table" and kind.table is not None and isinstance(part, str):
            kind = fields_of(kind.table).get(part)
        elif kind.name == "list" and isinstance(part, int):
            at = 0 if kind.repeated else part
            kind = kind.items[at] if at < len(kind.items) else None
        else:
            return None
    return kind


def _flat(metadata: tuple[Any, ...]) -> tuple[Any, ...]:
    flat: list[Any] = []
    for item in metadata:
        # the constraints of `Annotated[float, Field(gt=0)]` are inside the field's own metadata
        flat.extend(item.metadata if isinstance(item, FieldInfo) else (item,))
    return tuple(flat)


def _kind(annotation: Any, metadata: tuple[Any, ...], names: tuple[str, ...]) -> KeyKind:
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *more = get_args(annotation)
        return _kind(inner, _flat((*more, *metadata)), names)
    if origin in (Union, types.UnionType):
        (inner,) = (part for part in get_args(annotation) if part is not type(None))
        return _kind(inner, metadata, names)
    if origin is Literal:
        return KeyKind("choice", choices=tuple(str(choice) for choice in get_args(annotation)))
    if origin is tuple:
        return _list_kind(get_args(annotation), names)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return KeyKind("table", table=annotation)
    if annotation is bool:
        return KeyKind("flag")
    if annotation is str:
        return KeyKind("text")
    if annotation in (int, float):
        return _number_kind("whole number" if annotation is int else "number", metadata)
    raise TypeError(f"the model has a field of an unknown type: {annotation!r}")


def _list_kind(parts: tuple[Any, ...], names: tuple[str, ...]) -> KeyKind:
    repeated = len(parts) == 2 and parts[1] is Ellipsis
    items = tuple(_kind(part, (), names) for part in (parts[:1] if repeated else parts))
    return KeyKind(
        "list", items=items, repeated=repeated, names=names if len(names) == len(items) else ()
    )


def _number_kind(name: Literal["number", "whole number"], metadata: tuple[Any, ...]) -> KeyKind:
    def bound(kind: type[Any], attribute: str) -> float | None:
        return next(
            (float(getattr(item, attribute)) for item in metadata if isinstance(item, kind)), None
        )

    return KeyKind(
        name,
        # only lengths have a validator: the one that scales inches
        length=any(isinstance(item, BeforeValidator) for item in metadata),
        gt=bound(annotated_types.Gt, "gt"),
        ge=bound(annotated_types.Ge, "ge"),
        lt=bound(annotated_types.Lt, "lt"),
        le=bound(annotated_types.Le, "le"),
    )


def wanted(kind: KeyKind, inch: bool = False) -> str:
    """Return what a key may hold, in words for a message: `a number greater than 0, mm`.

    With `inch`, lengths and their bounds are in inches.
    """
    if kind.name == "choice":
        return " or ".join(f'"{choice}"' for choice in kind.choices)
    if kind.name == "flag":
        return "true or false"
    if kind.name == "text":
        return "text in quotes"
    if kind.name == "table":
        return "a table of keys"
    if kind.name == "list":
        return _wanted_list(kind)
    bounds = _bounds(kind, inch)
    unit = (", inch" if inch else ", mm") if kind.length else ""
    return f"a {kind.name}{bounds}{unit}"


def _wanted_list(kind: KeyKind) -> str:
    if kind.repeated:
        item = kind.items[0]
        if item.name == "table":
            return "tables, each under a header in double brackets"
        return f"[{_element(item)}, …]"
    return _element(kind)


def _element(kind: KeyKind) -> str:
    if kind.name != "list":
        return (
            wanted(kind) if kind.name == "choice" else ("text" if kind.name == "text" else "number")
        )
    if kind.names:
        return f"[{', '.join(kind.names)}]"
    return (
        f"[{', '.join(_element(item) for item in kind.items)}]"
        if not kind.repeated
        else _wanted_list(kind)
    )


def _bounds(kind: KeyKind, inch: bool) -> str:
    def shown(bound: float) -> str:
        return f"{bound / MM_PER_INCH:.4g}" if inch and kind.length else f"{bound:g}"

    if kind.ge is not None and kind.le is not None:
        return f" from {shown(kind.ge)} to {shown(kind.le)}"
    parts = []
    if kind.gt is not None:
        parts.append(f"greater than {shown(kind.gt)}")
    if kind.ge is not None:
        parts.append(f"at least {shown(kind.ge)}")
    if kind.lt is not None:
        parts.append(f"less than {shown(kind.lt)}")
    if kind.le is not None:
        parts.append(f"at most {shown(kind.le)}")
    return f" {' and '.join(parts)}" if parts else ""
