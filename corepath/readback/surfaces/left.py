"""Measures of what is left of the blank after each set-up, from its columns: thinnest places,
floors, seats, the edge.

Point samples, never averages: the least of the columns and its place, so nothing is thinner than
reported except between columns. Wood, casting and whole mean the height of each column's interval,
mm. Places in the bed frame of the set-up.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.readback.surfaces.floors import inside
from corepath.readback.surfaces.measures import MeasureList, spread
from corepath.stock.material import Mask, Stock

__all__ = [
    "measure_edge", "measure_floors", "measure_left", "measure_seats", "measure_thinnest",
]  # fmt: skip

# mm between the places along the board's edge.
_STATION = 1.0
# mm below the raw top from which on a column counts as cut: far above single precision.
_THIN = 1e-3

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]


def _wood(stock: Stock) -> Singles:
    """Return the height of the wood of each column, mm; 0 where there is none."""
    return np.where(stock.has_wood, stock.wood_top - stock.wood_bottom, np.float32(0.0))


def _whole(stock: Stock, bottom: Singles) -> Singles:
    """Return the height of each column from its lowest solid, at `bottom`, to its highest, mm."""
    return np.where(stock.solid, stock.top - bottom, np.float32(0.0))


def _casting(stock: Stock) -> Singles:
    return np.where(stock.has_casting, stock.cast_top - stock.cast_bottom, np.float32(0.0))


def _least(
    stock: Stock,
    values: Singles,
    mask: Mask,
    part: tuple[slice, slice] = (slice(None), slice(None)),
) -> tuple[float, tuple[float, float]]:
    """Return the least of the values over a mask that is not empty, and its place; `part` are rows
    and columns that hold all of the mask."""
    some = np.where(mask[part], values[part], np.float32(np.inf))
    rows, columns = np.unravel_index(int(np.argmin(some)), some.shape)
    iy, ix = (int(part[0].start or 0) + int(rows), int(part[1].start or 0) + int(columns))
    return float(values[iy, ix]), stock.grid.place(iy, ix)


def measure_left(
    stock: Stock, board: Polygon | None, seats: Collection[Polygon], measures: MeasureList
) -> None:
    """Measure the thinnest column left, of the whole blank and of the board, and how even the face
    on the bed is; `seats` cut from below are no part of that face."""
    solid, has_wood, wood, low = stock.solid, stock.has_wood, _wood(stock), stock.bottom
    whole = _whole(stock, low)
    bare = solid if board is None else solid & inside(stock, board)
    for name, mask in (("blank", solid), ("board", bare)):
        if (name == "board" and board is None) or not mask.any():
            continue
        _take_thinnest(name, stock, whole, mask, measures)
        wooden = mask & has_wood
        if wooden.any():
            least, at = _least(stock, wood, wooden)
            measures.take(
                f"{name} least wood", least, None, "least wood of a column that has any", at
            )
    for seat in seats:
        bare = bare & ~inside(stock, shapely.buffer(seat, stock.grid.cell))
    if bare.any():
        least, at = _least(stock, -low, bare)
        says = "highest that the face below stands off the bed, seats left out"
        measures.take("face below", -least, None, says, at, spread(low[bare]))


def measure_thinnest(stock: Stock, board: Polygon | None, measures: MeasureList) -> None:
    """Measure the thinnest column left of the board, as `measure_left` does; nothing without a
    board."""
    if board is None:
        return
    mask = stock.solid & inside(stock, board)
    if mask.any():
        _take_thinnest("board", stock, _whole(stock, stock.bottom), mask, measures)


def _take_thinnest(
    name: str, stock: Stock, whole: Singles, mask: Mask, measures: MeasureList
) -> None:
    least, at = _least(stock, whole, mask)
    says = "thinnest place left, wood and casting together"
    measures.take(f"{name} thinnest", least, None, says, at)


def measure_floors(stock: Stock, castings: Mapping[str, Polygon], measures: MeasureList) -> None:
    """Measure the wood left under the floor of each casting, before it is poured."""
    wood, cut = _wood(stock), stock.raw - stock.top > np.float32(_THIN)
    for name, area in castings.items():
        mask = inside(stock, area) & cut
        if not mask.any():
            continue
        least, at = _least(stock, wood, mask)
        says = "least wood under its floor"
        measures.take(f"{name} wood under", least, None, says, at, spread(wood[mask]))


def measure_seats(
    stock: Stock,
    seats: Mapping[str, Polygon],
    bores: Mapping[str, tuple[float, float, float]],
    measures: MeasureList,
) -> None:
    """Measure the least wood over the flange of each insert once the deck is cut: over its seat,
    beside its bore (x, y, diameter); both by id in the frame of C."""
    # Half the diagonal of a cell, so that no column stands over the bore or beside the seat.
    slack, wood = 0.71 * stock.grid.cell, _wood(stock)
    for name, seat in seats.items():
        x, y, diameter = bores[name]
        flange = inside(stock, shapely.buffer(seat, -slack))
        # only about the seat: of hundreds, each would go over all columns several times
        part = stock.grid.about(x, y, float(shapely.hausdorff_distance(seat, shapely.Point(x, y))))
        flange[part] &= ~stock.grid.near(x, y, diameter / 2.0 + slack)[part]
        if not flange[part].any():
            continue
        least, at = _least(stock, wood, flange, part)
        measures.take(
            f"{name} wood over", least, None, "least wood between its seat and the deck", at
        )


def measure_edge(
    stock: Stock, board: Polygon | None, castings: Mapping[str, Mask], measures: MeasureList
) -> None:
    """Measure the height of the casting just within the board's edge, at stations a millimetre
    apart, and the share of them without casting."""
    if board is None or not castings:
        return
    within = shapely.buffer(board, -0.71 * stock.grid.cell)
    if within.is_empty:
        return
    ring = shapely.segmentize(shapely.get_exterior_ring(shapely.get_parts(within)[0]), _STATION)
    places = shapely.get_coordinates(ring)
    grid = stock.grid
    ix = np.clip(np.rint((places[:, 0] - grid.x0) / grid.px).astype(np.int64), 0, grid.nx - 1)
    iy = np.clip(np.rint((places[:, 1] - grid.y0) / grid.py).astype(np.int64), 0, grid.ny - 1)
    heights = _casting(stock)[iy, ix]
    at = int(np.argmin(heights))
    where = (float(places[at, 0]), float(places[at, 1]))
    says = "least height of the casting just within the board's edge"
    measures.take("casting at the edge", float(heights[at]), None, says, where, spread(heights))
    bare = float((heights <= 0.0).mean())
    measures.take_in(
        "", "edge without casting", bare, None, "share of the board's edge that has none"
    )
