"""Take values out of a TOML text, or put elements and tables in, by their places: comments stay,
and all other bytes too.

What is done is read back: the text must hold what is wanted, and nothing else may differ.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

from corepath.errors import Fault, InputError
from corepath.job.text.editing import is_value, line_end, require, split_mark, toml_key
from corepath.job.text.positions import Layout, Line, Path, layout_of
from corepath.job.text.source import key_of, value_at

__all__ = ["inserted", "removed", "with_row"]

_COMMENT = re.compile(r"#[^\r\n]*")
_BLANK = " \t"


def removed(text: str, path: Path) -> str:
    """Return the text without a key, an element of an array, or a table of an array of tables.

    Its comments stay: what stood behind a value stays on a line of its own. Raises InputError where
    there is nothing at the path, or it cannot be taken out where it stands.
    """
    mark, before = split_mark(text)
    wanted = tomllib.loads(before)
    present, _ = value_at(wanted, path)
    if not present or not path:
        raise InputError([Fault(key_of(path), "is not there")])
    del value_at(wanted, path[:-1])[1][path[-1]]
    _without_empty(wanted, path[:-1])
    layout = layout_of(before)
    cuts = list(_cuts(before, layout, path))
    after = before
    for start, end, left in sorted(cuts, reverse=True):
        after = after[:start] + left + after[end:]
    require(after, wanted, {path: ""})
    return mark + after


def inserted(text: str, path: Path, value: str) -> str:
    """Return the text with one more element, TOML text, in an array: before the one at the path, or
    behind the last.

    Raises InputError where the path is no place in a list, or the value no TOML value.

    >>> inserted("a = [1, 2]  # two\\n", ("a", 2), "3")
    'a = [1, 2, 3]  # two\\n'
    """
    mark, before = split_mark(text)
    wanted, values = tomllib.loads(before), layout_of(before).values
    present, held = value_at(wanted, path[:-1])
    place = path[-1]
    if not (present and isinstance(held, list) and isinstance(place, int) and is_value(value)):
        raise InputError([Fault(key_of(path), "is no place in a list", value=value)])
    held.insert(place, tomllib.loads(f"v = {value}")["v"])
    if path in values:
        start = values[path][0]
        after = f"{before[:start]}{value}, {before[start:]}"
    elif place and (*path[:-1], place - 1) in values:
        end = values[(*path[:-1], place - 1)][1]
        after = f"{before[:end]}, {value}{before[end:]}"
    else:
        start = values[path[:-1]][0] + 1
        after = f"{before[:start]}{value}{before[start:]}"
    require(after, wanted, {path: value})
    return mark + after


def with_row(text: str, name: str, values: Mapping[str, str]) -> str:
    """Return the text with one more table `[[name]]`, its values as TOML text: behind the others of
    that name, or at the end. Where they stand within brackets, it is one more within braces.

    Raises InputError where something else than tables has that name.
    """
    mark, before = split_mark(text)
    wanted, layout = tomllib.loads(before), layout_of(before)
    rows = wanted.setdefault(name, [])
    if (name,) in layout.values and isinstance(rows, list):
        within = ", ".join(f"{toml_key(key)} = {value}" for key, value in values.items())
        return inserted(text, (name, len(rows)), f"{{{within}}}")
    if not isinstance(rows, list):
        raise InputError([Fault(name, "is no array of tables")])
    rows.append({key: tomllib.loads(f"v = {value}")["v"] for key, value in values.items()})
    ends = [end for path, (_, end) in layout.headers.items() if path[0] == name]
    ends += [line.end for line in layout.lines if line.table[:1] == (name,)]
    place = before.find("\n", max(ends)) if ends else len(before.rstrip())
    place = len(before) if place < 0 else place
    place -= before[place - 1 : place] == "\r"
    end = line_end(before, place)
    lines = [f"[[{toml_key(name)}]]", *(f"{toml_key(k)} = {v}" for k, v in values.items())]
    rest = before[place:]
    after = f"{before[:place]}{end}{end}{end.join(lines)}{rest or end}"
    require(after, wanted, {(name, len(rows) - 1): ""})
    return mark + after


def _without_empty(document: Any, path: Path) -> None:
    """Take out what holds nothing any more and was never written for itself: an array of tables
    whose last table has gone."""
    held = value_at(document, path)[1] if path else document
    if path and held == [] and len(path) == 1:
        del document[path[0]]


Cut = tuple[int, int, str]
"""Start and end of what goes, and what is left in its place."""


def _cuts(text: str, layout: Layout, path: Path) -> Iterable[Cut]:
    if path in layout.headers or any(line.table[: len(path)] == path for line in layout.lines):
        yield from _table_cuts(text, layout, path)
        return
    line = next((one for one in layout.lines if one.path == path), None)
    if line is not None:
        yield _line_cut(text, layout, line)
    elif path in layout.values:
        yield _within_cut(text, layout, path)
    else:  # a table made of dotted keys
        yield from (
            _line_cut(text, layout, one) for one in layout.lines if one.path[: len(path)] == path
        )


def _table_cuts(text: str, layout: Layout, path: Path) -> Iterable[Cut]:
    count = len(path)
    for header, (start, end) in layout.headers.items():
        if header[:count] == path:
            close = text.index("]", end) + (2 if isinstance(header[-1], int) else 1)
            yield _whole_line(text, start, close, "")
    for line in layout.lines:
        if line.path[:count] == path:
            yield _line_cut(text, layout, line)


def _line_cut(text: str, layout: Layout, line: Line) -> Cut:
    """What goes with a key on a line of its own; comments within its value are left as lines."""
    inner = _comments_in(text, layout, line.path)
    end = line_end(text, line.start)
    return _whole_line(text, line.start, line.end, "".join(f"{one}{end}" for one in inner))


def _whole_line(text: str, start: int, stop: int, left: str) -> Cut:
    """The lines of `start` to `stop`, but for a comment behind it, which is left."""
    first = text.rfind("\n", 0, start) + 1
    feed = text.find("\n", stop)
    last = len(text) if feed < 0 else feed + 1
    rest = text[stop:last]
    return first, last, left + (rest.lstrip(_BLANK) if "#" in rest else "")


def _comments_in(text: str, layout: Layout, path: Path) -> list[str]:
    """Return the comments within a value: in its text outside the values that it holds."""
    start, end = layout.values[path]
    leaves = sorted(
        span
        for one, span in layout.values.items()
        if one[: len(path)] == path and one != path and text[span[0]] not in "[{"
    )
    found, at = [], start
    for low, high in [*leaves, (end, end)]:
        if text[start] in "[{":
            found += _COMMENT.findall(text[at:low])
        at = max(at, high)
    return found


def _within_cut(text: str, layout: Layout, path: Path) -> Cut:
    """What goes with an element of an array, or a key within braces, and one comma."""
    start, end = layout.values[path]
    around = [span for one, span in layout.values.items() if _beside(one, path)]
    if isinstance(path[-1], str):
        start = _key_start(text, layout, path, start)
    after = min((low for low, _ in around if low >= end), default=None)
    before = max((high for _, high in around if high <= start), default=None)
    feed = line_end(text, start)
    kept = "".join(f"{one}{feed}" for one in _comments_in(text, layout, path))
    if after is not None:
        stop = _comma(text, end) + 1
        while text[stop : stop + 1] in _BLANK and stop < len(text):
            stop += 1
        return start, stop, kept
    if before is not None:
        comma = _comma(text, before)
        if not text[comma + 1 : start].strip():
            return comma, end, kept
    return start, end, kept  # a comma before the end of an array is allowed


def _beside(one: Path, path: Path) -> bool:
    return len(one) == len(path) and one[:-1] == path[:-1] and one != path


def _key_start(text: str, layout: Layout, path: Path, value: int) -> int:
    """Return where a key within braces begins, whose value begins at `value`."""
    opened = layout.values[path[:-1]][0] + 1
    ends = [high for one, (_, high) in layout.values.items() if _beside(one, path) if high <= value]
    at = max(ends, default=opened)
    while text[at] in " \t,":
        at += 1
    return at


def _comma(text: str, at: int) -> int:
    """Return the place of the next comma, comments left out."""
    while text[at] != ",":
        at = text.index("\n", at) if text[at] == "#" else at + 1
    return at
