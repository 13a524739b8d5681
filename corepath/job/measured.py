"""The blank as measured: a CSV of places with thickness, height above the bed as held, or both.

Columns x, y (mm from the middle, board frame), thickness, height; a header names them in any order, without
one they are x, y, thickness. Separated by comma, semicolon or tab (with the last two a decimal comma is
understood). Lines that begin with # are comments; an empty cell was not measured. In an inch job all are inches.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.errors import Fault, InputError
from corepath.job.model import BlankSection

__all__ = ["Measured", "read_measured"]

Floats = NDArray[np.float64]

COLUMNS = ("x", "y", "thickness", "height")
LARGEST = 4 * 2**20
"""bytes: a larger file is no list of measured places."""

FAR_OFF = 0.3
"""Share of the nominal thickness by which a figure may differ before it is taken for a slip of unit or pen."""


@dataclass(frozen=True)
class Measured:
    """Places (n,) mm with `thickness` and `height` (n,) mm, NaN where not measured."""

    x: Floats
    y: Floats
    thickness: Floats
    height: Floats

    @staticmethod
    def of(rows: Sequence[Sequence[float]]) -> Measured:
        """From rows of x, y, thickness, height."""
        table = np.asarray(rows, dtype=np.float64).reshape(-1, 4)
        return Measured(*(np.ascontiguousarray(column) for column in table.T))

    @staticmethod
    def empty() -> Measured:
        """Nothing measured."""
        return Measured.of([])

    def __len__(self) -> int:
        return len(self.x)

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types; None where not measured."""
        return {
            name: [None if math.isnan(figure) else float(figure) for figure in getattr(self, name)] for name in COLUMNS
        }

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Measured:
        """The inverse. Raises InputError where the lists do not fit together."""
        try:
            columns = [[math.nan if v is None else float(v) for v in data[name]] for name in COLUMNS]
            return Measured.of(list(zip(*columns, strict=True)))
        except (KeyError, TypeError, ValueError) as error:
            raise InputError([Fault("measured", "the measured places do not fit together")]) from error


def read_measured(path: Path, *, blank: BlankSection, scale: float = 1.0) -> Measured:
    """Read the file; `scale` turns its units into mm. Raises InputError with all faults, each with its line."""
    text = _text(path)
    reader = _Reader(str(path), blank, scale)
    lines = text.splitlines()
    separator = _separator(lines)
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            reader.row(number, [cell.strip() for cell in next(csv.reader([line], delimiter=separator))], separator)
    if not reader.rows and not reader.faults:
        reader.fault(None, "holds no measured place", allowed="at least one row with a thickness or a height")
    if reader.faults:
        raise InputError(reader.faults)
    return Measured.of(reader.rows)


def _text(path: Path) -> str:
    file = str(path)
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST + 1)
    except (OSError, ValueError) as error:
        words = getattr(error, "strerror", None) or str(error)
        raise InputError([Fault("blank.measured", f"cannot be read: {words}", file=file)]) from error
    if len(data) > LARGEST:
        raise InputError([Fault("blank.measured", "is far too large for a list of places", file=file)])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError([Fault("blank.measured", f"is not UTF-8 at byte {error.start}", file=file)]) from error


def _separator(lines: Sequence[str]) -> str:
    for line in lines:
        if line.strip() and not line.lstrip().startswith("#"):
            return next((sign for sign in (";", "\t") if sign in line), ",")
    return ","


class _Reader:
    def __init__(self, file: str, blank: BlankSection, scale: float) -> None:
        self.file, self.blank, self.scale = file, blank, scale
        self.columns: tuple[str, ...] = COLUMNS[:3]
        self.started = False
        self.rows: list[tuple[float, float, float, float]] = []
        self.places: dict[tuple[float, float], int] = {}
        self.faults: list[Fault] = []

    def fault(self, line: int | None, says: str, value: str = "", allowed: str = "") -> None:
        if len(self.faults) < 100:
            self.faults.append(Fault("blank.measured", says, value, allowed, self.file, line))

    def row(self, line: int, cells: list[str], separator: str) -> None:
        if not self.started:
            self.started = True
            if self._header(line, cells):
                return
        if len(cells) > len(self.columns) and any(cells[len(self.columns) :]):
            self.fault(line, f"has {len(cells)} cells", allowed=", ".join(self.columns))
            return
        figures: dict[str, float] = {}
        for name, cell in zip(self.columns, cells, strict=False):
            if cell:
                figure = self._number(line, name, cell, separator)
                if figure is None:
                    return
                figures[name] = figure * self.scale
        if "thickness" in figures or "height" in figures:
            self._place(line, figures)

    def _header(self, line: int, cells: list[str]) -> bool:
        words = [cell.lower() for cell in cells]
        if not any(word and word[0].isalpha() and word not in ("nan", "inf") for word in words):
            return False
        unknown = [word for word in words if word and word not in COLUMNS]
        missing = [name for name in ("x", "y") if name not in words]
        if unknown:
            self.fault(line, "has a column of an unknown name", ", ".join(unknown), ", ".join(COLUMNS))
        if missing:
            self.fault(line, f"has no column {' and '.join(missing)}", allowed=", ".join(COLUMNS))
        if len(set(words)) < len(words):
            self.fault(line, "names a column twice", ", ".join(cells))
        self.columns = tuple(words)
        return True

    def _number(self, line: int, name: str, cell: str, separator: str) -> float | None:
        text = cell.replace(",", ".") if separator != "," else cell
        try:
            figure = float(text)
        except ValueError:
            figure = math.nan
        if not math.isfinite(figure):
            self.fault(line, f"{name} is no number", cell)
            return None
        return figure

    def _place(self, line: int, figures: Mapping[str, float]) -> None:
        blank = self.blank
        if "x" not in figures or "y" not in figures:
            self.fault(line, "has a figure without its place", allowed="x and y in every row")
            return
        x, y = figures["x"], figures["y"]
        if abs(x) > blank.length / 2 + 1e-6 or abs(y) > blank.width / 2 + 1e-6:
            self.fault(line, "lies off the blank", f"X{x:g} Y{y:g}", f"±{blank.length / 2:g}, ±{blank.width / 2:g}")
        for name in ("thickness", "height"):
            figure = figures.get(name)
            if figure is not None and abs(figure - blank.thickness) > FAR_OFF * blank.thickness:
                self.fault(line, f"{name} is far from blank.thickness", f"{figure:g} mm", "within 30 % of it: which unit?")
        place = (round(x, 3), round(y, 3))
        if place in self.places:
            self.fault(line, f"measures the place of line {self.places[place]} again", f"X{x:g} Y{y:g}")
            return
        self.places[place] = line
        self.rows.append((x, y, figures.get("thickness", math.nan), figures.get("height", math.nan)))
