"""Measured places of the blank, read from a CSV file: x, y and thickness, height above the bed, or
both.

x and y are in the board frame (X along the length, Y across, from the middle of the blank).
*thickness* is measured with callipers on the blank alone, *height* is the raw top above the bed as
the blank is held in A, so that height less thickness is the gap under it. All are in mm after
reading. A header may name the columns in any order; without one they are x, y, thickness and
height. Cells are separated by comma, semicolon or tab; with the latter two, and in quotes, a
decimal comma is allowed. Blank lines and lines that start with # are ignored, except `# schema =
1`, the form of the file. Rows with nothing measured are ignored too, since a form that is half
filled in is no mistake.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from corepath.errors import Fault, InputError
from corepath.job.model import BlankSection
from corepath.job.text.schema import MEASURED, comment_number
from corepath.job.text.source import read_text
from corepath.lengths import MM_PER_INCH

__all__ = ["MOST_PLACES", "Measured", "read_measured"]

Floats = NDArray[np.float64]

MOST_PLACES = 5000
"""Most places of a file (common practice, no source)."""

ABSURD = 0.30
"""Share of the nominal thickness beyond which a figure is a slip of the pen (common practice, no
source)."""

SINKING = 0.5
"""mm by which a height may be less than the thickness there before the two cannot belong to one
place."""

_COLUMNS = ("x", "y", "thickness", "height")
_PASSED_OVER = ("place", "note")
_ALSO = {
    "t": "thickness",
    "z": "height",
    "h": "height",
    "height above the bed": "height",
    "why": "place",
    "what": "note",
}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?\Z")
_UNIT = re.compile(r"\s*[\[(]\s*(mm|cm|m|inch|inches|in|\")\s*[\])]\s*\Z")


@dataclass(frozen=True, slots=True)
class Measured:
    """Measured places: arrays (n,), mm, board frame; nan where a figure was not measured. `lines`
    are the lines of `file`, from 1."""

    x: Floats
    y: Floats
    thickness: Floats
    height: Floats
    lines: tuple[int, ...] = ()
    file: str = ""

    def __len__(self) -> int:
        return len(self.x)


@dataclass(slots=True)
class _Row:
    line: int
    x: float
    y: float
    thickness: float
    height: float


@dataclass(frozen=True, slots=True)
class _Reading:
    """What all rows share: `file` as messages name it, `scale` the mm in one unit of the file, the
    blank, if known, and the faults found."""

    file: str
    scale: float
    blank: BlankSection | None
    faults: list[Fault]

    def fault(self, line: int, key: str, message: str, value: str = "", allowed: str = "") -> None:
        self.faults.append(Fault(key, message, value[:48], allowed, self.file, line))

    def words(self, length: float) -> str:
        return f"{length:.2f} mm" if self.scale == 1.0 else f"{length / self.scale:.4f} inch"


def read_measured(path: Path, *, scale: float = 1.0, blank: BlankSection | None = None) -> Measured:
    """Read the measured places in the file at `path`.

    `scale` is the mm in one unit of the file (25.4 for inches). With `blank`, places off it and
    impossible figures are faults as well. A form with nothing filled in gives no places. A place
    that is named twice counts once: its figures are merged, and differing ones are a fault. Raises
    InputError with all faults, each with file and line.
    """
    text, unreadable = read_text(path)
    if unreadable:
        raise InputError(_as_csv(fault) for fault in unreadable)
    reading = _Reading(str(path), scale, blank, [])
    rows = _merged(_rows(text, reading), reading)
    if len(rows) > MOST_PLACES:
        reading.fault(
            rows[MOST_PLACES].line,
            "",
            f"holds {len(rows)} places",
            allowed=f"at most {MOST_PLACES}",
        )
    if reading.faults:
        raise InputError(sorted(reading.faults, key=lambda fault: fault.line or 0))
    columns = ([row.x, row.y, row.thickness, row.height] for row in rows)
    table = np.array(list(columns), dtype=float).reshape(-1, 4)
    table.flags.writeable = False
    x, y, thickness, height = table.T
    return Measured(x, y, thickness, height, tuple(row.line for row in rows), str(path))


def _as_csv(fault: Fault) -> Fault:
    says = fault.message.replace("job file", "file of measured places")
    return Fault(
        fault.key, says, fault.value, fault.allowed.replace("TOML", "CSV"), fault.file, fault.line
    )


def _rows(text: str, reading: _Reading) -> Iterator[_Row]:
    """Yield the rows with something measured, in mm; adds a fault for each that is wrong."""
    names: Sequence[str] | None = None
    delimiter = ""
    # Line by line and not by csv alone: each fault needs its line. The byte-order mark and old
    # line ends are what spreadsheets write.
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text.removeprefix("\ufeff")), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            if not _is_known(line, number, reading):
                return
            continue
        delimiter = delimiter or _delimiter(line)
        cells = _cells(line, delimiter)
        if cells is None:
            reading.fault(number, "", "is no line of cells", line.strip())
            continue
        if names is None:
            if _is_header(cells):
                names = _header(cells, number, reading)
                if not names:
                    return
                continue
            names = _COLUMNS
        row = _row(cells, names, number, reading)
        if row is not None:
            yield row


def _is_known(comment: str, line: int, reading: _Reading) -> bool:
    """Return whether the rows after a comment can be read: not if it states a newer schema."""
    _, fault = MEASURED.number(comment_number(comment))
    if fault is not None:
        reading.fault(line, fault.key, fault.message, fault.value or comment.strip(), fault.allowed)
    return fault is None


def _delimiter(line: str) -> str:
    # Tab and semicolon first: beside them a comma is a decimal comma.
    return next((sign for sign in ("\t", ";") if sign in line), ",")


def _cells(line: str, delimiter: str) -> list[str] | None:
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return None
    # word processors and some locales write U+2212, a true minus sign
    return [cell.replace("\u2212", "-").strip() for cell in cells]


def _number(cell: str) -> float | None:
    """Return the number in the cell; nan where it is empty, None where it is not a number."""
    if not cell:
        return math.nan
    if not _NUMBER.match(cell):
        return None
    value = float(cell.replace(",", "."))
    return value if math.isfinite(value) else None


def _is_header(cells: Sequence[str]) -> bool:
    return any(cells) and all(not cell or _number(cell) is None for cell in cells)


def _header(cells: Sequence[str], line: int, reading: _Reading) -> list[str]:
    """Return the names of the columns in order; empty where the header has faults."""
    names: list[str] = []
    good = True
    for cell in cells:
        name, wrong_unit = _column(cell, reading.scale)
        if wrong_unit:
            own = "inches" if reading.scale != 1.0 else "mm"
            reading.fault(
                line, "", f"the column is in other units than the job, which is in {own}", cell, own
            )
            good = False
        elif name and name not in (*_COLUMNS, *_PASSED_OVER):
            near = get_close_matches(name, (*_COLUMNS, *_PASSED_OVER), n=1, cutoff=0.5)
            says = "unknown column" + (f"; did you mean {near[0]}?" if near else "")
            reading.fault(line, "", says, cell, ", ".join((*_COLUMNS, *_PASSED_OVER)))
            good = False
        elif name in _COLUMNS and name in names:
            reading.fault(line, "", f"the column {name} turns up twice", cell, "each column once")
            good = False
        names.append(name)
    if not good:
        return []
    missing = [name for name in ("x", "y") if name not in names]
    if "thickness" not in names and "height" not in names:
        missing.append("thickness or height")
    if missing:
        reading.fault(
            line,
            "",
            f"the header names no column {', '.join(missing)}",
            allowed=", ".join(_COLUMNS),
        )
        return []
    return names


def _column(cell: str, scale: float) -> tuple[str, bool]:
    """Return the column's name, and whether its header states other units than the job's."""
    # `Thickness (mm)` and `thickness_mm` are both read as thickness.
    name = cell.strip().lower()
    unit = _UNIT.search(name)
    if unit:
        name = name[: unit.start()]
    else:
        for ending in ("_mm", "_inch", "_in"):
            if name.endswith(ending):
                unit = re.search(r"(mm|inch|in)\Z", name)
                name = name.removesuffix(ending)
                break
    name = name.replace("_", " ").strip()
    inch = scale != 1.0
    wrong = unit is not None and (unit[1] in ("inch", "inches", "in", '"')) != inch
    return _ALSO.get(name, name), wrong or (unit is not None and unit[1] in ("cm", "m"))


def _row(cells: Sequence[str], names: Sequence[str], line: int, reading: _Reading) -> _Row | None:
    # Empty cells at the end are harmless; a filled one is most likely a decimal comma read as a
    # separator, which the fault points out.
    if any(cells[len(names) :]):
        reading.fault(
            line,
            "",
            f"has {len(cells)} cells, not {len(names)}",
            allowed=", ".join(name for name in names if name)
            + "; a decimal comma only between semicolons or in quotes",
        )
        return None
    found: dict[str, float] = dict.fromkeys(_COLUMNS, math.nan)
    good = True
    for name, cell in zip(names, cells, strict=False):
        if name not in found:
            continue
        value = _number(cell)
        if value is None:
            reading.fault(line, name, "is not a number", cell, "a number such as 13.62, or nothing")
            good = False
        else:
            found[name] = value * reading.scale
    if not good or all(math.isnan(found[name]) for name in ("thickness", "height")):
        return None
    for name in ("x", "y"):
        if math.isnan(found[name]):
            reading.fault(
                line, name, "is missing beside a measured figure", allowed="where it was measured"
            )
            good = False
    row = _Row(line, **found)
    return row if good and _can_be(row, reading) else None


def _can_be(row: _Row, reading: _Reading) -> bool:
    before = len(reading.faults)
    for name in ("thickness", "height"):
        value = getattr(row, name)
        if value <= 0:
            reading.fault(row.line, name, "must be more than 0", reading.words(value))
        elif reading.blank is not None and not math.isnan(value):
            _is_meant(row.line, name, value, reading.blank.thickness, reading)
    # nan compares false, so a row with one of the two passes
    if row.height < row.thickness - SINKING:
        below = reading.words(row.thickness - row.height)
        says = f"the height lies {below} below the thickness: are the columns mixed up?"
        reading.fault(row.line, "height", says, reading.words(row.height), "the thickness or more")
    if reading.blank is not None:
        for name, value, size in (
            ("x", row.x, reading.blank.length),
            ("y", row.y, reading.blank.width),
        ):
            # 0.01 mm: an edge's own place, rounded to two decimals, is on the blank.
            if abs(value) > size / 2 + 0.01:
                says = "lies off the blank; places count from its middle"
                half = reading.words(size / 2)
                reading.fault(row.line, name, says, reading.words(value), f"from -{half} to {half}")
    return len(reading.faults) == before


def _is_meant(line: int, name: str, value: float, nominal: float, reading: _Reading) -> None:
    if abs(value - nominal) <= ABSURD * nominal:
        return
    says = f"differs from blank.thickness, {reading.words(nominal)}, by more than {ABSURD:.0%}"
    units = {
        "inches in a job in mm": value * MM_PER_INCH,
        "mm in a job in inches": value / MM_PER_INCH,
        "cm": value * 10.0,
    }
    meant = next(
        (words for words, other in units.items() if abs(other - nominal) <= 0.1 * nominal), ""
    )
    if meant:
        says += f": is it in {meant}?"
    low, high = (reading.words(nominal * (1 + sign * ABSURD)) for sign in (-1, 1))
    reading.fault(line, name, says, reading.words(value), f"from {low} to {high}")


def _merged(rows: Iterator[_Row], reading: _Reading) -> list[_Row]:
    """Return one row for each place; two different figures for one place are a fault."""
    # A place is its coordinates to 0.01 mm, finer than anybody marks wood.
    places: dict[tuple[float, float], _Row] = {}
    for row in rows:
        place = (round(row.x, 2), round(row.y, 2))
        held = places.setdefault(place, row)
        if held is row:
            continue
        for name in ("thickness", "height"):
            mine, other = getattr(row, name), getattr(held, name)
            if math.isnan(other):
                setattr(held, name, mine)
            # 1e-6: the same figure typed twice may differ in its last bits after the conversion
            elif not math.isnan(mine) and abs(mine - other) > 1e-6:
                says = (
                    f"the same place has another {name}, {reading.words(other)}, in line "
                    f"{held.line}"
                )
                reading.fault(row.line, name, says, reading.words(mine), "one figure for one place")
    return list(places.values())
