"""What the read-back hands on: findings, measures, and the blank after each set-up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.readback.findings import Findings
from corepath.readback.material import Grid, Mask, Stock
from corepath.readback.measures import Measure

__all__ = ["FileCount", "ReadBack", "Remaining"]


Singles = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Remaining:
    """The blank after a set-up, in its bed frame: arrays [iy, ix], mm, NaN where nothing is left.

    `wood` and `casting` are (bottom, top) of each column's interval.
    """

    setup: str
    grid: Grid
    wood: tuple[Singles, Singles]
    casting: tuple[Singles, Singles]

    @staticmethod
    def of(stock: Stock, setup: str) -> Remaining:
        return Remaining(
            setup,
            stock.grid,
            _where(stock.has_wood, stock.wood_bottom, stock.wood_top),
            _where(stock.has_casting, stock.cast_bottom, stock.cast_top),
        )

    @property
    def top(self) -> Singles:
        """Highest solid of each column."""
        highest: Singles = np.fmax(self.wood[1], self.casting[1])
        return highest

    @property
    def bottom(self) -> Singles:
        """Lowest solid of each column."""
        lowest: Singles = np.fmin(self.wood[0], self.casting[0])
        return lowest


def _where(there: Mask, bottom: Singles, top: Singles) -> tuple[Singles, Singles]:
    gone = np.float32(np.nan)
    return np.where(there, bottom, gone), np.where(there, top, gone)


@dataclass(frozen=True, slots=True)
class FileCount:
    """One file in figures: lines, motions, length cut and travelled at rapid (mm), volume removed (mm³)."""

    file: str
    lines: int
    motions: int
    cut_length: float
    rapid_length: float
    removed: float
    deepest: float

    def as_dict(self) -> dict[str, Any]:
        return {
            "file": self.file,
            "lines": self.lines,
            "motions": self.motions,
            "cut_length": round(self.cut_length, 3),
            "rapid_length": round(self.rapid_length, 3),
            "removed": round(self.removed, 1),
            "deepest": round(self.deepest, 4),
        }


@dataclass(frozen=True, slots=True)
class ReadBack:
    """All that was found and measured. `remaining` has the blank after A, B and C, as far as cut."""

    findings: Findings
    measures: tuple[Measure, ...]
    files: tuple[FileCount, ...]
    remaining: Mapping[str, Remaining]

    @property
    def ok(self) -> bool:
        """Whether nothing wrong was found."""
        return not self.findings.counts

    @property
    def counts(self) -> dict[str, int]:
        """Findings by kind, all counted."""
        return self.findings.by_kind

    def of(self, id: str, file: str | None = None) -> Measure:
        """The first measure of an id (and file). Raises KeyError."""
        for measure in self.measures:
            if measure.id == id and file in (None, measure.file):
                return measure
        raise KeyError(id)

    def as_dict(self) -> dict[str, Any]:
        """The entry `readback` of `report.json`."""
        return {
            "ok": self.ok,
            "counts": self.counts,
            "findings": [finding.as_dict() for finding in self.findings],
            "measures": [measure.as_dict() for measure in self.measures],
            "files": [file.as_dict() for file in self.files],
        }
