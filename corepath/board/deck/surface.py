"""The deck: the finished upper face as a height h(x, y), mm, above the finished bottom.

Board frame: X along the length, Y across, origin at the middle of the blank. Whatever it comes from
(see `corepath.board.deck.make_deck`), a deck is held as heights at the nodes of a 1 mm grid, and a
uniform bicubic B-spline through them gives heights, slopes and second derivatives everywhere.
Beyond the grid, which reaches 40 mm past the blank, the deck is level at the edge thickness.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon

from corepath.board.deck.spline_values import coefficients_of, heights, on_lattice, shapes
from corepath.geometry.rasters import edges_of, inside
from corepath.kept import Kept
from corepath.lengths import said_all
from corepath.reported import report_keys

__all__ = ["DeckSource", "DeckSurface", "Lowering"]

Floats = NDArray[np.float64]

_FIGURES, _FIELDS = 2048, 3  # results kept of one surface


@report_keys("most", "at")
class Lowering(NamedTuple):
    """The largest lowering by the rounding of creases, mm, and where."""

    most: float
    x: float
    y: float

    @property
    def at(self) -> tuple[float, float]:
        return self.x, self.y


_NONE = Lowering(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class DeckSource:
    """Holds what is known of where a deck's heights come from.

    `station_errors` tells for each station how far the thickness passes from it; `rounded_by` is
    the largest lowering of creases; `cautions` say what a user should know of the file and of the
    patches; `sha256` names the file.
    """

    station_errors: tuple[float, ...] = ()
    rounded_by: Lowering = _NONE
    cautions: tuple[str, ...] = ()
    sha256: str | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "cautions", said_all(self.cautions))


_UNTOLD = DeckSource()


class DeckSurface:
    """Holds h(x, y) as a bicubic spline through `grid` (n, m) on the nodes `xs` (n,) by `ys` (m,),
    mm, all read-only.

    `edge` is the level beyond the grid; `highest` and `lowest` are the extreme nodes; `steepest` is
    the largest slope between nodes (a tangent); `source` tells where its heights come from;
    `coefficients` (n + 4, m + 4) and `frame` (4,) serve the evaluators, here
    `corepath.board.deck.spline_values`, in compiled loops `corepath.board.deck.spline_kernels`.
    Since a surface never changes, what is worked out of it once is good for its life: figures are
    in `kept`, what is as large as the surface in `kept_fields`.
    """

    __slots__ = (
        "coefficients", "edge", "frame", "grid", "highest", "kept", "kept_fields", "lowest",
        "source", "steepest", "step", "xs", "ys",
    )  # fmt: skip

    coefficients: Floats
    edge: float
    frame: Floats
    grid: Floats
    highest: float
    kept: Kept
    kept_fields: Kept
    lowest: float
    source: DeckSource
    steepest: float
    step: float
    xs: Floats
    ys: Floats

    def __init__(
        self, xs: Floats, ys: Floats, grid: Floats, edge: float, source: DeckSource = _UNTOLD
    ) -> None:
        # `__setattr__` below refuses every change, so that arrays and figures cannot drift apart
        put = object.__setattr__
        for name, array in (("xs", xs), ("ys", ys), ("grid", grid)):
            put(self, name, _frozen(array))
        put(self, "coefficients", _frozen(coefficients_of(grid)))
        put(self, "edge", float(edge))
        put(self, "step", float(xs[1] - xs[0]))
        put(self, "frame", _frozen(np.array([xs[0], ys[0], self.step, self.edge])))
        put(self, "highest", float(grid.max()))
        put(self, "lowest", float(grid.min()))
        slopes = np.hypot(np.diff(grid, axis=0)[:, :-1], np.diff(grid, axis=1)[:-1, :])
        put(self, "steepest", float(slopes.max()) / self.step)
        put(self, "source", source)
        put(self, "kept", Kept(_FIGURES))
        put(self, "kept_fields", Kept(_FIELDS))

    @property
    def key_parts(self) -> tuple[object, ...]:
        """All that it was made from, for the key of a kept result."""
        return self.xs, self.ys, self.grid, self.edge, self.source

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"a deck surface does not change: {name}")

    def __delattr__(self, name: str) -> None:
        raise AttributeError(f"a deck surface does not change: {name}")

    def height(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """h (mm) at `x`, `y` (mm), broadcast together; the result has their shape."""
        flat_x, flat_y, shape = _places(x, y)
        return heights(self.coefficients, self.frame, flat_x, flat_y).reshape(shape)

    def gradient(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Slopes (dh/dx, dh/dy), each of the shape of `x` and `y` broadcast together; 0 beyond the
        grid."""
        _, hx, hy, *_ = self._shapes(x, y)
        return hx, hy

    def hessian(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Second derivatives (hxx, hxy, hyy), 1/mm, of the shape of `x` and `y` broadcast
        together."""
        _, _, _, hxx, hxy, hyy = self._shapes(x, y)
        return hxx, hxy, hyy

    def on_lattice(self, xs: Floats, ys: Floats, along: int = 0, across: int = 0) -> Floats:
        """The derivative of order `along` by x and `across` by y (0 to 2) of h at `xs` (n,) by `ys`
        (m,), mm: (n, m). Quicker than asking place by place, and the same."""
        return on_lattice(self.coefficients, self.frame, xs, ys, along, across)

    def _shapes(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """(6, ...) h, hx, hy, hxx, hxy and hyy."""
        flat_x, flat_y, shape = _places(x, y)
        return shapes(self.coefficients, self.frame, flat_x, flat_y).reshape(6, *shape)

    def highest_over(self, polygon: Polygon) -> tuple[float, float, float]:
        """Returns (h, x, y) where the deck is highest over `polygon` (board frame), h true to
        0.001 mm, to 0.003 where the spline passes its nodes beside a rounded crease. Raises
        ValueError for an empty polygon."""
        return self._extremes(polygon)[1]

    def lowest_over(self, polygon: Polygon) -> tuple[float, float, float]:
        """Returns (h, x, y) where the deck is lowest over `polygon` (board frame), h true to
        0.001 mm, to 0.003 where the spline passes its nodes beside a rounded crease. Raises
        ValueError for an empty polygon."""
        return self._extremes(polygon)[0]

    def _extremes(self, polygon: Polygon) -> list[tuple[float, float, float]]:
        """Where the deck is lowest and where it is highest: most ground is asked for both."""
        if polygon.is_empty:
            raise ValueError("the polygon is empty")
        return self.kept.of(("extremes", polygon), lambda: self._found_extremes(polygon))

    def _found_extremes(self, polygon: Polygon) -> list[tuple[float, float, float]]:
        import shapely

        # The best of the nodes inside and of places half a step apart along the rim, then a lattice
        # of a tenth of a step about it: a deck is smooth over a step, so its best place is near.
        line = shapely.get_coordinates(polygon.boundary.segmentize(self.step / 2.0))
        i, j = self._nodes_in(polygon)
        on_line = self.height(line[:, 0], line[:, 1])
        candidates = np.vstack([line, np.column_stack([self.xs[i], self.ys[j]])])
        # the spline passes through the nodes
        heights = np.concatenate([on_line, self.grid[i, j]])
        around = np.linspace(-self.step, self.step, 21)
        found = []
        for sign in (-1.0, 1.0):
            x, y = _best(candidates, heights, sign)
            fine = np.column_stack([(x + around[:, None]).repeat(21), np.tile(y + around, 21)])
            fine = fine[shapely.contains_xy(polygon, fine)]
            fine = np.vstack([[[x, y]], fine])
            x, y = _best(fine, self.height(fine[:, 0], fine[:, 1]), sign)
            found.append((float(self.height(x, y)), x, y))
        return found

    def _nodes_in(self, polygon: Polygon) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        left, low, right, high = polygon.bounds
        i, j = np.searchsorted(self.xs, left), np.searchsorted(self.ys, low)
        xs = self.xs[i : np.searchsorted(self.xs, right, "right")]
        ys = self.ys[j : np.searchsorted(self.ys, high, "right")]
        if len(xs) < 2 or not len(ys):
            return np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp)
        columns, rows = np.nonzero(inside(edges_of(polygon), xs, ys))
        return columns + i, rows + j


def _best(places: Floats, heights: Floats, sign: float) -> tuple[float, float]:
    # rounded, so that the first of equal places wins on every machine
    k = int(np.argmax(sign * np.round(heights, 9)))
    return float(places[k, 0]), float(places[k, 1])


def _places(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats, tuple[int, ...]]:
    one, two = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if one.shape != two.shape:
        one, two = np.broadcast_arrays(one, two)
    return np.ascontiguousarray(one).reshape(-1), np.ascontiguousarray(two).reshape(-1), one.shape


def _frozen(array: Floats) -> Floats:
    copy = np.ascontiguousarray(array, dtype=float).copy()
    copy.setflags(write=False)
    return copy
