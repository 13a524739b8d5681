"""Change values of a TOML text where they stand: all other bytes stay as they are, comments, order,
line ends and numbers as typed.

A text that is written anew from its parsed document would lose all of these. So each value is
found by its place in the text and only its own characters are replaced; a key that a table lacks
gets a line behind the last of that table. The result is read back: it must hold what was asked,
and nothing else may differ.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from corepath.errors import Fault, InputError
from corepath.job.text.positions import Layout, Line, Path, layout_of
from corepath.job.text.source import key_of, value_at

__all__ = [
    "edited", "is_value", "line_end", "require", "split_mark", "toml_key", "toml_text",
    "with_head", "without_line",
]  # fmt: skip

_MARK = "\ufeff"  # byte order mark
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_INDENT = re.compile(r"[ \t]*")


def edited(text: str, values: Mapping[Path, str]) -> str:
    """Return the text with other values: each of `values`, as TOML text, at its path.

    A key that is missing is added to its table, a table that is missing behind all others. Paths
    lead as in `corepath.job.text.positions`. `text` is valid TOML, with or without a byte order
    mark, its lines ending as they like. Raises InputError where a path leads nowhere or a value is
    none.

    >>> edited("[groove]\\nfloor = 1.2  # thin\\n", {("groove", "floor"): "0.7"})
    '[groove]\\nfloor = 0.7  # thin\\n'
    """
    mark, before = split_mark(text)
    wanted, after = tomllib.loads(before), before
    for path, value in values.items():
        if not is_value(value):
            raise _refused(path, "is not a value that can be written into the job", value)
        after = _with(after, path, value)
        _put(wanted, path, tomllib.loads(f"v = {value}")["v"])
    require(after, wanted, values)
    return mark + after


def without_line(text: str, path: Path, why: str) -> str:
    """Return the text with the key's line, or all lines of its value, turned into comments below
    one that says `why`; unchanged where the key has no line of its own."""
    mark, before = split_mark(text)
    found = next((line for line in layout_of(before).lines if line.path == path), None)
    if found is None:
        return text
    start, end = before.rfind("\n", 0, found.start) + 1, _end_of_line(before, found.end)
    body = before[start:end].replace("\n", "\n# ")
    after = f"{before[:start]}# {why}{line_end(before, start)}# {body}{before[end:]}"
    wanted = tomllib.loads(before)
    del value_at(wanted, path[:-1])[1][path[-1]]
    require(after, wanted, {path: ""})
    return mark + after


def with_head(text: str, lines: Sequence[str]) -> str:
    """Return the text with comment lines before all others, and a blank one behind them."""
    mark, before = split_mark(text)
    end = line_end(before, 0)
    return mark + "".join(f"# {line}{end}" for line in lines) + end + before


def split_mark(text: str) -> tuple[str, str]:
    """Return the byte order mark of a text, "" where it has none, and what follows."""
    mark = _MARK if text.startswith(_MARK) else ""
    return mark, text.removeprefix(_MARK)


def is_value(text: str) -> bool:
    """Return whether a text is one TOML value and nothing else, not even a comment."""
    try:
        document = tomllib.loads(f"v = {text}")
    except (ValueError, RecursionError):
        return False
    return list(document) == ["v"] and layout_of(f"v = {text}").values[("v",)][1] == len(text) + 4


def toml_text(value: Any) -> str:
    """Return a value as TOML text: numbers plain, without an exponent, texts in double quotes.

    >>> toml_text([0.1, -12.0, True, "ash"])
    '[0.1, -12.0, true, "ash"]'
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{toml_key(k)} = {toml_text(v)}" for k, v in value.items()) + "}"
    return "[" + ", ".join(toml_text(one) for one in value) + "]"


def toml_key(name: str) -> str:
    """Return a key as it is written: bare where it may be."""
    return name if _BARE.fullmatch(name) else toml_text(name)


def _number(value: float) -> str:
    text = repr(value)
    return format(Decimal(text), "f") if "e" in text else text


def _with(text: str, path: Path, value: str) -> str:
    """Return the text with one value set or added."""
    layout = layout_of(text)
    if path in layout.values:
        start, end = layout.values[path]
        return text[:start] + value + text[end:]
    document = tomllib.loads(text)
    present, _ = value_at(document, path)
    if present:
        raise _refused(path, "is a table, not a value", "")
    return _added(text, layout, document, path, value)


def _added(text: str, layout: Layout, document: Any, path: Path, value: str) -> str:
    """Return the text with a key that was not there."""
    table, name = path[:-1], path[-1]
    present, held = value_at(document, table)
    if isinstance(name, int) or (present and not isinstance(held, dict)):
        raise _nowhere(path, document)
    written = f"{toml_key(name)} = {value}"
    if not present:
        return _in_new_table(text, layout, document, path, written)
    if table in layout.values:
        return _inside_braces(text, layout, table, written)
    under = [line for line in layout.lines if line.table == table]
    if table in layout.headers or not table:
        return _under_header(text, layout, table, under, written)
    dotted = [
        line
        for line in layout.lines
        if len(line.table) < len(table) and line.path[: len(table)] == table
    ]
    if dotted:
        return _beside_dotted(text, dotted[-1], table, written)
    return _with_header(text, layout, table, written)


