"""Results of the read-back: findings, measures, and the blank after each set-up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Finding, Findings
from corepath.readback.surfaces.measures import Measure
from corepath.reported import Key, report_keys
from corepath.stock.material import BlankFaces, Grid, Mask, Stock
from corepath.stock.path import Path

__all__ = ["SQUARE", "Case", "FileCount", "FileStep", "Outcome", "ReadBack", "Remaining", "Span"]

SQUARE = 20.0
"""mm: side of the squares of the map in the report."""

Span = tuple[float, float, float, float]
"""A rectangle on the bed: least x, least y, largest x, largest y; mm."""

Singles = NDArray[np.float32]


@report_keys(Key("*", "squares"))
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

    @staticmethod
    def interval(bottom: Singles, top: Singles) -> tuple[Singles, Singles]:
        """Return the faces (bottom, top) of the columns of one kind, NaN where a column has none of
        it."""
        return _where(Stock.filled(bottom, top), bottom, top)

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

    def squares(self) -> dict[str, Any]:
        """Return a map for the report: the least wood, casting and whole (mm) of the columns in
        each square; None where a square has none.

        `x0`, `y0` is the middle of the first square, `px`, `py` their spacing; rows run along Y,
        the lowest first.
        """
        grid = self.grid
        nx, ny = (
            max(round(grid.px * grid.nx / SQUARE), 1),
            max(round(grid.py * grid.ny / SQUARE), 1),
        )
        xs, ys = np.arange(nx) * grid.nx // nx, np.arange(ny) * grid.ny // ny
        wide, high = grid.px * grid.nx / nx, grid.py * grid.ny / ny
        heights = {
            "wood": self.wood[1] - self.wood[0],
            "casting": self.casting[1] - self.casting[0],
            "whole": self.top - self.bottom,
        }
        return {
            "setup": self.setup,
            "x0": grid.x0 + (wide - grid.px) / 2,
            "y0": grid.y0 + (high - grid.py) / 2,
            "px": wide,
            "py": high,
            **{name: _least_by_square(values, xs, ys) for name, values in heights.items()},
        }


def _least_by_square(
    values: Singles, xs: NDArray[np.int64], ys: NDArray[np.int64]
) -> list[list[float | None]]:
    """Return the least of the columns from each of `ys` and `xs` to the next."""
    filled = np.where(np.isnan(values), np.float32(np.inf), values)
    least = np.minimum.reduceat(np.minimum.reduceat(filled, ys, axis=0), xs, axis=1)
    return [
        [round(float(value), 3) if np.isfinite(value) else None for value in row] for row in least
    ]


def _where(there: Mask, bottom: Singles, top: Singles) -> tuple[Singles, Singles]:
    gone = np.float32(np.nan)
    return np.where(there, bottom, gone), np.where(there, top, gone)


@report_keys(
    "file", "lines", "motions", Key("cut_length", places=3), Key("rapid_length", places=3),
    Key("removed", places=1),
    "deepest",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class FileCount:
    """One file in figures: lines, motions, length cut and travelled at rapid (mm), volume removed
    (mm³)."""

    file: str
    lines: int
    motions: int
    cut_length: float
    rapid_length: float
    removed: float
    deepest: float


@dataclass(frozen=True, slots=True)
class FileStep:
    """One file as it was cut: its motions on the bed (without their straight pieces), its zero
    there, and the blank before and after it, of which every n-th column is kept."""

    file: str
    setup: str
    name: str
    path: Path
    zero: tuple[float, float, float]
    before: Remaining
    after: Remaining


@dataclass(frozen=True, slots=True)
class Case:
    """A case to try the files on: the skim stops after the pass `stop`, on a blank `thicker` by so
    much (mm) than planned. `says` describes it, as in "if the skim stops at 11.90"; `lies` is the
    blank if it was measured."""

    name: str
    says: str
    stop: int
    thicker: float = 0.0
    lies: BlankFaces | None = None


@report_keys(
    Key("name", "case.name"), Key("says", "case.says"), Key("stop", "case.stop"), Key("thicker",
        "case.thicker"),
    Key("planned_again", "again"), "kinds", Key("*", "figures"),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Outcome:
    """The result of one case: findings, and `figures` by name (mm; `load` is removal over planned
    removal). `again`: C is planned again in this case."""

    case: Case
    findings: tuple[Finding, ...]
    figures: Mapping[str, float]
    again: bool

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of its findings."""
        return tuple(sorted({one.kind for one in self.findings}))


@report_keys("ok", "counts", "findings", "measures", "files", "left", "cases")
@dataclass(frozen=True, slots=True)
class ReadBack:
    """All that was found and measured. `remaining` has the blank after A, B and C, as far as cut.

    `cases` are further blanks and stops that the files were tried on. `steps` are the files in the
    order read, where they were asked for. `travelled` is by set-up the rectangle that its files
    stay in.
    """

    findings: Findings
    measures: tuple[Measure, ...]
    files: tuple[FileCount, ...]
    remaining: Mapping[str, Remaining]
    cases: tuple[Outcome, ...] = ()
    steps: tuple[FileStep, ...] = ()
    travelled: Mapping[str, Span] = field(default_factory=dict)

    @property
    def ok(self) -> bool:
        """True if nothing wrong was found."""
        return not self.findings.counts

    @property
    def counts(self) -> dict[str, int]:
        """Findings by kind, all counted."""
        return self.findings.by_kind

    def of(self, id: str, file: str | None = None) -> Measure:
        """Return the first measure of an id (and file). Raises KeyError where there is none."""
        for measure in self.measures:
            if measure.id == id and file in (None, measure.file):
                return measure
        raise KeyError(id)

    def left(self) -> list[Remaining]:
        """Return the blank after each set-up, in their order."""
        return [self.remaining[setup] for setup in sorted(self.remaining)]
