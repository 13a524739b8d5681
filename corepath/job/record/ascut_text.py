"""The as-cut record as text: a TOML file that is only ever added to.

Its head gives `schema` and `units`; `[[entry]]` tables follow, numbered from 1. Earlier text is
never changed, so that comments and anything else written by hand stay as they are. Lengths are in
the file's own units; the entries made from them are in mm.
"""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any, Literal

from corepath.errors import Fault
from corepath.job.record.entry_kinds import KINDS, OPERATIONS, SETUPS, STAGES, Entry
from corepath.job.text.schema import RECORD
from corepath.job.text.source import Source, key_of, shown
from corepath.lengths import MM_PER_INCH

__all__ = ["SCALES", "entries_of", "entry_text", "head_faults", "head_text", "printable"]

SCALES = {"mm": 1.0, "inch": MM_PER_INCH}
"""mm in one unit of length of a file."""

LONGEST_NOTE = 200
_ALWAYS = ("n", "date", "stage", "kind")
Form = Literal["whole", "text", "place", "date", "length", "value", "unit", "shift"]
_KEYS: dict[str, tuple[str, Form]] = {
    "n": ("n", "whole"), "date": ("date", "date"), "stage": ("stage", "text"),
    "kind": ("kind", "text"), "at": ("at", "place"), "casting": ("casting", "text"),
    "insert": ("insert", "text"), "operation": ("operation", "text"), "cutter": ("cutter", "whole"),
    "pass": ("number", "whole"), "value": ("value", "value"), "unit": ("unit", "unit"),
    "plane": ("plane", "length"), "nominal": ("nominal", "length"),
    "file": ("file", "text"), "line": ("line", "whole"), "setup": ("setup", "text"),
    "by": ("by", "shift"), "corrects": ("corrects", "whole"), "note": ("note", "text"),
}  # fmt: skip
"""The keys of an entry in the order of the file: the field of `Entry`, and the form of its value;
that of `value` depends on the kind."""

_MOST = 10**6


def head_text(title: str, units: str) -> str:
    """Return the first lines of a new record; `units` is "mm" or "inch"."""
    clean = "".join(letter for letter in title if letter.isprintable())
    return (
        f"# As-cut record of {clean}: what was measured at the machine.\n"
        "# `corepath record` adds entries at the end. An entry that was wrong stays and is "
        "corrected by a later one.\n"
        "# Places in the board frame, origin at the middle of the blank.\n\n"
        f'schema = {RECORD.newest}\nunits = "{units}"\n'
    )


def entry_text(entry: Entry, scale: float) -> str:
    """Return one entry as a TOML table, lengths in units of `scale` mm."""
    lines = ["", "[[entry]]"]
    for key, (name, form) in _KEYS.items():
        held = getattr(entry, name)
        if held is not None and held != "":
            lines.append(f"{key} = {_toml(entry, held, form, scale)}")
    return "\n".join(lines) + "\n"


def _toml(entry: Entry, held: Any, form: Form, scale: float) -> str:
    """Return what an entry holds under a key of this form as a TOML value."""
    if form == "place":
        return f"[{_number(held[0] / scale)}, {_number(held[1] / scale)}]"
    if form == "shift":
        return f"[{', '.join(_number(part / scale) for part in held)}]"
    if form == "length":
        return _number(held / scale)
    if form == "value":
        return _number(held / _value_scale(entry.kind, entry.unit, scale))
    if form == "unit" and held == "mm" and scale != 1.0:
        return quoted("inch")
    return quoted(held) if form in ("text", "unit") else str(held)


def quoted(text: str) -> str:
    """Return text as a TOML basic string."""
    # JSON escapes all that TOML wants escaped but the control character DEL.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def printable(text: str) -> bool:
    """Return whether a note can be written to the file: printable and not too long."""
    # lone surrogates, which UTF-8 cannot hold, are not printable
    return len(text) <= LONGEST_NOTE and all(letter.isprintable() for letter in text)


def head_faults(source: Source) -> tuple[str, list[Fault]]:
    """Return the units of a record ("mm" where they are wrong), and the faults of its head."""
    document = source.document
    faults: list[Fault] = []
    _, wrong = RECORD.number(document)
    if wrong is not None:
        faults.append(wrong)
    units = document.get("units", "mm")
    if not isinstance(units, str) or units not in SCALES:
        faults.append(Fault("units", "is not one of the choices", allowed='"mm" or "inch"'))
        units = "mm"
    for key in document:
        if key not in ("schema", "units", "entry"):
            faults.append(_unknown((key,), key, ("schema", "units", "entry")))
    return units, faults


def entries_of(source: Source, units: str) -> tuple[list[Entry], list[Fault]]:
    """Return all valid entries of a parsed record, and the faults of the others, with keys as in a
    job file: `entry[2].value`."""
    tables = source.document.get("entry", [])
    if not isinstance(tables, list):
        return [], [Fault("entry", "must be a list of tables", allowed="[[entry]]")]
    entries: list[Entry] = []
    faults: list[Fault] = []
    for place, table in enumerate(tables):
        reader = _EntryReader(place, table, SCALES[units], units)
        entry = reader.entry()
        faults += reader.faults
        if entry is not None:
            if entry.n != place + 1:
                says = "entries are numbered in the order of the file, from 1"
                faults.append(Fault(key_of(("entry", place, "n")), says, allowed=str(place + 1)))
            entries.append(entry)
    return entries, faults


def _number(value: float) -> str:
    """Return the shortest decimal of at most ten digits."""
    # A figure typed in inches was multiplied and is divided by 25.4, which may cost the last of its
    # 16 digits: ten give back what was typed.
    text = f"{value:.10g}"
    text = "0" if text == "-0" else text
    return text if any(letter in text for letter in ".en") else f"{text}.0"


