"""The text of a job file: read from disk, parsed as TOML, and quoted in messages.

Paths are tuples of keys and of indices from 0, as in `corepath.job.text.positions`; users see them
as keys, with tables and elements counted from 1: `plug[2].at[1]`.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Any

from corepath.errors import Fault
from corepath.job.text.positions import Path, Position, Positions, scan
from corepath.job.text.regular import TooLarge, read_regular, size_text
from corepath.job.text.slips import slip_at
from corepath.lengths import units_of

__all__ = [
    "LARGEST_TEXT", "Source", "key_of", "locate", "parse", "path_of", "read_source", "read_text",
    "shown", "value_at",
]  # fmt: skip

_PART = re.compile(r"\[(\d+)\]|\"((?:[^\"\\]|\\.)*)\"|([^.\[\]\"]+)")
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_HEADER = re.compile(r"\s*(\[\[?)\s*([\w.-]+)\s*\]")
_BARE = re.compile(r"[A-Za-z0-9_-]+$")
# Possessive quantifiers (++, *+): without backtracking a text of dots alone takes linear time.
_DOTTED = re.compile(r"[\w\"'-]++(?:[ \t]*+\.[ \t]*+[\w\"'-]++)*+")
_DEEPEST = 40  # parts of a dotted key; the time to read one grows with their square
_LONGEST = 48
LARGEST_TEXT = 8 * 2**20
"""bytes of a file that a person types: a job, a record, a list of measured places."""


@dataclass(frozen=True, slots=True)
class Source:
    """One job file as text: `file` as messages name it, the parsed document and the positions of
    its keys.

    A job that names a shop file is *joined* with it (`corepath.job.text.shop_file`): `document`
    then holds the keys of both, `shop` is the other file, `origins` leads from each path of the
    document that stands there to its path in that file, and `beside` from each table that stands
    in both. Files that it names lie in `folder`; beside it where that is None.
    """

    file: str
    text: str
    document: dict[str, Any] = field(default_factory=dict)
    positions: Positions = field(default_factory=lambda: Positions({}))
    shop: Source | None = None
    origins: Mapping[Path, Path] = field(default_factory=dict)
    beside: Mapping[Path, Path] = field(default_factory=dict)
    folder: FilePath | None = None

    def position(self, key: str) -> Position | None:
        """Return the position of a key, or of the nearest table that contains it; None where the
        text has neither."""
        return self.positions.nearest(path_of(key))

    def in_shop(self, path: Path) -> Path | None:
        """Return the path in the shop file of a value that stands there; None for any other."""
        for count in range(len(path), 0, -1):
            if path[:count] in self.origins:
                return (*self.origins[path[:count]], *path[count:])
            if self.positions.find(path[:count]) is not None:
                return None
        return None

    def place(self, fault: Fault) -> Fault:
        """Return the fault with file and line of its key and the value there filled in; its key is
        that of the shop file where it stands there."""
        path = path_of(fault.key)
        theirs = None if fault.file else self.in_shop(path)
        if self.shop is not None and theirs is not None:
            return self.shop.place(replace(fault, key=key_of(theirs)))
        found = self.positions.nearest(path)
        line = fault.line if fault.line is not None else (found.line if found else None)
        value = fault.value
        if not value and path:
            present, held = value_at(self.document, path)
            value = shown(held) if present and not isinstance(held, dict) else ""
        # messages speak in the units of the file
        units = units_of(str(self.document.get("units", "mm")))
        says, value, allowed = (units.text(text) for text in (fault.message, value, fault.allowed))
        return replace(
            fault,
            message=says,
            value=value,
            allowed=allowed,
            file=fault.file or self.file,
            line=line,
        )

    def quote(self, fault: Fault) -> tuple[str, int, int] | None:
        """Return the line of the fault, and column (from 1) and width of what is wrong in it; None
        without a line."""
        lines = self.text.split("\n")
        if fault.line is None or not 1 <= fault.line <= len(lines):
            return None
        # one blank for each tab, so that columns count as in the text
        text = lines[fault.line - 1].expandtabs(1)
        found = self.position(fault.key)
        if found is not None and found.line == fault.line:
            return text, found.column, found.width
        indent = len(text) - len(text.lstrip())
        return text, indent + 1, max(len(text.strip()), 1)


def locate(faults: Iterable[Fault], source: Source | None) -> list[Fault]:
    """Return faults with file and line filled in, one for each key and message, in the order of the
    file; those of a shop file after those of the job.

    A fault without a file comes from a later stage; it is left out where its key was found wrong
    before, since it is then a consequence.
    """
    faults = list(faults)
    before = {(fault.file, fault.key) for fault in faults if fault.file and fault.key}
    unique: dict[tuple[str, str, str], Fault] = {}
    for fault in faults:
        placed = source.place(fault) if source else fault
        if fault.file or (placed.file, placed.key) not in before:
            unique.setdefault((placed.file, placed.key, placed.message), placed)
    shop = source.shop.file if source is not None and source.shop is not None else None
    return sorted(
        unique.values(), key=lambda one: (one.file == shop, one.line is None, one.line or 0)
    )


def read_text(path: FilePath) -> tuple[str, list[Fault]]:
    """Return the text of a UTF-8 file, at most `LARGEST_TEXT` bytes, or "" and the fault that
    prevents it."""
    file = str(path)
    try:
        data = read_regular(path, LARGEST_TEXT)
    except IsADirectoryError:
        return "", [Fault("", "is a folder, not a job file", file=file, allowed="a TOML file")]
    except FileNotFoundError:
        return "", [Fault("", "there is no such file", file=file, allowed="an existing TOML file")]
    except PermissionError:
        return "", [Fault("", "may not be read: no permission", file=file)]
    except TooLarge:
        allowed = f"at most {size_text(LARGEST_TEXT)}"
        return "", [Fault("", "is far too large for a job file", file=file, allowed=allowed)]
    except (OSError, ValueError) as error:
        return "", [
            Fault("", f"cannot be read: {getattr(error, 'strerror', None) or error}", file=file)
        ]
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        says = f"is not UTF-8: the byte at position {error.start} does not belong there"
        return "", [
            Fault(
                "",
                says,
                value=f"0x{data[error.start]:02x}",
                allowed="UTF-8 text",
                file=file,
                line=line,
            )
        ]
    return text, []


def parse(text: str, file: str) -> tuple[Source | None, list[Fault]]:
    """Return the text as a TOML document with positions, or None and the fault that prevents it."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    if any(found[0].count(".") > _DEEPEST for found in _DOTTED.finditer(text)):
        return None, [Fault("", "is nested too deeply", file=file)]
    try:
        document = tomllib.loads(text)
        return Source(file, text, document, scan(text)), []
    except tomllib.TOMLDecodeError as error:
        return None, [_not_toml(str(error), text, file)]
    except RecursionError:
        return None, [Fault("", "is nested too deeply", file=file)]
    except ValueError:
        return None, [Fault("", "holds a number with far too many digits", file=file)]


