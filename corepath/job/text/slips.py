"""What is wrong with a line that is not TOML, in the words of whoever typed it.

A parser stops where it can go no further and says what it had hoped for; the slip is often before
that. Here the usual slips are looked for at that place: a decimal comma, a missing comma, a
fraction, a unit, missing quotes. Lines and columns count from 1.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

__all__ = ["Slip", "decimal_comma", "fraction", "slip_at"]

_COMMA = re.compile(r"[+-]?\d*,\d+")
_FRACTION = re.compile(r"(?:(\d+)[ -])?(\d+)/([1-9]\d*)")


class Slip(NamedTuple):
    """What is wrong in `line`: the words, what stands there, and what belongs there."""

    message: str
    value: str
    allowed: str
    line: int


class _Place(NamedTuple):
    """The lines of a file, and where its reader stopped."""

    lines: Sequence[str]
    line: int
    column: int

    @property
    def text(self) -> str:
        return self.lines[self.line - 1] if self.line <= len(self.lines) else ""

    @property
    def rest(self) -> str:
        return _bare(self.text[self.column - 1 :])

    @property
    def value(self) -> str:
        """What stands after the = of the line."""
        return _bare(self.text.partition("=")[2])

    @property
    def token(self) -> str:
        """What stands where the reader stopped, up to a blank, comma or bracket."""
        found = re.match(r"[^\s,\]}#]*", self.rest)
        return found[0] if found else ""

    def slip(self, message: str, value: str, allowed: str) -> Slip:
        return Slip(message, value, allowed, self.line)


def _bare(text: str) -> str:
    """Return the text without its comment and the blanks round it."""
    return re.sub(r"\s+#.*$", "", text).strip()


def slip_at(message: str, lines: Sequence[str], line: int, column: int) -> Slip | None:
    """Returns the slip for a reader's `message`, or None where none of the usual ones fits."""
    place = _Place(lines, line, column)
    for start, look in _LOOKS.items():
        if message.startswith(start):
            return next(look(place), None)
    return None


def decimal_comma(text: str) -> str:
    """Returns what is wrong with a number typed with a decimal comma; "" where it has none."""
    if not _COMMA.fullmatch(text.strip()):
        return ""
    # a number needs a digit before its point
    number = re.sub(r"(?<!\d),", "0.", text).replace(",", ".")
    return f"has a decimal comma: write {number}"


def fraction(text: str) -> float | None:
    """Returns the number that a fraction such as 3/8 or 1-1/4 stands for; None where it is none."""
    found = _FRACTION.fullmatch(text.strip())
    return None if found is None else int(found[1] or 0) + int(found[2]) / int(found[3])


_NUMBER = r"[+-]?\d+(?:\.\d+)?"


def _after_value(place: _Place) -> Iterator[Slip]:
    """Yield what may be wrong where more stands on a line than a key and its value."""
    value, slip = place.value, place.slip
    if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+(\.\d+)?", value):
        whole = value.replace(",", "")
        allowed = whole if "." in value or value.count(",") > 1 else _either(value, whole)
        yield slip("has a comma in a number", value, allowed)
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        yield slip("has a decimal comma; a number takes a point", value, value.replace(",", "."))
    if re.fullmatch(r"[+-]?\d+\.", value):
        yield slip("has no digit after the point", value, f"{value}0")
    begins = _FRACTION.match(value)
    if begins and (number := fraction(begins[0])) is not None:
        yield slip("has a fraction", value, f"{number:.6g}")
    if found := re.fullmatch(rf"({_NUMBER})\s*([A-Za-z\"'′″]+)", value):
        yield slip("has a unit: a number stands alone, in the job's units", value, found[1])
    if re.fullmatch(r"[+-]?0\d+(\.\d+)?", value):
        yield slip("begins with a zero", value, re.sub(r"0+(?=\d)", "", value, count=1))
    if re.search(r"[\w\"']\s*=", place.rest):
        yield slip("has two keys on one line", place.rest, "each key on a line of its own")
    if value.count("]") > value.count("["):
        yield slip("has a ] too many", value, "one ] for each [")
    yield slip("has more on the line than one value", place.rest, "a key, = and its value")


def _either(value: str, whole: str) -> str:
    return f"{value.replace(',', '.')} with a point, or {whole} without a sign for thousands"


_TRUE = {"true": "true", "yes": "true", "on": "true", "false": "false", "no": "false"}