def _in_new_table(text: str, layout: Layout, document: Any, path: Path, written: str) -> str:
    """Return the text with a key in a table that was not there: the first new one gets a header
    where it is a table of the job, and is written in braces within another table."""
    known = next(n for n in range(len(path) - 2, -1, -1) if value_at(document, path[:n])[0])
    if known == 0 and not any(isinstance(part, int) for part in path):
        return _with_header(text, layout, path[:-1], written)
    if any(isinstance(part, int) for part in path[known:]):
        raise _nowhere(path, document)
    for part in reversed(path[known + 1 : -1]):
        written = f"{toml_key(str(part))} = {{{written}}}"
    return _added(text, layout, document, path[: known + 1], f"{{{written}}}")


def _inside_braces(text: str, layout: Layout, table: Path, written: str) -> str:
    start, _ = layout.values[table]
    inside = [
        end
        for path, (_, end) in layout.values.items()
        if len(path) > len(table) and path[: len(table)] == table
    ]
    if not inside:
        return f"{text[: start + 1]}{written}{text[start + 1 :]}"
    return f"{text[: max(inside)]}, {written}{text[max(inside) :]}"


def _under_header(text: str, layout: Layout, table: Path, under: list[Line], written: str) -> str:
    """Return the text with a line behind the last of this table, or behind its header."""
    if under:
        return _line_after(text, under[-1].end, _indent(text, under[-1].start) + written)
    if table:
        return _line_after(text, layout.headers[table][1], written)
    # No key stands outside the tables: before the first header, with what is said above it.
    first = min((start for start, _ in layout.headers.values()), default=len(text))
    place = _above_comments(text, text.rfind("\n", 0, first) + 1)
    end = line_end(text, 0)
    return f"{text[:place]}{written}{end}{end if text[place:] else ''}{text[place:]}"


def _above_comments(text: str, place: int) -> int:
    """Return where the comment begins that ends at `place`, the start of a line."""
    while place:
        before = text.rfind("\n", 0, place - 1) + 1
        if not text[before:place].lstrip().startswith("#"):
            break
        place = before
    return place


def _beside_dotted(text: str, line: Line, table: Path, written: str) -> str:
    """Return the text with `table.key = value` behind the last line that names the table so."""
    names = ".".join(toml_key(str(part)) for part in table[len(line.table) :])
    return _line_after(text, line.end, f"{_indent(text, line.start)}{names}.{written}")


def _with_header(text: str, layout: Layout, table: Path, written: str) -> str:
    """Return the text with a table of its own header: at the end, or, within one of an array of
    tables, behind all that belongs to that one."""
    row = max((n + 1 for n, part in enumerate(table) if isinstance(part, int)), default=0)
    ends = [end for path, (_, end) in layout.headers.items() if path[:row] == table[:row]]
    ends += [line.end for line in layout.lines if line.table[:row] == table[:row]]
    place = _end_of_line(text, max(ends) if row else len(text.rstrip()))
    end = line_end(text, place)
    head = ".".join(toml_key(part) for part in table if isinstance(part, str))
    gap = end * 2 if text[:place].strip() else ""
    return f"{text[:place]}{gap}[{head}]{end}{written}{text[place:] or end}"


def _line_after(text: str, place: int, line: str) -> str:
    """Return the text with a new line behind the one that holds `place`."""
    at = _end_of_line(text, place)
    return f"{text[:at]}{line_end(text, at)}{line}{text[at:]}"


def _end_of_line(text: str, place: int) -> int:
    """Return where the line that holds `place` ends, before its line end."""
    feed = text.find("\n", place)
    if feed < 0:
        return len(text)
    return feed - 1 if feed > place and text[feed - 1] == "\r" else feed


def line_end(text: str, place: int) -> str:
    """Return the line end at `place` or, where there is none, the first of the text."""
    feed = text.find("\n", place)
    feed = text.find("\n") if feed < 0 else feed
    return "\r\n" if feed > 0 and text[feed - 1] == "\r" else "\n"


def _indent(text: str, start: int) -> str:
    found = _INDENT.match(text, text.rfind("\n", 0, start) + 1)
    return found.group() if found else ""


def _nowhere(path: Path, document: Any) -> InputError:
    """Return the fault of a path into an array that has no such place, or that needs one."""
    for count in range(len(path), 0, -1):
        present, held = value_at(document, path[: count - 1])
        if present and isinstance(held, list):
            name = key_of(path[: count - 1])
            most = f"{name}[1]" if held else ""
            most += f" to {name}[{len(held)}]" if len(held) > 1 else ""
            says = "does not say which" if isinstance(path[count - 1], str) else "is not there"
            return _refused(path, says, "", most)
    return _refused(path, "is no key of a job", "")


def _refused(path: Path, message: str, value: str, allowed: str = "") -> InputError:
    return InputError([Fault(key_of(path), message, value=value, allowed=allowed)])


def _put(document: Any, path: Path, value: Any) -> None:
    """Set a value in a parsed document, making the tables that are missing."""
    held = document
    for part in path[:-1]:
        held = held.setdefault(part, {}) if isinstance(held, dict) else held[part]
    held[path[-1]] = value


def require(text: str, wanted: Any, values: Mapping[Path, str]) -> None:
    """Raise InputError unless the text holds what is wanted and nothing else."""
    try:
        right = _same(tomllib.loads(text), wanted)
    except ValueError:
        right = False
    if not right:
        keys = ", ".join(key_of(path) for path in values)
        raise InputError([Fault(keys, "cannot be changed where it stands: change it by hand")])


def _same(one: Any, other: Any) -> bool:
    """Return whether two documents are equal, kinds of numbers and NaN included."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_same(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_same, one, other))
    return type(one) is type(other) and repr(one) == repr(other)
