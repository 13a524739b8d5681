"""The virtual blank: point-sampled columns of wood and casting, in the bed frame of the current
set-up.

Each column holds one interval of wood and one of casting, [bottom, top], mm above the bed; an
interval with its top not above its bottom is empty. Cutting always comes from above and lowers both
tops. `top` is the height of the highest solid of each column; where there is none it is `NOWHERE`.
Arrays are [iy, ix], X running fastest, columns at the middles of equal cells over the whole blank;
the origin is the middle of the blank on the bed. Heights are single precision: their steps at 20 mm
are 0.000002 mm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from corepath.stock.column_kernels import cut_pieces, fill_polygon
from corepath.stock.contact_kernels import Underside

__all__ = ["NOWHERE", "Cut", "Grid", "Lies", "Past", "Stock"]

NOWHERE = -1.0e6
_EMPTY = 1.0e-5
_SHARES = 1000

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Mask = NDArray[np.bool_]
Lies = Callable[[Floats, Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, slots=True)
class Grid:
    """Where the columns stand: first column at (x0, y0), spacing px by py, ny rows of nx columns,
    mm."""

    x0: float
    y0: float
    px: float
    py: float
    nx: int
    ny: int

    @staticmethod
    def over(length: float, width: float, cell: float) -> Grid:
        """Columns no farther apart than `cell` over a rectangle about the origin."""
        nx, ny = (
            max(int(np.ceil(length / cell - 1e-9)), 1),
            max(int(np.ceil(width / cell - 1e-9)), 1),
        )
        px, py = length / nx, width / ny
        return Grid(-length / 2.0 + px / 2.0, -width / 2.0 + py / 2.0, px, py, nx, ny)

    @property
    def xs(self) -> Floats:
        return np.asarray(self.x0 + self.px * np.arange(self.nx), dtype=np.float64)

    @property
    def ys(self) -> Floats:
        return np.asarray(self.y0 + self.py * np.arange(self.ny), dtype=np.float64)

    @property
    def cell(self) -> float:
        """The larger spacing."""
        return max(self.px, self.py)

    def at(self, x: float, y: float) -> tuple[int, int]:
        """(iy, ix) of the column nearest to a place; at the rim for places outside."""
        ix = int(np.floor((x - self.x0) / self.px + 0.5))
        iy = int(np.floor((y - self.y0) / self.py + 0.5))
        return min(max(iy, 0), self.ny - 1), min(max(ix, 0), self.nx - 1)

    def place(self, iy: int, ix: int) -> tuple[float, float]:
        """(x, y) of a column."""
        return self.x0 + self.px * ix, self.y0 + self.py * iy

    def inside(self, rings: Iterable[Floats]) -> Mask:
        """Which columns lie inside closed rings ((k, 2) arrays, first point repeated), even-odd."""
        mask = np.zeros((self.ny, self.nx), dtype=np.bool_)
        edges = [np.hstack((ring[:-1, :2], ring[1:, :2])) for ring in rings]
        if edges:
            fill_polygon(
                mask, self.x0, self.y0, self.px, self.py, np.ascontiguousarray(np.vstack(edges))
            )
        return mask

    def near(self, x: float, y: float, radius: float) -> Mask:
        """Which columns lie within `radius` of a place."""
        mask = np.zeros((self.ny, self.nx), dtype=np.bool_)
        (low_y, low_x), (high_y, high_x) = (
            self.at(x - radius, y - radius),
            self.at(x + radius, y + radius),
        )
        part = (slice(low_y, high_y + 1), slice(low_x, high_x + 1))
        mask[part] = (self.xs[None, part[1]] - x) ** 2 + (
            self.ys[part[0], None] - y
        ) ** 2 <= radius * radius
        return mask


@dataclass(frozen=True, slots=True)
class Cut:
    """What each motion did: deepest lowering (n,), its place (n, 3), depth of the tip below the
    stock (n,).

    The way is parted into shares of about one diameter: `volume` (k,) taken in each (mm³), its
    piece `of` (k,), its length `way` (k,), mm.
    """

    removed: Floats
    where: Floats
    deep: Floats
    volume: Floats
    of: NDArray[np.int64]
    way: Floats

    @staticmethod
    def nothing(count: int) -> Cut:
        """What `count` motions do that meet nothing."""
        none = np.zeros(0)
        return Cut(
            np.zeros(count),
            np.zeros((count, 3)),
            np.zeros(count),
            none,
            none.astype(np.int64),
            none,
        )


@dataclass(frozen=True, slots=True)
class Past:
    """A path that was cut: straight pieces (m, 3) of the tip, mm, and the end of the cutter."""

    lower: Floats
    upper: Floats
    end: Underside


def _shares(lower: Floats, upper: Floats, step: float) -> tuple[NDArray[np.int64], Floats]:
    """First share of each piece (m + 1,), none longer than `step` unless there were too many; their
    lengths.

    A way straight down is one share: its columns go down at once, and not one after another.
    """
    way = upper - lower
    long = np.sqrt((way**2).sum(axis=1))
    count = np.clip(np.ceil(long / max(step, 1e-3)), 1, _SHARES).astype(np.int64)
    count[~way[:, :2].any(axis=1)] = 1
    many = float(count.sum()) / (4.0 * len(count) + _SHARES)
    if many > 100.0:
        count = np.maximum(count // int(many / 100.0 + 1.0), 1)
    return np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(count))), np.repeat(
        long / count, count
    )


class Stock:
    """The blank as it is now, in the bed frame of the current set-up.

    `raw` is the height of its upper face as it came, column by column, mm. With `lies` (a function
    of x and y arrays that gives lower and upper face above the bed) the blank is as it was
    measured, else level. `began` is `top` before the paths `past` were cut, which are those of this
    set-up; with `remembers` false neither is kept, so that memory does not grow with the paths.
    """

    def __init__(
        self, length: float, width: float, thickness: float, cell: float = 0.5,
        lies: Lies | None = None,
        remembers: bool = True,
    ) -> None:  # fmt: skip
        self.remembers = remembers
        self.grid = Grid.over(length, width, cell)
        shape = (self.grid.ny, self.grid.nx)
        self.wood_bottom: Singles = np.zeros(shape, dtype=np.float32)
        self.wood_top: Singles = np.full(shape, thickness, dtype=np.float32)
        if lies is not None:
            x, y = np.meshgrid(self.grid.xs, self.grid.ys)
            low, high = lies(x, y)
            self.wood_bottom, self.wood_top = low.astype(np.float32), high.astype(np.float32)
        self.raw: Singles = self.wood_top.copy()
        self.cast_bottom: Singles = np.zeros(shape, dtype=np.float32)
        self.cast_top: Singles = np.full(shape, -1.0, dtype=np.float32)
        self.top: Singles = self.wood_top.copy()
        self._begin()

    def _begin(self) -> None:
        """What is cut from here on is measured from the blank as it is now."""
        self.began: Singles = self.top
        self.past: tuple[Past, ...] = ()

    def copy(self) -> Stock:
        other = object.__new__(Stock)
        other.grid, other.raw = self.grid, self.raw
        other.began, other.past, other.remembers = self.began, self.past, self.remembers
        for name in ("wood_bottom", "wood_top", "cast_bottom", "cast_top", "top"):
            setattr(other, name, getattr(self, name).copy())
        return other

    def cut(
        self, lower: Floats, upper: Floats, owner: NDArray[np.int64], count: int, end: Underside
    ) -> Cut:
        """Cut along straight pieces (m, 3) of `count` motions with a cutter, from above."""
        first, way = _shares(lower, upper, 2.0 * end.radius)
        of = np.repeat(np.arange(len(owner)), np.diff(first))
        cut = Cut(
            np.zeros(count), np.zeros((count, 3)), np.zeros(count), np.zeros(len(of)), of, way
        )
        grid = self.grid
        if self.remembers:
            if not self.past:
                self.began = self.top.copy()  # cutting changes the heights in place
            self.past = (*self.past, Past(lower, upper, end))
        cut_pieces(
            self.top, grid.x0, grid.y0, grid.px, grid.py, np.ascontiguousarray(lower),
            np.ascontiguousarray(upper),
            np.ascontiguousarray(owner), end, cut.removed, cut.where, cut.deep,
            first, cut.volume, self.highest(),
        )  # fmt: skip
        self._lower_bodies(lower, upper, end.radius)
        return cut

    def take_as_one(self, count: int) -> None:
        """The last `count` paths are parts of one, by one cutter."""
        parts = self.past[len(self.past) - count :]
        whole = replace(
            parts[-1],
            lower=np.concatenate([one.lower for one in parts]),
                upper=np.concatenate([one.upper for one in parts]),
        )  # fmt: skip
        self.past = (*self.past[: len(self.past) - count], whole)

    def _lower_bodies(self, lower: Floats, upper: Floats, radius: float) -> None:
        """Wood and casting down to `top`, in the rectangle that the pieces (m, 3) reach."""
        if not len(lower):
            return
        low, high = np.minimum(lower, upper).min(axis=0), np.maximum(lower, upper).max(axis=0)
        low_y, low_x = self.grid.at(low[0] - radius - self.grid.px, low[1] - radius - self.grid.py)
        high_y, high_x = self.grid.at(
            high[0] + radius + self.grid.px, high[1] + radius + self.grid.py
        )
        part = (slice(low_y, high_y + 1), slice(low_x, high_x + 1))
        for body in (self.wood_top[part], self.cast_top[part]):
            np.minimum(body, self.top[part], out=body)
        self._settle(part)

    def lower_raw(self, height: float) -> None:
        """Take the upper face as it came to be planed to `height` at most: that face bears after
        the flip."""
        self.raw = np.minimum(self.raw, np.float32(height))

    def carve(self, mask: Mask, height: float) -> None:
        """Take away all that stands above `height` in the columns of `mask`."""
        level = np.float32(height)
        np.minimum(self.wood_top, level, out=self.wood_top, where=mask)
        np.minimum(self.cast_top, level, out=self.cast_top, where=mask)
        self._settle()
        self._begin()

    def _settle(self, part: tuple[slice, slice] = (slice(None), slice(None))) -> None:
        """Set `top` from the two intervals, in a part of the columns."""
        wood, cast = self.wood_top[part], self.cast_top[part]
        upper = np.where(Stock.filled(self.wood_bottom[part], wood), wood, np.float32(NOWHERE))
        np.maximum(upper, cast, out=upper, where=Stock.filled(self.cast_bottom[part], cast))
        self.top[part] = upper

    @property
    def has_wood(self) -> Mask:
        return Stock.filled(self.wood_bottom, self.wood_top)

    @property
    def has_casting(self) -> Mask:
        return Stock.filled(self.cast_bottom, self.cast_top)

    @staticmethod
    def filled(bottom: Singles, top: Singles) -> Mask:
        """Which intervals hold anything."""
        there: Mask = top > bottom + np.float32(_EMPTY)
        return there

    @property
    def solid(self) -> Mask:
        """Columns that hold anything."""
        solid: Mask = self.top > np.float32(NOWHERE / 2.0)
        return solid

    @property
    def bottom(self) -> Singles:
        """Lowest solid of each column; meaningless where nothing is left."""
        wood = np.where(self.has_wood, self.wood_bottom, np.float32(-NOWHERE))
        cast = np.where(self.has_casting, self.cast_bottom, np.float32(-NOWHERE))
        return np.minimum(wood, cast)

    def volume(self) -> float:
        """Solid volume, mm³."""
        wood = np.where(self.has_wood, self.wood_top - self.wood_bottom, 0.0).sum(dtype=np.float64)
        cast = np.where(self.has_casting, self.cast_top - self.cast_bottom, 0.0).sum(
            dtype=np.float64
        )
        return float(wood + cast) * self.grid.px * self.grid.py

    def highest(self) -> float:
        """Height of the highest solid."""
        return float(self.top.max())

    def height_at(self, x: float, y: float) -> float:
        """Height of the column nearest to a place; NOWHERE where nothing is left."""
        return float(self.top[self.grid.at(x, y)])

    def pour(self, mask: Mask, below: float) -> None:
        """Fill the columns of `mask` that were cut from above, and still have wood, to `below` the
        raw top."""
        level = self.raw - np.float32(below)
        blind = (
            mask
            & self.has_wood
            & (self.wood_top < self.raw - np.float32(1e-3))
            & (self.wood_top < level)
        )
        self.cast_bottom[blind] = self.wood_top[blind]
        self.cast_top[blind] = level[blind]
        self._settle()

    def flip(self, about: Literal["x", "y"], onto: Singles | None = None) -> None:
        """Turn the blank over about the X axis (y becomes -y) or Y axis (x becomes -x).

        It comes to lie on a level face at its highest, or on the face `onto` (heights column by
        column), which the hold-down then draws flat.
        """
        face = np.float32(self.highest()) if onto is None else onto
        across = (
            (slice(None, None, -1), slice(None))
            if about == "x"
            else (slice(None), slice(None, None, -1))
        )
        for kind in ("wood", "cast"):
            bottom, top = getattr(self, f"{kind}_bottom"), getattr(self, f"{kind}_top")
            empty = ~(top > bottom + np.float32(_EMPTY))
            low, high = face - top, face - bottom
            low[empty], high[empty] = np.float32(0.0), np.float32(-1.0)
            setattr(self, f"{kind}_bottom", np.ascontiguousarray(low[across]))
            setattr(self, f"{kind}_top", np.ascontiguousarray(high[across]))
        self._settle()
        self._begin()
