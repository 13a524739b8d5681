"""The blank after a set-up or a file: its columns, and the same kept in little room: a face that
has not changed since the state before is kept once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.reported import Key, report_keys
from corepath.stock.kept_face import KeptFace
from corepath.stock.material import Grid, Mask, Singles, Stock

__all__ = ["SQUARE", "KeptBlank", "KeptSetups", "Remaining"]

SQUARE = 20.0
"""mm: side of the squares of the map in the report."""


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
        """Return what is left of `stock` after a set-up."""
        low, high, bottom, top = _faces(stock)
        return Remaining(setup, stock.grid, (low, high), (bottom, top))

    @staticmethod
    def interval(bottom: Singles, top: Singles) -> tuple[Singles, Singles]:
        """Return the faces (bottom, top) [iy, ix], mm, of the columns of one kind, NaN where a
        column has none of it."""
        return _where(Stock.filled(bottom, top), bottom, top)

    @property
    def top(self) -> Singles:
        """Return the highest solid of each column, [iy, ix], mm."""
        highest: Singles = np.fmax(self.wood[1], self.casting[1])
        return highest

    @property
    def bottom(self) -> Singles:
        """Return the lowest solid of each column, [iy, ix], mm."""
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


def _faces(stock: Stock) -> Iterator[Singles]:
    """Yield bottom and top of the wood, then of the casting, NaN where a column has none of it."""
    for there, bottom, top in (
        (stock.has_wood, stock.wood_bottom, stock.wood_top),
        (stock.has_casting, stock.cast_bottom, stock.cast_top),
    ):
        for face in (bottom, top):
            yield np.where(there, face, np.float32(np.nan))


def _least_by_square(
    values: Singles, xs: NDArray[np.int64], ys: NDArray[np.int64]
) -> list[list[float | None]]:
    """Return the least of the columns from each of `ys` and `xs` to the next."""
    # `fmin` passes NaN over. Row by row of the squares, since of an array's first axis `reduceat`
    # takes forty times as long.
    bands = zip(ys, [*ys[1:], len(values)], strict=True)
    rows = [np.fmin.reduce(values[begin:end], axis=0) for begin, end in bands]
    least = np.fmin.reduceat(np.array(rows), xs, axis=1)
    return [
        [round(float(value), 3) if np.isfinite(value) else None for value in row] for row in least
    ]


def _where(there: Mask, bottom: Singles, top: Singles) -> tuple[Singles, Singles]:
    gone = np.float32(np.nan)
    return np.where(there, bottom, gone), np.where(there, top, gone)


@dataclass(frozen=True, slots=True, eq=False)
class KeptBlank:
    """The blank at one moment: `faces` are bottom and top of the wood, then of the casting."""

    setup: str
    grid: Grid
    faces: tuple[KeptFace, ...]

    @staticmethod
    def of(left: Remaining, before: KeptBlank | None = None) -> KeptBlank:
        """Keep `left`; its faces that equal one of `before` are shared with it."""
        known = before.faces if before is not None else ()
        faces = (KeptFace.of(face) for face in (*left.wood, *left.casting))
        shared = tuple(next((one for one in known if one.equals(face)), face) for face in faces)
        return KeptBlank(left.setup, left.grid, shared)

    def blank(self) -> Remaining:
        """Return the blank as it was."""
        low, high, bottom, top = (face.face() for face in self.faces)
        return Remaining(self.setup, self.grid, (low, high), (bottom, top))


class KeptSetups(Mapping[str, Remaining]):
    """The blank after each set-up, in the order kept; each is made anew when it is asked for."""

    def __init__(self) -> None:
        self._kept: dict[str, KeptBlank] = {}

    def keep(self, stock: Stock, setup: str) -> None:
        """Keep the blank as a set-up leaves it."""
        # one face after the other: all four of a long board take a tenth of all memory
        faces = tuple(KeptFace.of(face) for face in _faces(stock))
        self._kept[setup] = KeptBlank(setup, stock.grid, faces)

    def __getitem__(self, setup: str) -> Remaining:
        return self._kept[setup].blank()

    def __iter__(self) -> Iterator[str]:
        return iter(self._kept)

    def __len__(self) -> int:
        return len(self._kept)
