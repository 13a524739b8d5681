"""The virtual blank: a height map of wood and casting, in the bed frame of the current set-up.

The blank is held as columns sampled at points (a dexel field). Each holds one interval of wood and
one of casting, [bottom, top], mm above the bed; an interval whose top does not lie above its bottom
is empty. Cutting always comes from above and lowers both tops. `top` is the height of the highest
solid of each column, `NOWHERE` where nothing is left. Arrays are [iy, ix], X running fastest,
columns at the middles of equal cells over the whole blank; the origin is the middle of the blank on
the bed. Heights are single precision: their steps at 20 mm are 0.000002 mm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.step_counts import fewest_steps
from corepath.stock.column_kernels import cut_pieces, fill_polygon
from corepath.stock.contact_kernels import Underside
from corepath.stock.cut_memory import CutMemory
from corepath.stock.kept_face import KeptFace

__all__ = ["NOWHERE", "BlankFaces", "Cut", "Grid", "LaidAside", "Past", "Stock"]

# A height far below any cut, and still exact in single precision.
NOWHERE = -1.0e6
# mm: an interval no longer than this is empty. A few steps of single precision at the heights of a
# blank, which a flip (face - top, face - bottom) may leave of nothing.
_EMPTY = 1.0e-5
# Parts of one straight piece, at most: enough for two metres of path with a cutter of 2 mm.
_SHARES = 1000
_BAND = 32  # rows: of a long board some hundred thousand bytes of each face

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Mask = NDArray[np.bool_]
BlankFaces = Callable[[Floats, Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, slots=True)
class Grid:
    """The places of the columns: the first at (x0, y0), spacing px by py (mm), ny rows of nx."""

    x0: float
    y0: float
    px: float
    py: float
    nx: int
    ny: int

    @staticmethod
    def over(length: float, width: float, cell: float) -> Grid:
        """Make a grid over a rectangle about the origin, columns no farther apart than `cell`."""
        nx, ny = (
            max(fewest_steps(length, cell), 1),
            max(fewest_steps(width, cell), 1),
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
        """Return (iy, ix) of the column nearest to a place; at the rim for places outside."""
        ix = int(np.floor((x - self.x0) / self.px + 0.5))
        iy = int(np.floor((y - self.y0) / self.py + 0.5))
        return min(max(iy, 0), self.ny - 1), min(max(ix, 0), self.nx - 1)

    def place(self, iy: int, ix: int) -> tuple[float, float]:
        """Return (x, y) of a column."""
        return self.x0 + self.px * ix, self.y0 + self.py * iy

    def inside(self, rings: Iterable[Floats]) -> Mask:
        """Return a mask of the columns inside closed rings, by the even-odd rule; each ring is a
        (k, 2) array whose first point is repeated at the end."""
        mask = np.zeros((self.ny, self.nx), dtype=np.bool_)
        edges = [np.hstack((ring[:-1, :2], ring[1:, :2])) for ring in rings]
        if edges:
            fill_polygon(
                mask, self.x0, self.y0, self.px, self.py, np.ascontiguousarray(np.vstack(edges))
            )
        return mask

    def about(self, x: float, y: float, radius: float) -> tuple[slice, slice]:
        """Return the rows and columns of a square about a place, at least all within `radius` of
        it."""
        low_y, low_x = self.at(x - radius, y - radius)
        high_y, high_x = self.at(x + radius, y + radius)
        return slice(low_y, high_y + 1), slice(low_x, high_x + 1)

    def near(self, x: float, y: float, radius: float) -> Mask:
        """Return a mask [iy, ix] of the columns within `radius` of a place, mm."""
        mask = np.zeros((self.ny, self.nx), dtype=np.bool_)
        part = self.about(x, y, radius)
        mask[part] = (self.xs[None, part[1]] - x) ** 2 + (
            self.ys[part[0], None] - y
        ) ** 2 <= radius * radius
        return mask


@dataclass(frozen=True, slots=True)
class Cut:
    """What each motion cut: `removed` (n,) how far the deepest column was lowered, `where` (n, 3)
    at which place, `deep` (n,) how far the tip stood below the stock around it; mm.

    The path is divided into shares of about one diameter: `volume` (k,) taken in each, mm³; `of`
    (k,) the piece that it belongs to; `way` (k,) its length, mm.
    """

    removed: Floats
    where: Floats
    deep: Floats
    volume: Floats
    of: NDArray[np.int64]
    way: Floats

    @staticmethod
    def nothing(count: int) -> Cut:
        """Return the cut of `count` motions that meet nothing."""
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
    """Divide pieces into shares no longer than `step`, unless there were too many.

    Returns the first share of each piece, (m + 1,), and the length of each share. A plunge is one
    share: all its columns go down together, not one after another.
    """
    way = upper - lower
    long = np.sqrt((way**2).sum(axis=1))
    count = np.clip(np.ceil(long / max(step, 1e-3)), 1, _SHARES).astype(np.int64)
    count[~way[:, :2].any(axis=1)] = 1
    # A bound on memory: a file of wild coordinates may hold nothing but pieces of `_SHARES` shares.
    # Beyond a hundred times what an ordinary file has, the shares of all pieces grow alike.
    many = float(count.sum()) / (4.0 * len(count) + _SHARES)
    if many > 100.0:
        count = np.maximum(count // int(many / 100.0 + 1.0), 1)
    return np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(count))), np.repeat(
        long / count, count
    )


def _bands(first: int, last: int) -> Iterator[slice]:
    """Divide rows into bands whose columns fit into the processor's cache: what goes over them
    several times then takes half as long."""
    for row in range(first, last, _BAND):
        yield slice(row, min(row + _BAND, last))


class Stock:
    """The blank as it is now, in the bed frame of the current set-up.

    `raw` is the height of its upper raw face, column by column, mm. With `lies` (a function of x
    and y arrays that returns the heights of the lower and the upper face) the blank is as it was
    measured, else flat. `began` is `top` before the paths `past` were cut, which are those of this
    set-up, or since its pour or saw; with `remembers` false neither is kept, so that memory does
    not grow with the paths. Blanks that share a `memory` take over from one another what they would
    cut in just the same way.
    """

    def __init__(
        self, length: float, width: float, thickness: float, cell: float = 0.5,
        lies: BlankFaces | None = None,
        remembers: bool = True,
    ) -> None:  # fmt: skip
        self.remembers = remembers
        self.memory: CutMemory | None = None
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
        """Forget the paths so far: `finer` and the ways down start from the blank as it is now."""
        self.began: Singles = self.top
        self.past: tuple[Past, ...] = ()

    def _without_tops(self) -> Stock:
        """Return a blank like this one, without the faces that cutting changes in place."""
        other = object.__new__(Stock)
        other.grid, other.raw, other.remembers = self.grid, self.raw, self.remembers
        other.memory = self.memory
        other.wood_bottom, other.cast_bottom = self.wood_bottom, self.cast_bottom
        # before the first path it is `top` itself, which goes on being cut
        other.began, other.past = self.began if self.past else self.raw, self.past
        return other

    def copy(self) -> Stock:
        """Return a blank of its own that is cut without this one."""
        other = self._without_tops()
        other.wood_top, other.cast_top = self.wood_top.copy(), self.cast_top.copy()
        other.top = self.top.copy()
        if not other.past:
            other._begin()
        return other

    def lay_aside(self) -> LaidAside:
        """Keep the blank as it is now in little room."""
        faces = (self.wood_top, self.cast_top, self.top)
        wood, casting, top = (KeptFace.of(face) for face in faces)
        return LaidAside(self._without_tops(), wood, casting, top)

    def cut(
        self, lower: Floats, upper: Floats, owner: NDArray[np.int64], count: int, end: Underside
    ) -> Cut:
        """Cut along straight pieces from `lower` to `upper` (m, 3) with a cutter, from above.

        `owner` (m,) is the motion of each piece, below `count`. Returns what each motion cut.
        """
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

        def lowering() -> None:
            cut_pieces(
                self.top, grid.x0, grid.y0, grid.px, grid.py, np.ascontiguousarray(lower),
                np.ascontiguousarray(upper),
                np.ascontiguousarray(owner), end, cut.removed, cut.where, cut.deep,
                first, cut.volume, self.highest(),
            )  # fmt: skip

        if self.memory is None:
            lowering()
        else:
            taken = cut.removed, cut.where, cut.deep, cut.volume
            key = end, grid, count
            self.memory.cut(self.top, key, (lower, upper, owner), taken, lowering)
        self._lower_bodies(lower, upper, end.radius)
        return cut

    def take_as_one(self, count: int) -> None:
        """Join the last `count` paths in `past` to one; they are parts of one file, by one
        cutter."""
        parts = self.past[len(self.past) - count :]
        whole = replace(
            parts[-1],
            lower=np.concatenate([one.lower for one in parts]),
                upper=np.concatenate([one.upper for one in parts]),
        )  # fmt: skip
        self.past = (*self.past[: len(self.past) - count], whole)

    def _lower_bodies(self, lower: Floats, upper: Floats, radius: float) -> None:
        """Lower wood and casting to `top`, in the rectangle that the pieces (m, 3) reach."""
        if not len(lower):
            return
        low, high = np.minimum(lower, upper).min(axis=0), np.maximum(lower, upper).max(axis=0)
        low_y, low_x = self.grid.at(low[0] - radius - self.grid.px, low[1] - radius - self.grid.py)
        high_y, high_x = self.grid.at(
            high[0] + radius + self.grid.px, high[1] + radius + self.grid.py
        )
        for rows in _bands(low_y, high_y + 1):
            part = (rows, slice(low_x, high_x + 1))
            for body in (self.wood_top[part], self.cast_top[part]):
                np.minimum(body, self.top[part], out=body)
            self._settle_band(part)

    def lower_raw(self, height: float) -> None:
        """Cap the upper raw face at `height`, mm; after the flip the blank rests on that face."""
        self.raw = np.minimum(self.raw, np.float32(height))

    def carve(self, mask: Mask, height: float | Singles) -> None:
        """Remove all that stands above `height` (mm, one for all or [iy, ix]) in the columns of
        `mask` [iy, ix]."""
        level = np.asarray(height, dtype=np.float32)
        np.minimum(self.wood_top, level, out=self.wood_top, where=mask)
        np.minimum(self.cast_top, level, out=self.cast_top, where=mask)
        self._settle()
        self._begin()

    def _settle(self, part: tuple[slice, slice] = (slice(None), slice(None))) -> None:
        """Work out `top` from the two intervals, in a part of the columns."""
        for rows in _bands(*part[0].indices(self.grid.ny)[:2]):
            self._settle_band((rows, part[1]))

    def _settle_band(self, part: tuple[slice, slice]) -> None:
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
        """Tell which intervals from `bottom` to `top` (of one shape) hold anything."""
        there: Mask = top > bottom + np.float32(_EMPTY)
        return there

    @property
    def solid(self) -> Mask:
        """Tell which columns hold anything, [iy, ix]."""
        solid: Mask = self.top > np.float32(NOWHERE / 2.0)
        return solid

    @property
    def bottom(self) -> Singles:
        """Return the height, mm, of the lowest solid of each column, [iy, ix]; meaningless where
        nothing is left."""
        wood = np.where(self.has_wood, self.wood_bottom, np.float32(-NOWHERE))
        cast = np.where(self.has_casting, self.cast_bottom, np.float32(-NOWHERE))
        return np.minimum(wood, cast)

    def volume(self) -> float:
        """Return the solid volume, mm³."""
        wood = np.where(self.has_wood, self.wood_top - self.wood_bottom, 0.0).sum(dtype=np.float64)
        cast = np.where(self.has_casting, self.cast_top - self.cast_bottom, 0.0).sum(
            dtype=np.float64
        )
        return float(wood + cast) * self.grid.px * self.grid.py

    def highest(self) -> float:
        """Return the height of the highest solid, mm."""
        return float(self.top.max())

    def height_at(self, x: float, y: float) -> float:
        """Return the height of the column nearest to a place; NOWHERE where nothing is left."""
        return float(self.top[self.grid.at(x, y)])

    def pour(self, mask: Mask, below: float) -> None:
        """Fill columns with resin up to `below` (mm) under the raw top.

        Of `mask`, only those that were cut from above and still have wood under them are filled.
        """
        rows, columns = (np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0))
        if len(rows):
            part = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
            self._fill(part, mask[part], below)
        # The paths so far met no resin: replayed over it, they would cut it away.
        self._begin()

    def _fill(self, part: tuple[slice, slice], mask: Mask, below: float) -> None:
        """Fill the columns of `mask`, which is of a part of the columns; see `pour`."""
        raw, wood, bottom = self.raw[part], self.wood_top[part], self.wood_bottom[part]
        level = raw - np.float32(below)
        # The caller's mask is a little wider than the pocket. Uncut wood (within 0.001 mm of the
        # raw top) and holes right through, such as those of the dowels, take no resin.
        blind = mask & Stock.filled(bottom, wood) & (wood < raw - np.float32(1e-3)) & (wood < level)
        # A new one: copies of this blank share the old.
        self.cast_bottom = self.cast_bottom.copy()
        self.cast_bottom[part][blind] = wood[blind]
        self.cast_top[part][blind] = level[blind]
        self._settle(part)

    def flip(self, about: Literal["x", "y"], onto: Singles | None = None) -> None:
        """Turn the blank over about the X axis (y becomes -y) or Y axis (x becomes -x).

        It comes to rest on a level plane at its highest column, or on the face `onto` (heights
        [iy, ix] before the flip), which the hold-down then draws flat.
        """
        face = np.float32(self.highest()) if onto is None else onto
        across = (
            (slice(None, None, -1), slice(None))
            if about == "x"
            else (slice(None), slice(None, None, -1))
        )
        for kind in ("wood", "cast"):
            bottom, top = getattr(self, f"{kind}_bottom"), getattr(self, f"{kind}_top")
            # Empty intervals get the values that an empty casting has at first, instead of NOWHERE
            # turned over.
            empty = ~(top > bottom + np.float32(_EMPTY))
            low, high = face - top, face - bottom
            low[empty], high[empty] = np.float32(0.0), np.float32(-1.0)
            setattr(self, f"{kind}_bottom", np.ascontiguousarray(low[across]))
            setattr(self, f"{kind}_top", np.ascontiguousarray(high[across]))
        self._settle()
        self._begin()


@dataclass(frozen=True, slots=True)
class LaidAside:
    """A blank kept in little room."""

    rest: Stock
    wood_top: KeptFace
    cast_top: KeptFace
    top: KeptFace

    def stock(self) -> Stock:
        """Return the blank as it was, to cut it."""
        other = self.rest._without_tops()
        other.wood_top, other.cast_top = self.wood_top.face(), self.cast_top.face()
        other.top = self.top.face()
        if not other.past:
            other._begin()
        return other