def read_source(path: FilePath) -> tuple[Source | None, list[Fault]]:
    """Return the job file as text and document, or None and the faults that prevent it."""
    text, faults = read_text(path)
    return (None, faults) if faults else parse(text, str(path))


def _not_toml(message: str, text: str, file: str) -> Fault:
    place = _PLACE.search(message)
    says = _PLACE.sub("", message)
    if place is None:
        return Fault("", f"is not TOML: {says}", file=file)
    lines = text.split("\n")
    line = int(place.group(1)) if place.group(1) else len(lines)
    column = int(place.group(2)) if place.group(2) else len(lines[-1]) + 1
    slip = slip_at(says, lines, line, column)
    if slip is not None:
        key = _key_in(lines, slip.line)
        return Fault(key, slip.message, slip.value, slip.allowed, file, slip.line)
    return Fault("", f"is not TOML: {says}, line {line}, column {column}", file=file, line=line)


def _key_in(lines: Sequence[str], line: int) -> str:
    """Return the key of a line that cannot be read, after its table: `board.thickness`; "" where
    there is none."""
    found = re.match(r"\s*([A-Za-z0-9_-]+)\s*[=:]?", lines[line - 1])
    if found is None:
        return ""
    headers = [head for text in lines[:line] if (head := _HEADER.match(text)) is not None]
    if not headers:
        return found[1]
    name, arrayed = headers[-1][2], headers[-1][1] == "[["
    count = sum(head[2] == name for head in headers)
    return f"{name}{f'[{count}]' if arrayed else ''}.{found[1]}"


def key_of(path: Sequence[str | int]) -> str:
    """Return a path as the user would write it, elements counted from 1.

    >>> key_of(("plug", 1, "at", 0))
    'plug[2].at[1]'
    """
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            escaped = part.replace("\\", "\\\\").replace('"', '\\"')
            name = part if _BARE.match(part) else f'"{escaped}"'
            text += f".{name}" if text else name
    return text


def path_of(key: str) -> Path:
    """Return the path from which `key_of` made this key.

    >>> path_of("plug[2].at[1]")
    ('plug', 1, 'at', 0)
    """
    parts: list[str | int] = []
    for place, quoted, bare in _PART.findall(key):
        if place:
            parts.append(int(place) - 1)
        else:
            parts.append(bare or re.sub(r"\\(.)", r"\1", quoted))
    return tuple(parts)


def value_at(document: Any, path: Path) -> tuple[bool, Any]:
    """Return whether the document has a value at the path, and that value (None without one)."""
    held = document
    for part in path:
        inside = (
            part in held
            if isinstance(held, dict)
            else isinstance(held, list) and _is_place(part, held)
        )
        if not inside:
            return False, None
        held = held[part]
    return True, held


def _is_place(part: str | int, held: list[Any]) -> bool:
    return isinstance(part, int) and 0 <= part < len(held)


def shown(value: Any) -> str:
    """Return a value as it might be written in the file, cut to a readable length."""
    text = _as_toml(value)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


def _as_toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        clean = "".join(
            letter if letter.isprintable() else f"\\u{ord(letter):04x}" for letter in value
        )
        return f'"{clean}"'
    if isinstance(value, int):
        # Python raises ValueError for the text of an integer of more than 4300 digits.
        return str(value) if abs(value) < 10**40 else "an enormous whole number"
    if isinstance(value, float):
        if math.isnan(value):
            return "nan"
        return repr(value)
    if isinstance(value, list):
        return "[" + ", ".join(_as_toml(item) for item in value[:_LONGEST]) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{name} = {_as_toml(item)}" for name, item in value.items()) + "}"
    return str(value)
