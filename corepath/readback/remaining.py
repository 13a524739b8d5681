"""The blank after a set-up or a file: its columns, and the same kept in little room.

Of the four faces (bottom and top, of wood and casting) most columns of most have one height: that
of a raw face, or none. So a face is kept as that height, one bit a column, and the heights of the
others, bit for bit; a face that has not changed since the state before is kept once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.reported import Key, report_keys
from corepath.stock.material import Grid, Mask, Singles, Stock

__all__ = ["SQUARE", "KeptBlank", "KeptFace", "KeptSetups", "Remaining"]

SQUARE = 20.0
"""mm: side of the squares of the map in the report."""

# Columns looked at for the height that most have.
_SAMPLE = 2048
# Share of columns of other heights from which on a face is kept as it is.
_MANY = 0.7


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


@dataclass(frozen=True, slots=True, eq=False)
class KeptFace:
    """One face [iy, ix]: `common`, the height of the columns that have no bit in `others`, and the
    `heights` of those that have one, in order. Heights are held as their 32 bits, so that none
    (NaN) equals itself. Without `others` all heights are there."""

    shape: tuple[int, ...]
    common: int
    others: NDArray[np.uint8] | None
    heights: NDArray[np.int32]

    @staticmethod
    def of(face: Singles) -> KeptFace:
        bits = np.ascontiguousarray(face).view(np.int32).ravel()
        values, counts = np.unique(bits[:: max(len(bits) // _SAMPLE, 1)], return_counts=True)
        common = int(values[int(np.argmax(counts))])
        other = bits != np.int32(common)
        if np.count_nonzero(other) > _MANY * len(bits):
            return KeptFace(face.shape, common, None, bits.copy())
        return KeptFace(face.shape, common, np.packbits(other), bits[other])

    def face(self) -> Singles:
        """Return the face as it was."""
        if self.others is None:
            return self.heights.copy().view(np.float32).reshape(self.shape)
        bits = np.full(int(np.prod(self.shape)), self.common, dtype=np.int32)
        bits[np.unpackbits(self.others, count=len(bits)).view(np.bool_)] = self.heights
        return bits.view(np.float32).reshape(self.shape)

    def equals(self, other: KeptFace) -> bool:
        """Tell whether both have the same heights, kept alike."""
        if (self.shape, self.common) != (other.shape, other.common):
            return False
        if self.others is None or other.others is None:
            return self.others is other.others and np.array_equal(self.heights, other.heights)
        alike = np.array_equal(self.others, other.others)
        return alike and np.array_equal(self.heights, other.heights)


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
        self._kept[setup] = KeptBlank.of(Remaining.of(stock, setup))

    def __getitem__(self, setup: str) -> Remaining:
        return self._kept[setup].blank()

    def __iter__(self) -> Iterator[str]:
        return iter(self._kept)

    def __len__(self) -> int:
        return len(self._kept)
