"""A drawn job as TOML text in its own unit, and the same job read back in mm without the package's
loader."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["INCH", "Mm", "toml_text"]

INCH = 25.4


class Mm(float):
    """A length in mm: written in inches where the job is in inches. Other numbers are written as
    they are."""


def toml_text(job: Mapping[str, Any], inch: bool) -> str:
    """The job as a person would write it: keys of the top first, then tables, then arrays of
    tables."""
    lines: list[str] = []
    _table(lines, "", job, inch)
    return "\n".join(lines).lstrip("\n") + "\n"


def _table(lines: list[str], name: str, table: Mapping[str, Any], inch: bool) -> None:
    later: list[tuple[str, Any]] = []
    for key, value in table.items():
        if isinstance(value, Mapping) or (
            isinstance(value, list) and value and isinstance(value[0], Mapping)
        ):
            later.append((key, value))
        else:
            lines.append(f"{key} = {_value(value, inch)}")
    for key, value in later:
        full = f"{name}.{key}" if name else key
        for one in value if isinstance(value, list) else [value]:
            lines += ["", f"[[{full}]]" if isinstance(value, list) else f"[{full}]"]
            _table(lines, full, one, inch)


def _value(value: Any, inch: bool) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(one, inch) for one in value) + "]"
    if isinstance(value, Mm):
        return _number(round(value / INCH, 4) if inch else round(float(value), 3))
    return str(value) if isinstance(value, int) else _number(float(value))


def _number(value: float) -> str:
    return f"{value + 0.0:.6f}".rstrip("0").rstrip(".")
