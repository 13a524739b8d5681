"""Find line and column of each key of a TOML text: a scanner beside `tomllib`, which gives values
only.

A *path* leads to a value in the parsed document: a tuple of keys (str) and of indices into arrays
(int, from 0). A *position* is line and column, both from 1, counted in characters, and the width of
the key or, for an element of an array, of its value on that line. The scanner expects a text that
`tomllib` has accepted; it does not check it.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["Layout", "Line", "Path", "Position", "Positions", "layout_of", "scan"]

Path = tuple[str | int, ...]

_BLANK = " \t"
_BARE_END = frozenset(" \t.=]\n#,{}")
_SCALAR_END = frozenset(",]}\n#")


@dataclass(frozen=True, slots=True)
class Position:
    """Line and column from 1; `width` in characters, at least 1."""

    line: int
    column: int
    width: int


@dataclass(frozen=True, slots=True)
class Positions:
    """The positions of all keys and array elements of one text."""

    places: Mapping[Path, Position]

    def find(self, path: Path) -> Position | None:
        """Return the position of exactly this path, or None."""
        return self.places.get(path)

    def nearest(self, path: Path) -> Position | None:
        """Return the position of this path or, where it is not in the text, of the nearest table
        that contains it; None where there is none."""
        for count in range(len(path), 0, -1):
            found = self.places.get(path[:count])
            if found is not None:
                return found
        return None


@dataclass(frozen=True, slots=True)
class Line:
    """A key with its value on a line of its own, not inside `{}`: the `table` whose header it
    stands under, its whole `path`, and where the key starts and the value ends in the text."""

    table: Path
    path: Path
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the parts of a text stand, as indices into it, for whoever changes it.

    `values` are start and end of the text of each value, `headers` of each header without its
    brackets' line end, `lines` all keys outside `{}`, in the order of the text.
    """

    values: Mapping[Path, tuple[int, int]]
    headers: Mapping[Path, tuple[int, int]]
    lines: tuple[Line, ...]


def layout_of(text: str) -> Layout:
    """Return where all values, headers and lines of a valid TOML text stand; lines may end in a
    line feed with or without a carriage return.

    >>> layout_of("a = [1, 20]  # two").values["a", 1]
    (8, 10)
    """
    scanner = _Scanner(text)
    scanner.run()
    return Layout(scanner.values, scanner.headers, tuple(scanner.lines))


def scan(text: str) -> Positions:
    """Return the positions of all keys, tables and array elements of a valid TOML text.

    >>> scan('[board]\\nthickness = 11.0\\n').find(("board", "thickness"))
    Position(line=2, column=1, width=9)
    """
    scanner = _Scanner(text)
    scanner.run()
    return Positions(MappingProxyType(scanner.places))


