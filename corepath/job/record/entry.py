"""One entry of an as-cut record, and its words. The kinds of entry are in `entry_kinds`.

An *entry* is one thing measured or done at the machine: a value with the place, casting, operation,
cutter or pass that it belongs to. Places are in the board frame (X along the length, Y across,
origin at the middle of the blank), lengths in mm. A *stage* is how far the work has come: "blank"
before anything is cut, "A" while groove and pockets are cut, "cast" once resin is in, "B" once the
skim has begun, "inserts" once they are bored, "C" once the deck is cut.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from corepath.motion.pass_name import pass_height

__all__ = [
    "OPERATIONS",
    "SETUPS",
    "STAGES",
    "Entry",
    "figure",
    "operation_and_pass",
    "operation_of",
    "place_words",
    "setup_of",
    "subject",
]

STAGES = ("blank", "A", "cast", "B", "inserts", "C")

OPERATIONS = (
    "dowels", "plug-pockets", "groove", "flush", "skim", "inserts", "deck-rough", "deck", "trim",
    "bolt-holes",
)  # fmt: skip
"""All operations in the order they are cut."""

SETUPS = ("A", "B", "C", "D")

_SETUP = {
    **dict.fromkeys(("dowels", "plug-pockets", "groove", "flush"), "A"),
    **dict.fromkeys(("skim", "inserts"), "B"),
    **dict.fromkeys(("deck-rough", "deck"), "C"),
    **dict.fromkeys(("trim", "bolt-holes"), "D"),
}

_FILE = re.compile(r"(?:0[1-9]|10)-[A-D]-([a-z-]+?)(?:-pass-[1-9][0-9]*|-all|-[2-9])?\.nc")
_SKIM_PASS = re.compile(r"^skim-pass-([1-9][0-9]{0,3})$")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry, lengths in mm. `n`, `date` and `stage` are filled in when it is added.

    `value` is a length except for `top-up` (see `unit`: "g", or "mm" raised), `moisture` (%) and
    `minutes`.
    For a stop or a pass of the skim `plane` is its height above the bed and `number` the number in
    the name of its file; one of the two may be unknown. `corrects` is the number of the entry that
    this one replaces; `nominal` the width that a coupon's groove should have had. `file` stopped at
    its `line`; what was cut in `setup` lies off its place `by` (dx, dy, dz) along the axes of the
    machine, an `insert` along those of the board.
    """

    kind: str
    value: float | None = None
    at: tuple[float, float] | None = None
    casting: str | None = None
    operation: str | None = None
    cutter: int | None = None
    insert: str | None = None
    number: int | None = None
    plane: float | None = None
    nominal: float | None = None
    unit: str | None = None
    file: str | None = None
    line: int | None = None
    setup: str | None = None
    by: tuple[float, float, float] | None = None
    corrects: int | None = None
    note: str = ""
    n: int = 0
    date: str = ""
    stage: str = ""


def operation_and_pass(text: str) -> tuple[str, int | None]:
    """Split what was typed into operation and, where it names one, the number of the pass.

    >>> operation_and_pass("skim-pass-3")
    ('skim', 3)
    >>> operation_and_pass("groove")
    ('groove', None)
    """
    found = _SKIM_PASS.match(text)
    return ("skim", int(found[1])) if found else (text, None)


def operation_of(file: str) -> str | None:
    """Return the operation that a file of a plan cuts, by its name; None for any other file.

    >>> operation_of("05-B-skim-pass-2.nc")
    'skim'
    """
    found = _FILE.fullmatch(file)
    return None if found is None else found[1]


def setup_of(operation: str) -> str:
    """Return the set-up in which an operation is cut.

    >>> setup_of("skim")
    'B'
    """
    return _SETUP[operation]


def place_words(at: tuple[float, float], scale: float = 1.0) -> str:
    """Return a place in words as on drawings, in units of `scale` mm."""
    x, y = at[0] / scale, at[1] / scale
    return f"X{x:.10g} Y{y:.10g}"


def subject(entry: Entry, scale: float = 1.0) -> str:
    """Return in words what an entry belongs to: a place, casting, operation, pass or cutter; empty
    for the whole blank."""
    if entry.at is not None:
        return place_words(entry.at, scale)
    if entry.casting is not None:
        return entry.casting
    if entry.insert is not None:
        return entry.insert
    if entry.file is not None:
        return entry.file if entry.line is None else f"{entry.file} line {entry.line}"
    if entry.setup is not None:
        return f"set-up {entry.setup}"
    if entry.operation is not None:
        return entry.operation + (f" {_pass(entry, scale)}" if entry.number is not None else "")
    if entry.number is not None or entry.plane is not None:
        return _pass(entry, scale)
    if entry.cutter is not None:
        return f"cutter {entry.cutter}"
    return f"entry {entry.corrects}" if entry.kind == "withdrawn" else ""


def _pass(entry: Entry, scale: float) -> str:
    """Return a pass in words: its height, or the number of its file where no height is known."""
    if entry.plane is None:
        return f"pass {entry.number}"
    return f"at {pass_height(entry.plane, 'mm' if scale == 1.0 else 'inch')}"


def figure(entry: Entry, scale: float = 1.0) -> str:
    """Return the value of an entry as text in units of `scale` mm, with its unit if that is not a
    length."""
    if entry.by is not None:
        return " ".join(f"{part / scale + 0.0:.10g}" for part in entry.by)
    if entry.value is None:
        return ""
    if entry.kind == "moisture":
        return f"{entry.value:.10g} %"
    if entry.kind == "minutes":
        return f"{entry.value:.10g} min"
    if entry.unit == "g":
        return f"{entry.value:.10g} g"
    return f"{entry.value / scale:.10g}" + (" raised" if entry.unit == "mm" else "")
