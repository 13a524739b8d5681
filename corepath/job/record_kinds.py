"""The kinds of entry that an as-cut record may hold, and what each of them says.

An *entry* is one thing measured or done at the machine: a value with the place, casting, operation, cutter or pass that
it belongs to. Places are in the board frame (X along the length, Y across, origin at the middle of the blank), lengths
in mm. A *stage* is how far the work has come: "blank" before anything is cut, "A" while groove and pockets are cut,
"cast" once resin is in, "B" once the skim has begun, "inserts" once they are bored, "C" once the deck is cut.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "KINDS", "OPERATIONS", "STAGES", "Entry", "Kind", "describe", "figure", "operation_and_pass", "place_words",
    "subject",
]  # fmt: skip

STAGES = ("blank", "A", "cast", "B", "inserts", "C")

OPERATIONS = (
    "dowels", "plug-pockets", "groove", "flush", "skim", "inserts", "deck-rough", "deck", "trim", "bolt-holes",
)  # fmt: skip
"""All operations in the order they are cut."""

_SKIM_PASS = re.compile(r"^skim-pass-([1-9][0-9]{0,3})$")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry, lengths in mm. `n`, `date` and `stage` are filled in when it is added.

    `value` is a length but for `top-up` (see `unit`: "g", or "mm" raised) and `moisture` (%). `number` is the pass of
    a stop or of a cut of the skim, `plane` the height of that pass above the bed, where it was known. `corrects` is
    the entry that this one replaces; `nominal` the width that a coupon's groove should have had.
    """

    kind: str
    value: float | None = None
    at: tuple[float, float] | None = None
    casting: str | None = None
    operation: str | None = None
    cutter: int | None = None
    number: int | None = None
    plane: float | None = None
    nominal: float | None = None
    unit: str | None = None
    corrects: int | None = None
    note: str = ""
    n: int = 0
    date: str = ""
    stage: str = ""


ValueKind = Literal["length", "amount", "percent", ""]


@dataclass(frozen=True, slots=True)
class Kind:
    """Keys that a kind needs beside `n`, `date`, `stage` and `kind`, keys it may have, and its `value`.

    `least`: the value must be greater than this; None where it may have either sign. `what` names it in tables.
    """

    what: str
    needs: tuple[str, ...]
    may: tuple[str, ...] = ()
    value: ValueKind = "length"
    least: float | None = 0.0


KINDS: Mapping[str, Kind] = {
    "thickness": Kind("thickness", ("at", "value")),
    "thickness-after": Kind("thickness after the skim", ("at", "value")),
    "groove-depth": Kind("groove depth", ("at", "value")),
    "pocket-depth": Kind("pocket depth", ("casting", "value")),
    "touch": Kind("touch", ("operation", "value")),
    "fill": Kind("resin below the raw top", ("casting", "value"), least=None),
    "top-up": Kind("top-up", ("casting", "value", "unit"), value="amount"),
    "void": Kind("void", ("casting",), value=""),
    "leak": Kind("leak", ("casting",), value=""),
    "stop": Kind("stop of the skim", ("pass",), ("plane",), value=""),
    "width": Kind("width of the blank", ("value",)),
    "moisture": Kind("moisture content", ("value",), value="percent"),
    "coupon-diameter": Kind("coupon: cutter's diameter", ("cutter", "value")),
    "coupon-z": Kind("coupon: floor too high by", ("value",), least=None),
    "coupon-groove-width": Kind("coupon: groove's width", ("value",), ("nominal",)),
    "cut": Kind("cut", ("operation",), ("pass", "plane"), value=""),
    "withdrawn": Kind("withdrawn", ("corrects",), value=""),
}


def operation_and_pass(text: str) -> tuple[str, int | None]:
    """An operation as typed, and the pass where it names one.

    >>> operation_and_pass("skim-pass-3")
    ('skim', 3)
    >>> operation_and_pass("groove")
    ('groove', None)
    """
    found = _SKIM_PASS.match(text)
    return ("skim", int(found[1])) if found else (text, None)


def place_words(at: tuple[float, float], scale: float = 1.0) -> str:
    """A place as drawings have it; `scale` mm are one unit."""
    x, y = at[0] / scale, at[1] / scale
    return f"X{x:.10g} Y{y:.10g}"


def subject(entry: Entry, scale: float = 1.0) -> str:
    """What an entry belongs to: a place, casting, operation, pass or cutter; empty for the whole blank."""
    if entry.at is not None:
        return place_words(entry.at, scale)
    if entry.casting is not None:
        return entry.casting
    if entry.operation is not None:
        return entry.operation + (f" pass {entry.number}" if entry.number is not None else "")
    if entry.number is not None:
        return f"pass {entry.number}" + (f" at {entry.plane / scale:.3f}" if entry.plane is not None else "")
    if entry.cutter is not None:
        return f"cutter {entry.cutter}"
    return f"entry {entry.corrects}" if entry.kind == "withdrawn" else ""


def describe(entry: Entry, scale: float = 1.0) -> str:
    """An entry in a few words, for messages: what, where, value."""
    what = KINDS[entry.kind].what
    return " ".join(part for part in (what, subject(entry, scale), figure(entry, scale)) if part)


def figure(entry: Entry, scale: float = 1.0) -> str:
    """The entry's value as text in units of `scale` mm, with its unit where that is no length."""
    if entry.value is None:
        return ""
    if entry.kind == "moisture":
        return f"{entry.value:.10g} %"
    if entry.unit == "g":
        return f"{entry.value:.10g} g"
    return f"{entry.value / scale:.10g}" + (" raised" if entry.unit == "mm" else "")