@dataclass(frozen=True, slots=True)
class _Key:
    name: str
    start: int
    end: int


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.places: dict[Path, Position] = {}
        self.values: dict[Path, tuple[int, int]] = {}
        self.headers: dict[Path, tuple[int, int]] = {}
        self.lines: list[Line] = []
        self.lengths: dict[Path, int] = {}
        self.table: Path = ()
        self.starts = [0] + [i + 1 for i, letter in enumerate(text) if letter == "\n"]

    def run(self) -> None:
        while True:
            self._skip_space()
            if self.at >= len(self.text):
                return
            if self.text[self.at] == "[":
                self._header()
            else:
                start = self.at
                path = self._pair(self.table)
                self.lines.append(Line(self.table, path, start, self.values[path][1]))

    def _note(self, path: Path, start: int, end: int, anew: bool = False) -> None:
        # The first place counts: `a.b.c` names a and a.b again on every line. Only a header of its
        # own, [a.b], is a better place for a table than the longer header that first implied it.
        if path in self.places and not anew:
            return
        line = bisect_right(self.starts, start)
        # a value over several lines is marked on its first line only
        newline = self.text.find("\n", start, end)
        width = max((end if newline < 0 else newline) - start, 1)
        self.places[path] = Position(line, start - self.starts[line - 1] + 1, width)

    def _peek(self, ahead: str) -> bool:
        return self.text.startswith(ahead, self.at)

    def _skip_blank(self) -> None:
        while self.at < len(self.text) and self.text[self.at] in _BLANK:
            self.at += 1

    def _skip_line(self) -> None:
        end = self.text.find("\n", self.at)
        self.at = len(self.text) if end < 0 else end

    def _skip_space(self) -> None:
        """Skip blanks, line ends and comments."""
        while self.at < len(self.text):
            letter = self.text[self.at]
            if letter == "#":
                self._skip_line()
            elif letter in " \t\n\r":
                self.at += 1
            else:
                return

    def _header(self) -> None:
        start, is_array = self.at, self._peek("[[")
        self.at += 2 if is_array else 1
        keys = self._keys()
        self._skip_line()
        path: Path = ()
        for key in keys[:-1]:
            path = self._enter((*path, key.name), key)
        last = keys[-1]
        path = (*path, last.name)
        self._note(path, last.start, last.end, anew=not is_array)
        if is_array:
            place = self.lengths.get(path, 0)
            self.lengths[path] = place + 1
            path = (*path, place)
            self._note(path, last.start, last.end)
        self.headers[path] = (start, last.end)
        self.table = path

    def _enter(self, path: Path, key: _Key) -> Path:
        """Return the table that `path` means in a header: of an array of tables, its latest."""
        self._note(path, key.start, key.end)
        return (*path, self.lengths[path] - 1) if path in self.lengths else path

    def _keys(self) -> list[_Key]:
        keys = []
        while True:
            self._skip_blank()
            start = self.at
            letter = self.text[start : start + 1]
            if letter in {'"', "'"}:
                self._string()
                raw = self.text[start : self.at]
                keys.append(_Key(_unquoted(raw), start, self.at))
            else:
                while self.at < len(self.text) and self.text[self.at] not in _BARE_END:
                    self.at += 1
                keys.append(_Key(self.text[start : self.at], start, self.at))
            self._skip_blank()
            if not self._peek("."):
                return keys
            self.at += 1

    def _pair(self, table: Path) -> Path:
        path = table
        for key in self._keys():
            path = (*path, key.name)
            self._note(path, key.start, key.end)
        # over the equals sign
        self.at += 1
        self._skip_blank()
        self._value(path)
        return path

    def _value(self, path: Path) -> None:
        start = self.at
        self._skip_value(path)
        self.values[path] = (start, self.at)

    def _skip_value(self, path: Path) -> None:
        if self._peek("["):
            self._array(path)
        elif self._peek("{"):
            self._inline(path)
        elif self._peek('"') or self._peek("'"):
            self._string()
        else:
            # A number, date or boolean. A date may hold a blank (2026-05-17 10:00), so blanks do
            # not end it; those at its end are taken off again.
            start = self.at
            while self.at < len(self.text) and self.text[self.at] not in _SCALAR_END:
                self.at += 1
            self.at = start + len(self.text[start : self.at].rstrip())

    def _array(self, path: Path) -> None:
        self.at += 1
        place = 0
        while True:
            self._skip_space()
            if self.at >= len(self.text) or self._peek("]"):
                self.at += 1
                return
            start = self.at
            element = (*path, place)
            self._value(element)
            self._note(element, start, self.at)
            place += 1
            self._skip_space()
            if self._peek(","):
                self.at += 1

    def _inline(self, path: Path) -> None:
        self.at += 1
        while True:
            self._skip_space()
            if self.at >= len(self.text) or self._peek("}"):
                self.at += 1
                return
            self._pair(path)
            self._skip_space()
            if self._peek(","):
                self.at += 1

    def _string(self) -> None:
        quote = self.text[self.at]
        fence = quote * 3 if self._peek(quote * 3) else quote
        self.at += len(fence)
        while self.at < len(self.text) and not self._peek(fence):
            # an escaped quote does not end a basic string; literal strings have no escapes
            self.at += 2 if quote == '"' and self.text[self.at] == "\\" else 1
        self.at += len(fence)
        # A multi-line string may end in one or two quotes of its own before the closing three.
        extra = 0
        while len(fence) == 3 and extra < 2 and self._peek(quote):
            self.at += 1
            extra += 1


def _unquoted(raw: str) -> str:
    if raw.startswith("'"):
        return raw[1:-1]
    # JSON reads the same escapes but for these, which cost a parse by tomllib.
    if "\\U" not in raw and "\\e" not in raw and "\t" not in raw:
        return str(json.loads(raw))
    import tomllib

    return next(iter(tomllib.loads(f"{raw} = 0")))
