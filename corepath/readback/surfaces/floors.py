"""Checks of heights from the columns: floors of pockets, the plane of the skim, castings that show,
the deck. Bed frame, mm."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from corepath.board.deck.surface import DeckSurface
from corepath.lengths import mm
from corepath.readback.inspection import Inspection
from corepath.readback.surfaces.measures import MeasureList, spread
from corepath.readback.surfaces.walls import opened, rings_of
from corepath.stock.material import Mask, Stock
from corepath.work.works import Deck, Pocket

__all__ = [
    "check_deck", "check_floor", "check_plane", "check_rough", "inside", "measure_showing",
    "surface_heights", "to_reach",
]  # fmt: skip

Singles = NDArray[np.float32]


def to_reach(stock: Stock, area: BaseGeometry, spare: BaseGeometry | None, edge: float) -> Mask:
    """Return a mask [iy, ix] of the columns of `area` that must be reached: all but those within
    `edge` (mm) of `spare`."""
    mask = inside(stock, area)
    return mask if spare is None else mask & ~inside(stock, shapely.buffer(spare, edge))


def inside(stock: Stock, area: BaseGeometry) -> Mask:
    """Return a mask [iy, ix] of the columns inside an area."""
    return stock.grid.inside(rings_of(area))


def surface_heights(stock: Stock, surface: DeckSurface) -> Singles:
    """Return h at every column, [iy, ix], single precision; 64 rows at a time to keep memory
    low."""
    heights = np.empty((stock.grid.ny, stock.grid.nx), dtype=np.float32)
    xs, ys = stock.grid.xs, stock.grid.ys
    for first in range(0, len(ys), 64):
        rows = ys[first : first + 64]
        x, y = (
            np.broadcast_to(xs, (len(rows), len(xs))),
            np.broadcast_to(rows[:, None], (len(rows), len(xs))),
        )
        heights[first : first + 64] = surface.height(
            np.ascontiguousarray(x), np.ascontiguousarray(y)
        )
    return heights


def _spot(
    stock: Stock, values: NDArray[np.float32], mask: Mask, largest: bool
) -> tuple[float, tuple[float, float]]:
    """Return an extreme of `values` over a mask and its place; the mask must not be empty."""
    fill = np.float32(-np.inf if largest else np.inf)
    masked = values if mask.all() else np.where(mask, values, fill)
    flat = int(np.argmax(masked) if largest else np.argmin(masked))
    iy, ix = np.unravel_index(flat, masked.shape)
    return float(masked[iy, ix]), stock.grid.place(int(iy), int(ix))


def check_floor(pocket: Pocket, seen: Inspection) -> None:
    """Check the lowest and the highest column of a pocket's floor, over what the cutter reaches
    less one cell (beside the wall a column may stand on either side of it)."""
    reached = opened(pocket.area, seen.path.cutter.radius)
    mask = inside(seen.stock, shapely.buffer(reached, -seen.stock.grid.cell))
    if not mask.any():
        seen.findings.add("not-reached", f"{pocket.id}: the cutter does not fit into it")
        return
    low, low_at = _spot(seen.stock, seen.stock.top, mask, largest=False)
    high, high_at = _spot(seen.stock, seen.stock.top, mask, largest=True)
    # A column that is cut away altogether (NOWHERE) counts as a floor at the bed.
    if low < -1.0e5:
        low = 0.0
    says = "of its floor, height above the bed"
    off = np.maximum(seen.stock.top[mask], np.float32(0.0)) - np.float32(pocket.floor)
    take = seen.measures.take
    take(f"{pocket.id} floor low", low, pocket.floor, f"lowest {says}", low_at, spread(off))
    take(f"{pocket.id} floor high", high, pocket.floor, f"highest {says}", high_at)
    if low < pocket.floor - seen.allowed.heights:
        says = (
            f"{pocket.id}: its floor is at {mm(low):.3f}, {mm(pocket.floor):.3f} wanted: too deep"
        )
        seen.findings.add(
            "floor",
            says,
            line=seen.path.line_near(*low_at),
            place=(*low_at, low),
            depth=pocket.floor - low,
        )
    if high > pocket.floor + seen.allowed.heights:
        uncut = high > pocket.top - seen.allowed.heights
        kind = "not-reached" if uncut else "floor"
        says = f"{pocket.id}: its floor stands at {mm(high):.3f}, {mm(pocket.floor):.3f} wanted" + (
            ": uncut" if uncut else ""
        )
        seen.findings.add(kind, says, place=(*high_at, high), depth=high - pocket.floor)


def check_plane(plane: float, seen: Inspection, within: Mask | None = None) -> None:
    """Check the face that planing leaves, over all columns (`within` a mask) that hold anything.

    A column that stood below the plane, as where the first pass meets only a thicker blank, must
    stay as it was.
    """
    solid = seen.stock.solid if within is None else seen.stock.solid & within
    wanted = np.minimum(seen.before, np.float32(plane))
    off = seen.stock.top - wanted
    for name, largest in (("low", False), ("high", True)):
        _, at = _spot(seen.stock, off, solid, largest=largest)
        column = seen.stock.grid.at(*at)
        value, asked = float(seen.stock.top[column]), float(wanted[column])
        words = "highest" if largest else "lowest"
        shown = () if largest else spread(off if solid.all() else off[solid])
        seen.measures.take(
            f"plane {name}",
            value,
            asked,
            f"{words} of the planed face, height above the bed",
            at,
            shown,
        )
        if abs(value - asked) > seen.allowed.heights:
            says = f"the planed face is at {mm(value):.3f}, {mm(asked):.3f} wanted"
            seen.findings.add(
                "plane",
                says,
                line=seen.path.line_near(*at),
                place=(*at, value),
                depth=abs(value - asked),
            )


def measure_showing(
    stock: Stock, castings: Mapping[str, Mask], skin: float, measures: MeasureList
) -> None:
    """Measure the share of each casting's footprint that shows from above, with no more than `skin`
    (mm) of wood over it, and where most wood lies over it."""
    cast = stock.has_casting
    over = np.where(cast, stock.top - stock.cast_top, np.float32(0.0))
    bare = over <= np.float32(skin)
    for name, mask in castings.items():
        footprint = mask & cast
        whole = np.count_nonzero(footprint)
        share = np.count_nonzero(footprint & bare) / whole if whole else 0.0
        says, where = "share of its footprint with no wood over it", None
        if whole and share < 1.0:
            most, where = _spot(stock, over, footprint, largest=True)
            says += f"; up to {mm(most):.2f} of wood over it"
        measures.take_in("", f"{name} shows", share, None, says, where)


def _deck_mask(deck: Deck, area: Polygon, seen: Inspection, within: Mask) -> Mask:
    """Return a mask of the columns of an area of the deck that must be reached, of those
    `within`."""
    reached = to_reach(seen.stock, area, deck.spare, seen.allowed.edge)
    return seen.stock.solid & within & reached


def _waste(deck: Deck, seen: Inspection, within: Mask) -> Mask:
    """Return a mask of the columns of the deck's area that are not finished, of those `within`;
    none where all of it is."""
    if deck.finished is None:
        return np.zeros_like(within)
    outside = ~inside(seen.stock, shapely.buffer(deck.finished, seen.allowed.edge))
    return seen.stock.solid & within & outside & inside(seen.stock, deck.area)


def _check_waste_low(waste: Mask, off: Singles, gouge: float, seen: Inspection) -> None:
    """Check that no waste (mask) is cut below h by more than `gouge` mm: it carries the rest of the
    blank, and bag and laminate lie on it; `off` [iy, ix] is what stands over h."""
    if not waste.any():
        return
    low, at = _spot(seen.stock, off, waste, largest=False)
    seen.measures.take("waste low", low, None, "least over the edge's level beyond the deck", at)
    if low < -(gouge + 0.001):
        says = f"the waste beyond the deck is cut {mm(-low):.3f} below the edge's level"
        z = float(seen.stock.top[seen.stock.grid.at(*at)])
        seen.findings.add(
            "deck-height", says, line=seen.path.line_near(*at), place=(*at, z), depth=-low
        )


def check_deck(deck: Deck, heights: Singles, seen: Inspection, within: Mask) -> None:
    """Check the deck against h(x, y), `heights`, over every column `within` a mask that is left,
    except those that it may spare."""
    mask = _deck_mask(deck, deck.asked, seen, within)
    if not mask.any():
        seen.findings.add("not-reached", "nothing of the deck can be reached")
        return
    # Columns may miss the top of a ridge between them: `exact_deck` proves the deck. This covers
    # every place of it, and is asked in each case too.
    off = seen.stock.top - heights
    _check_waste_low(_waste(deck, seen, within), off, deck.gouge, seen)
    low, low_at = _spot(seen.stock, off, mask, largest=False)
    high, high_at = _spot(seen.stock, off, mask, largest=True)
    edges = (-0.1, -0.05, -0.02, -0.01, 0.0, 0.01, 0.02, 0.05, 0.1)
    counts, _ = np.histogram(off[mask], bins=np.array([-np.inf, *edges, np.inf]))
    histogram = (("edges", edges), ("counts", tuple(float(count) for count in counts)))
    seen.measures.take("deck low", low, 0.0, "furthest below its height", low_at, histogram)
    seen.measures.take("deck high", high, 0.0, "furthest above its height", high_at)
    # 0.001 mm: the virtual blank's own error, so that a path of just the gouge allowed passes.
    if low < -(deck.gouge + 0.001):
        z = float(seen.stock.top[seen.stock.grid.at(*low_at)])
        says = f"the deck is {mm(-low):.3f} too low, at most {mm(deck.gouge):g} allowed"
        seen.findings.add(
            "deck-height", says, line=seen.path.line_near(*low_at), place=(*low_at, z), depth=-low
        )
    if high > deck.scallop + seen.allowed.heights:
        z = float(seen.stock.top[seen.stock.grid.at(*high_at)])
        says = f"the deck stands {mm(high):.3f} too high, ridges of {mm(deck.scallop):g} allowed"
        # 0.001 mm, the error of the virtual blank: the stock's top as it was.
        kind = "not-reached" if z > deck.top - 1e-3 else "deck-height"
        seen.findings.add(kind, says, place=(*high_at, z), depth=high)


def check_rough(deck: Deck, heights: Singles, layer: float, seen: Inspection, within: Mask) -> None:
    """Check that roughing cuts nothing below h, and leaves at most what it is to leave, one layer
    (`layer`, mm) and 0.1 mm; over the columns `within` a mask."""
    mask = _deck_mask(deck, deck.area, seen, within)
    if not mask.any():
        seen.findings.add("not-reached", "nothing of the deck can be reached")
        return
    off = seen.stock.top - heights
    low, low_at = _spot(seen.stock, off, mask, largest=False)
    high, high_at = _spot(seen.stock, off, mask, largest=True)
    most = deck.rough + layer + 0.1
    seen.measures.take("rough low", low, deck.rough, "least left over the deck", low_at)
    seen.measures.take("rough high", high, None, "most left over the deck", high_at)
    if low < -deck.gouge:
        says = f"roughing cuts {mm(-low):.3f} below the deck"
        z = float(seen.stock.top[seen.stock.grid.at(*low_at)])
        seen.findings.add(
            "deck-height", says, line=seen.path.line_near(*low_at), place=(*low_at, z), depth=-low
        )
    if high > most:
        says = f"roughing leaves {mm(high):.3f} over the deck, at most {mm(most):.3f} expected"
        seen.findings.add(
            "not-reached",
            says,
            place=(*high_at, float(seen.stock.top[seen.stock.grid.at(*high_at)])),
            depth=high,
        )
    _check_waste_high(deck, off, layer, seen, mask)


def _check_waste_high(deck: Deck, off: Singles, layer: float, seen: Inspection, mask: Mask) -> None:
    """Check how high the waste beyond the finished deck stands after roughing, of the columns of a
    mask that were to be reached; `off` [iy, ix] is what stands over h, `layer` the depth of one
    layer, mm."""
    waste = _waste(deck, seen, mask)
    if not waste.any():
        return
    high, at = _spot(seen.stock, off, waste, largest=True)
    # Waste is level: a flat end leaves no ridges on it, a rounded one up to half a layer.
    most = deck.rough + 0.1 + (0.5 * layer if seen.path.cutter.corner_radius > 0.0 else 0.0)
    seen.measures.take("waste high", high, None, "most over the edge's level beyond the deck", at)
    if high > most:
        z = float(seen.stock.top[seen.stock.grid.at(*at)])
        says = f"waste stands {mm(high):.3f} over the edge's level, at most {mm(most):.3f} expected"
        seen.findings.add("not-reached", says, place=(*at, z), depth=high)
