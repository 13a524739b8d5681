"""Figures with units in text: the one place that knows how a length reads in a job in mm and in one
in inches.

Everything is calculated in mm. Text about it is made far from where it is shown, by code that does
not know the job's units, and goes two ways: into `report.json` and to programs, in mm, and to
people, in the job's units. So a figure is put into an f-string *marked*, `f"{mm(depth):.2f} deep"`,
and the text is turned into the one or the other where it leaves:

- `Said(text)` is the text in mm that remembers its marks: equal to a plain text in mm and written
  as such by `json`. What hands text out (checks, findings, faults, advice) hands out these; inside
  another f-string it goes as `marked(said)`;
- `Units.text(text)` is the text in a job's units. What is printed and what is drawn goes through it
  last.

Format specifications are those of floats, with `~` at the end for the unit behind the figure:
`{mm(x):.2f~}` gives `8.40 mm` or `0.3307 in`. In inches a figure gets as many places as it needs to
be about as fine: 2 for whole mm, 3 for one place, 4 for two and three. `:g` is a figure *as typed*
into a job: four places, without zeros at the end; `:.2n` is `:.2f` without them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

__all__ = [
    "AREA", "INCH", "MM", "MM_PER_INCH", "UNIT", "Said", "Units", "cubic_cm_per_min", "either",
    "feed", "in_unit", "marked", "mm", "out_of_level", "plain", "rim_speed", "said_all",
    "square_cm", "square_mm", "unit_word", "units_of", "with_minus",
]  # fmt: skip

MM_PER_INCH = 25.4

# Noncharacters (Unicode, 23.7): a text that a person wrote cannot contain them. A job that does is
# refused (`plain_text`), so a mark is never confused with what was typed.
_BEGIN, _END, _BETWEEN, _SPACE = "\ufdd0", "\ufdd1", "\ufdd2", "\ufdd3"
_MINUS = "\N{MINUS SIGN}"
_MARK = re.compile(f"{_BEGIN}([^{_END}]*){_END}")


class _Kind(NamedTuple):
    """How one kind of figure reads: its unit in a mm and in an inch job, and the mm figure that is
    one in inches.

    `places[k]` are the decimals in inches of a figure that has k in mm, `typed` those of a figure
    as it is typed into a job.
    """

    mm: str
    inch: str
    inches: float
    places: tuple[int, ...]
    typed: int


_KINDS = {
    "length": _Kind("mm", "in", MM_PER_INCH, (2, 3, 4, 4, 5), 4),
    "feed": _Kind("mm/min", "in/min", MM_PER_INCH, (1, 2, 3, 4, 4), 2),
    "mm2": _Kind("mm²", "in²", MM_PER_INCH**2, (3, 4, 5, 5, 5), 4),
    "cm2": _Kind("cm²", "in²", MM_PER_INCH**2 / 100.0, (1, 2, 3, 4, 5), 3),
    "removal": _Kind("cm³/min", "in³/min", MM_PER_INCH**3 / 1000.0, (2, 3, 4, 4, 4), 3),
    "speed": _Kind("m/min", "ft/min", 0.3048, (0, 1, 2, 3, 4), 1),
    # 1 mm/m is 0.012 in/ft
    "level": _Kind("mm/m", "in/ft", 1000.0 / 12.0, (2, 3, 4, 5, 5), 4),
}


class _Figure(float):
    """A figure that marks itself when it is put into text."""

    kind = "length"

    def __format__(self, spec: str) -> str:
        # `repr` keeps all digits: it is rounded only once, in the units in which it is shown.
        return f"{_BEGIN}{self.kind}{_BETWEEN}{float(self)!r}{_BETWEEN}{spec}{_END}"


def _maker(name: str) -> Callable[[float], _Figure]:
    made: type[_Figure] = type("_Figure", (_Figure,), {"kind": name})
    return made


mm = _maker("length")
"""A length, mm."""

feed = _maker("feed")
"""A feed, mm/min."""

square_mm = _maker("mm2")
"""An area, mm²."""

square_cm = _maker("cm2")
"""An area in cm²; square inches in an inch job."""

cubic_cm_per_min = _maker("removal")
"""A removal rate in cm³/min; cubic inches a minute in an inch job."""

out_of_level = _maker("level")
"""How far out of level, mm a metre; inches a foot in an inch job."""


rim_speed = _maker("speed")
"""Speed of an edge, m/min; feet a minute in an inch job."""


_IN: dict[str, Callable[[float], _Figure]] = {
    "mm": mm,
    "mm²": square_mm,
    "cm³/min": cubic_cm_per_min,
    "m/min": rim_speed,
}


def in_unit(value: float, unit: str) -> float:
    """Return a figure of the report, whose unit is `unit`: marked where an inch job shows it in
    another unit, otherwise unchanged."""
    return _IN[unit](value) if unit in _IN else value


def either(in_mm: str, in_inches: str) -> str:
    """Return a mark for words that differ with the units, such as the heading of a table."""
    # Without spaces a wrapper takes the whole mark for one word and never breaks it in the middle.
    return f"{_BEGIN}either{_BETWEEN}{in_mm}{_BETWEEN}{in_inches}{_END}".replace(" ", _SPACE)


UNIT, AREA = either("mm", "in"), either("mm²", "in²")
"""The units of lengths and of areas behind a heading."""

_WORDS = {
    "mm": UNIT,
    "mm²": AREA,
    "m/min": either("m/min", "ft/min"),
    "cm³/min": either("cm³/min", "in³/min"),
}


def unit_word(unit: str) -> str:
    """Return a unit of the report as people read it: in an inch job the one into which `in_unit`
    converts its figures."""
    return _WORDS.get(unit, unit)


@dataclass(frozen=True, slots=True)
class Units:
    """The units in which people read figures: `name` is the job's `units`, `short` the unit,
    `words` its name in a heading."""

    name: str
    short: str
    words: str

    @property
    def inch(self) -> bool:
        return self.name == "inch"

    @property
    def scale(self) -> float:
        """mm in one of these units."""
        return MM_PER_INCH if self.inch else 1.0

    def text(self, text: str) -> str:
        """Return the text with all marked figures in these units, as it is printed or drawn.

        >>> INCH.text(f"{mm(25.4):.2f~} deep")
        '1.0000 in deep'
        """
        marks = marked(text)
        return _MARK.sub(self._shown, marks) if _BEGIN in marks else marks

    def figure(self, value: float, spec: str = ".2f") -> str:
        """Return a length in mm as text in these units."""
        return self._figure("length", value, spec)

    def scaled(self, value: float) -> float:
        """Return a length in mm as a number in these units."""
        return value / self.scale

    def _shown(self, mark: re.Match[str]) -> str:
        kind, one, other = mark[1].split(_BETWEEN)
        if kind == "either":
            return (other if self.inch else one).replace(_SPACE, " ")
        return self._figure(kind, float(one), other)

    def _figure(self, kind: str, value: float, spec: str) -> str:
        # A specification of our own (see the module) is taken apart before `format` sees the rest:
        # a leading minus sign from `with_minus`, `~` for the unit, `n` for no idle zeros.
        held, unit, minus = _KINDS[kind], "", spec.startswith(_MINUS)
        spec = spec.removeprefix(_MINUS)
        if spec.endswith("~"):
            spec, unit = spec[:-1], f" {held.inch if self.inch else held.mm}"
        bare = spec.endswith("n")
        spec = spec[:-1] + "f" if bare else spec
        text = _in_inches(value / held.inches, spec, held) if self.inch else format(value, spec)
        text = _without_zeros(text) if bare else text
        # A small negative figure rounds to "-0.00", which reads like a fault.
        text = text.removeprefix("-") if not text.strip("-0.") else text
        return (text.replace("-", _MINUS) if minus else text) + unit


def _in_inches(value: float, spec: str, kind: _Kind) -> str:
    sign = "+" if spec.startswith("+") else ""
    if spec.endswith("f"):
        places = kind.places[min(int(spec.rpartition(".")[2][:-1]), len(kind.places) - 1)]
        text = f"{value:{sign}.{places}f}"
    else:
        text = f"{value:{sign}.{kind.typed}f}"
        text = _without_zeros(text)
    return text


def plain(value: float, places: int) -> str:
    """Return a number with at most `places` decimals, without zeros at the end, never "-0".

    >>> plain(12.50, 2), plain(-0.001, 2), plain(3.0, 2)
    ('12.5', '0', '3')
    """
    return _without_zeros(f"{value:.{places}f}")


def _without_zeros(text: str) -> str:
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


MM = Units("mm", "mm", "mm")
INCH = Units("inch", "in", "inches")


def units_of(name: str) -> Units:
    """Return the units of a job by the value of its key `units`."""
    return INCH if name == "inch" else MM


class Said(str):
    """A text in mm that remembers which of its figures are what: see the module."""

    marked: str

    def __new__(cls, text: str) -> Said:
        # The string itself is the text in mm, so that `json`, `==` and hashing need to know nothing
        # of marks. An f-string copies only that: there `marked(said)` must be written.
        marks = marked(text)
        made = super().__new__(cls, MM.text(marks))
        made.marked = marks
        return made

    def __add__(self, other: str) -> Said:
        return Said(self.marked + marked(other))

    def __radd__(self, other: str) -> Said:
        return Said(marked(other) + self.marked)


def said_all(lines: Iterable[str]) -> tuple[Said, ...]:
    """Return each of the lines as a text that remembers its marks."""
    return tuple(Said(line) for line in lines)


def with_minus(text: str) -> str:
    """Return the text with a minus sign instead of a hyphen before figures below 0, marked ones
    too."""
    # Inside a mark the sign is not there yet: it is asked for at the front of the specification.
    parts = re.split(f"({_BEGIN}[^{_END}]*{_END})", marked(text))
    return "".join(
        _minus_mark(part) if part.startswith(_BEGIN) else part.replace("-", _MINUS)
        for part in parts
    )


def _minus_mark(mark: str) -> str:
    kind, one, other = mark[1:-1].split(_BETWEEN)
    return (
        mark
        if kind == "either"
        else f"{_BEGIN}{kind}{_BETWEEN}{one}{_BETWEEN}{_MINUS}{other}{_END}"
    )


def marked(text: str) -> str:
    """Return the text with its marks, if it has any: a `Said` in an f-string goes through this."""
    return text.marked if isinstance(text, Said) else text