def _value_scale(kind: str, unit: str | None, scale: float) -> float:
    return scale if KINDS[kind].value in ("length", "amount") and unit != "g" else 1.0


def _unknown(path: tuple[str | int, ...], name: str, names: Sequence[str]) -> Fault:
    near = get_close_matches(name.lower(), names, n=1, cutoff=0.6)
    says = "unknown key" + (f"; did you mean {near[0]}?" if near else "")
    return Fault(key_of(path), says, allowed=", ".join(names))


class _EntryReader:
    """Reads one `[[entry]]` table and collects its faults."""

    def __init__(self, place: int, table: Any, scale: float, units: str) -> None:
        self.place, self.table, self.scale, self.units = place, table, scale, units
        self.faults: list[Fault] = []

    def _fault(self, key: str, message: str, allowed: str = "") -> None:
        path = ("entry", self.place, key) if key else ("entry", self.place)
        held = self.table.get(key) if key and isinstance(self.table, dict) else None
        self.faults.append(
            Fault(key_of(path), message, "" if held is None else shown(held), allowed)
        )

    def entry(self) -> Entry | None:
        if not isinstance(self.table, dict):
            self._fault("", "must be a table of keys", "[[entry]]")
            return None
        kind = self.table.get("kind")
        if not isinstance(kind, str) or kind not in KINDS:
            says = "missing key" if kind is None else "is no kind of entry"
            self._fault("kind", says, ", ".join(KINDS))
            return None
        self._keys(kind)
        values = {key: self._value(key, kind) for key in self.table if key in _KEYS}
        if self.faults:
            return None
        named = {_KEYS[key][0]: value for key, value in values.items()}
        # The value was converted when it was read, and entries are in mm: so is their unit.
        if named.get("unit") == "inch":
            named["unit"] = "mm"
        return Entry(**named)

    def _keys(self, kind: str) -> None:
        """Add the faults of keys that are missing or do not belong to this kind."""
        spec = KINDS[kind]
        needs = (*_ALWAYS, *spec.needs)
        names = (*needs, *spec.may, *(key for key in ("corrects", "note") if key not in needs))
        for key in needs:
            if key not in self.table:
                self._fault(key, f"missing key of an entry of kind {kind}")
        if spec.one_of and not any(key in self.table for key in spec.one_of):
            self._fault("", f"an entry of kind {kind} needs {' or '.join(spec.one_of)}")
        for key in self.table:
            if key not in names:
                self.faults.append(_unknown(("entry", self.place, key), key, names))

    def _value(self, key: str, kind: str) -> Any:
        held, form = self.table[key], _KEYS[key][1]
        if form == "date":
            return self._date(held)
        if form == "place":
            return self._at(held)
        if form == "shift":
            return self._shift(held)
        if form == "whole":
            return self._whole(key, held)
        if form in ("text", "unit"):
            return self._text(key, held)
        return self._figure(key, kind, held)

    def _date(self, held: Any) -> str:
        # TOML has dates of its own; one typed in quotes is accepted, one with a time is not.
        if isinstance(held, str):
            try:
                return datetime.date.fromisoformat(held).isoformat()
            except ValueError:
                pass
        elif isinstance(held, datetime.date) and not isinstance(held, datetime.datetime):
            return held.isoformat()
        self._fault("date", "is no date", "a date such as 2026-05-17")
        return ""

    def _at(self, held: Any) -> tuple[float, float]:
        if isinstance(held, list) and len(held) == 2 and all(_finite(number) for number in held):
            return held[0] * self.scale, held[1] * self.scale
        self._fault("at", "is no place", "[x, y]")
        return 0.0, 0.0

    def _shift(self, held: Any) -> tuple[float, ...]:
        if isinstance(held, list) and len(held) == 3 and all(map(_finite, held)):
            return tuple(float(part) * self.scale for part in held)
        self._fault("by", "is no shift", "[dx, dy, dz]")
        return 0.0, 0.0, 0.0

    def _whole(self, key: str, held: Any) -> int:
        if isinstance(held, int) and not isinstance(held, bool) and 1 <= held <= _MOST:
            return held
        self._fault(key, "must be a whole number from 1 up")
        return 0

    def _text(self, key: str, held: Any) -> str:
        choices: tuple[str, ...] = {
            "stage": STAGES,
            "operation": OPERATIONS,
            "unit": ("g", self.units),
            "setup": SETUPS,
            "kind": tuple(KINDS),
        }.get(key, ())
        if not isinstance(held, str) or not printable(held):
            self._fault(key, f"must be text of at most {LONGEST_NOTE} printable letters")
            return ""
        if choices and held not in choices:
            self._fault(key, "is not one of the choices", ", ".join(choices))
        return held

    def _figure(self, key: str, kind: str, held: Any) -> float:
        least = KINDS[kind].least if key == "value" else 0.0
        if not _finite(held):
            self._fault(key, "must be a finite number")
            return 0.0
        if least is not None and held <= least:
            self._fault(key, "must be greater than 0")
        unit = self.table.get("unit")
        return float(held) * (
            self.scale
            if key != "value"
            else _value_scale(kind, unit if isinstance(unit, str) else None, self.scale)
        )


def _finite(number: Any) -> bool:
    if isinstance(number, bool) or not isinstance(number, (int, float)):
        return False
    return (
        (abs(number) < 1e9)
        if isinstance(number, int)
        else (math.isfinite(number) and abs(number) < 1e9)
    )
