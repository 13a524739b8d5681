"""Read-back of set-up D: the laid-up blank as columns, the trim's wall and web, the bolt holes in
their castings.

Frame of D: X along the chord, Y across, Z up from the rise 0 of the form; mm. The underside of the
blank rests on the cradle, which has the shape of the form: what goes through the blank goes into
the cradle.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.gcode.read.findings import Findings
from corepath.layup.laid import LaidUp
from corepath.lengths import mm
from corepath.readback.inspection import Inspection
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.surfaces.floors import inside
from corepath.readback.surfaces.measures import MeasureList
from corepath.readback.surfaces.walls import swept_area
from corepath.stock.material import Mask, Stock
from corepath.stock.path import Pieces
from corepath.work.works import Trim, Work

__all__ = ["check_bolts", "check_trim", "laid_stock", "trim_mask", "zero_laid"]

Floats = NDArray[np.float64]
_SAMPLE = 0.5


def laid_stock(laid: LaidUp, cell: float) -> Stock:
    """Return the blank with its laminates as it lies in the cradle, columns at most `cell` mm
    apart."""

    def faces(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        # The columns reach as far on both sides of the middle, a blank over an uneven curve does
        # not: beyond its nearer end they stand no higher than that end.
        within = np.clip(x, *laid.ends)
        return laid.bottom(within), laid.top(within, y)

    return Stock(2.0 * max(abs(end) for end in laid.ends), laid.width, laid.edge, cell, faces)


def zero_laid(shop: SimulationSetup, laid: LaidUp) -> tuple[float, float, float]:
    """Return the work zero in the frame of D: on the cradle's face at the middle of the blank, or
    on the top of the laminate at the place that is touched."""
    x, y = (0.0, 0.0) if shop.xy_zero == "middle" else (laid.ends[0], -laid.width / 2.0)
    if shop.z_zero == "bed" or shop.touch_at is None:
        return x, y, float(laid.bottom(0.0))
    flat_x, flat_y = shop.touch_at
    _, z = laid.place(flat_x, laid.below + float(laid.deck.height(flat_x, flat_y)) + laid.above)
    return x, y, float(z)


def trim_mask(stock: Stock, work: Work, trim: Trim, edge: float) -> Mask:
    """Return a mask [iy, ix] of the columns that the trim may lower: a slot along the outline, as
    wide as the cutter and what roughing leaves, and `edge` (mm) on either side."""
    slot = trim.area.buffer(2.0 * work.cutter.radius + trim.finish + edge).difference(
        trim.area.buffer(-edge)
    )
    return inside(stock, slot)


def check_trim(trim: Trim, seen: Inspection) -> None:
    """Check the wall of the trim all round, and the web left under it: nowhere thinner than asked
    for, and no thicker than the curve of the form makes it."""
    # Pieces that travel above the blank are left out.
    ground = trim.laid.bottom(seen.path.pieces.middle[:, 0])
    low = seen.path.pieces.pick(
        seen.path.pieces.low < ground + trim.laid.edge * 1.5 + seen.path.cutter.radius
    )
    slow = low.pick(seen.path.kind[low.owner] > 0)
    if not len(slow):
        seen.findings.add("not-reached", "no motion cuts the trim")
        return
    _check_wall(trim, slow, seen)
    _check_web(trim, slow, seen)


def _check_wall(trim: Trim, pieces: Pieces, seen: Inspection) -> None:
    radius = seen.path.cutter.radius
    # The cutter passes outside the board: it cannot enter hollows tighter than its radius. What it
    # leaves at best is the closing of the outline, against which wood left standing is measured.
    left = trim.area.buffer(radius, quad_segs=64).buffer(-radius, quad_segs=64)
    at_floor = pieces.pick(_on_web(trim, pieces, radius, 10.0 * seen.allowed.heights))
    sides = [("cut into the board", _deviation(trim.area, pieces, radius), 1.0)]
    if isinstance(left, Polygon) and len(at_floor):
        sides.append(("left on the board", _deviation(left, at_floor, radius), -1.0))
    for name, found, sign in sides:
        k = int(np.argmax(np.round(sign * found[:, 2], 6)))
        x, y, deviation = found[k].tolist()
        seen.measures.take(
            f"trim, {name}", deviation, 0.0, "at the worst place of the wall", (x, y)
        )
        if sign * deviation > seen.allowed.walls:
            says = f"trim: {mm(abs(deviation)):.3f} {name}"
            seen.findings.add(
                "width",
                says,
                line=seen.path.line_near(x, y),
                place=(x, y, 0.0),
                depth=abs(deviation),
            )


def _on_web(trim: Trim, pieces: Pieces, radius: float, room: float) -> NDArray[np.bool_]:
    """Tell which pieces run on the web, both ends no more than `room` (mm) above it: each end is
    compared with the form under it, since a long piece climbs along the board."""
    over = [
        end[:, 2] - trim.laid.tip(end[:, 0], radius, trim.web)
        for end in (pieces.lower, pieces.upper)
    ]
    return np.asarray(np.maximum(*over) < room, dtype=np.bool_)


def _deviation(area: Polygon, pieces: Pieces, radius: float) -> Floats:
    """Return (n, 3): places (x, y) on the area's edge, and how far the cutter passes it there (mm,
    positive where it cuts in)."""
    spots = np.asarray(area.exterior.segmentize(_SAMPLE).coords)[:-1, :2]
    lines = shapely.linestrings(np.stack((pieces.lower[:, :2], pieces.upper[:, :2]), axis=1))
    _, away = shapely.STRtree(lines).query_nearest(
        shapely.points(spots), return_distance=True, all_matches=False
    )
    return np.column_stack([spots, radius - away])


def _check_web(trim: Trim, pieces: Pieces, seen: Inspection) -> None:
    radius, cell = seen.path.cutter.radius, seen.stock.grid.cell
    slot = swept_area(pieces, radius)
    mask = inside(seen.stock, shapely.buffer(slot, -cell)) & (seen.before > seen.stock.wood_bottom)
    iy, ix = np.nonzero(mask)
    if not len(ix):
        seen.findings.add("not-reached", "the trim leaves no slot")
        return
    x = seen.stock.grid.xs[ix]
    web = seen.stock.top[iy, ix].astype(np.float64) - trim.laid.bottom(x)
    # A column may be cut with the axis up to a radius away, and the tip there stands over the
    # highest ground within a radius of the axis. So the highest ground within two radii bounds what
    # is left over the column.
    most = trim.laid.tip(x, 2.0 * radius, trim.web) - trim.laid.bottom(x)
    for name, k in (("least", int(np.argmin(web))), ("most", int(np.argmax(web - most)))):
        here = (float(x[k]), float(seen.stock.grid.ys[iy[k]]))
        wanted = trim.web if name == "least" else float(most[k])
        seen.measures.take(f"web, {name}", float(web[k]), wanted, "left over the cradle", here)
        off = wanted - float(web[k]) if name == "least" else float(web[k]) - wanted
        if off > seen.allowed.heights:
            says = (
                f"web {mm(float(web[k])):.3f} over the cradle, "
                f"{'at least' if name == 'least' else 'at most'} {mm(wanted):.3f}"
            )
            place = (*here, float(trim.laid.bottom(here[0]) + web[k]))
            seen.findings.add(
                "floor", says, line=seen.path.line_near(*here), place=place, depth=off
            )


def check_bolts(
    work: Work, shop: SimulationSetup, laid: LaidUp, measures: MeasureList, findings: Findings
) -> None:
    """Check that each bolt hole lies in its casting, both at the form and at the deck, or over the
    bore of its insert.

    Judged by the areas of the flat board, not by the works, which may be wrong themselves.
    """
    for hole in work.holes:
        here, radius = (hole.x, hole.y), hole.steps[-1].diameter / 2.0
        if hole.id in shop.pour:
            area = shop.pour[hole.id].area
            deck = float(laid.deck.height(area.centroid.x, area.centroid.y))
            seen = [laid.shape(area, laid.below + height) for height in (0.0, deck)]
            walls = [_wall(shape, here) - radius for shape in seen]
            measures.take(
                f"{hole.id} wall", min(walls), None, "of casting left round the slanted hole", here
            )
            if min(walls) <= 0.0:
                says = f"{hole.id}: the hole leaves its casting by {mm(-min(walls)):.3f}"
                findings.add("outside-area", says, place=(*here, hole.top), depth=-min(walls))
        elif hole.id in shop.bores:
            x, y, _ = shop.bores[hole.id]
            at, _ = laid.place(x, laid.below + float(laid.deck.height(x, y)))
            off = math.hypot(float(at) - hole.x, y - hole.y)
            measures.take(
                f"{hole.id} off its bore", off, 0.0, "where the bore meets the deck", here
            )
            if off > shop.allowed.holes:
                findings.add(
                    "outside-area",
                    f"{hole.id}: the hole is {mm(off):.3f} off its bore",
                    place=(*here, hole.top),
                )
        else:
            findings.add(
                "outside-area", f"{hole.id}: no plug or insert lies here", place=(*here, hole.top)
            )


def _wall(shape: Polygon, spot: tuple[float, float]) -> float:
    """Return the distance to the wall (mm), negative outside."""
    point = shapely.Point(spot)
    away = float(shape.exterior.distance(point))
    return away if shape.contains(point) else -away