def _no_value(place: _Place) -> Iterator[Slip]:
    """Yield what may be wrong with something that is no value."""
    token, slip = place.token, place.slip
    if not token:
        says = "has a comma too many" if place.rest.startswith(",") else "has no value"
        yield slip(says, "", "a value after the =")
    if found := re.fullmatch(r"([+-]?)(\.\d+)", token):
        yield slip("has no digit before the point", token, f"{found[1]}0{found[2]}")
    if found := re.fullmatch("[“”„‘’‚«»](.*?)[“”„‘’‚«»]?", token):
        yield slip("has the quotes of a word processor", token, f'"{found[1]}", in plain quotes')
    if token.lower() in _TRUE:
        yield slip("is true or false, in small letters", token, _TRUE[token.lower()])
    text = place.value if place.text.partition("=")[2].strip().startswith(token) else token
    yield slip("is text without quotes", text, f'"{text}"')


def _list(place: _Place) -> Iterator[Slip]:
    """Yield what may be wrong in a list: a comma is missing, or the end."""
    before = _so_far(place)
    last = re.search(r"\S+$", before)
    # a value where a comma or the end was hoped for; a key or a header begins with neither
    begins = re.match(rf"{_NUMBER}|\[|\"|'|true|false", place.rest)
    if last and begins and not re.match(r"\[+[A-Za-z_]", place.rest):
        one, two = last[0].lstrip("["), place.token or place.rest[:1]
        one, two = one[one.rfind(",") + 1 :], two[:1] if two.startswith("[") else two
        yield place.slip("has no comma between two values", "", f"{one}, {two}")
    opened = next(
        (k for k in range(place.line, 0, -1) if re.search(r"=\s*\[", _line(place, k))), place.line
    )
    yield Slip("has a list without its end", "", "a ] for each [", opened)


def _line(place: _Place, number: int) -> str:
    return place.lines[number - 1] if number <= len(place.lines) else ""


def _so_far(place: _Place) -> str:
    """Return what stands before the place where the reader stopped, without comments."""
    here = place.text[: place.column - 1]
    above = [_bare(text) for text in place.lines[max(0, place.line - 20) : place.line - 1]]
    return " ".join([*above, here]).rstrip()


def _quotes(place: _Place) -> Iterator[Slip]:
    value = place.value or place.text.strip()
    mark = value[:1] if value[:1] in ("'", '"') else '"'
    yield place.slip("has text without its closing quote", value, f"{value}{mark}")


def _equals(place: _Place) -> Iterator[Slip]:
    name = re.match(r"[\w.\" -]*[\w\"]", place.text.strip())
    if name is None:
        return
    value = place.rest.lstrip(":= ")
    says = "has : where = belongs" if place.rest.startswith(":") else "has no ="
    yield place.slip(says, "", f"{_bare(place.text[: place.column - 1])} = {value or 'a value'}")


def _twice(place: _Place) -> Iterator[Slip]:
    header = re.match(r"\s*(\[\[?)([^\[\]]+)", place.text)
    if header is None:
        yield place.slip("stands here a second time", "", "each key once in a table")
        return
    name = header[2].strip()
    arrayed = any(re.match(rf"\s*\[\[\s*{re.escape(name)}\s*\]\]", text) for text in place.lines)
    allowed = f"[[{name}]] for each" if arrayed else f"all keys under one [{name}]"
    yield place.slip("is a table that stands here a second time", f"[{name}]", allowed)


def _header(place: _Place) -> Iterator[Slip]:
    found = re.match(r"\s*(\[\[?)\s*([\w.-]+)", place.text)
    if found is not None:
        closed = f"{found[1]}{found[2]}{']' * len(found[1])}"
        yield place.slip("is no header of a table", _bare(place.text), closed)


def _backslash(place: _Place) -> Iterator[Slip]:
    value = place.value
    yield place.slip("has a backslash in text", value, value.replace("\\", "/"))


_LOOKS: dict[str, Callable[[_Place], Iterator[Slip]]] = {
    "Expected newline or end of document": _after_value,
    "Invalid value": _no_value,
    "Unclosed array": _list,
    "Illegal character '\\n'": _quotes,
    'Expected "\'"': _quotes,
    "Expected '=' after a key": _equals,
    "Cannot overwrite a value": _twice,
    "Cannot declare": _twice,
    "Expected ']' at the end of a table": _header,
    "Expected ']]' at the end of an array": _header,
    "Unescaped '\\'": _backslash,
}
"""By how a message of `tomllib` begins."""
