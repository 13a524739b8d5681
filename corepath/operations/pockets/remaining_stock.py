"""Remaining stock in a pocket after a larger cutter: corners and arms, cleared by a smaller one
from what is cleared already.

Places of the smaller cutter's middle, mm, bed frame. Each part of it is taken by arcs from its open
side (see `corner_reliefs`) and at last along its walls, beginning and ending a little within the
larger cutter's work. One that does not touch anything cleared, or that arcs cannot clear, is a
pocket of its own and is entered by a ramp.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from corepath.errors import CorepathError
from corepath.geometry.polygons import grow, polygons, quarter_segments
from corepath.geometry.polylines import Floats, steps
from corepath.lengths import mm
from corepath.operations.pockets.corner_relief import NextLap, zone_of

__all__ = ["OVERLAP", "RemainingStock", "remaining_stock"]

OVERLAP = 2.0
"""mm by which the last cut along a wall begins and ends beyond what was left (common practice, no
source)."""
# mm: thinner strips along walls come from chords and from the larger cutter's path.
_SEEN = 0.004
_LEAST = 0.01  # mm2


@dataclass(frozen=True, slots=True)
class RemainingStock:
    """One piece that was left: arcs and wall cuts (n, 2) in their order, or an `own` region to be
    cut as a pocket.

    `start` is a place in what is cleared, near the first cut.
    """

    cuts: tuple[Floats, ...]
    start: tuple[float, float]
    own: Polygon | None = None


def remaining_stock(
    centre: Polygon,
    cleared: BaseGeometry,
    radius: float,
    stepover: float,
    *,
    conventional: bool,
    name: str,
) -> list[RemainingStock]:
    """The pieces that a cutter of `radius` mm reaches from `centre` and that are not `cleared` yet.

    `centre` is where its middle may be, `cleared` the area (not the places of a middle) that the
    larger cutter swept. Raises `CorepathError` where they cannot be shown by area to be swept.
    """
    free = grow(cleared, -radius)
    reach = grow(centre, radius)
    found: list[RemainingStock] = []
    for piece in polygons(reach.difference(grow(cleared, _SEEN))):
        if piece.area > _LEAST:
            found += _remainder(piece, centre, free, radius, stepover, conventional)
    _prove(found, reach.difference(grow(cleared, _SEEN)), radius, name)
    return found


def _remainder(
    piece: Polygon,
    centre: Polygon,
    free: BaseGeometry,
    radius: float,
    stepover: float,
    conventional: bool,
) -> list[RemainingStock]:
    """The cuts of one piece, or the regions of the places of the middle from which it can be
    cut."""
    near = grow(piece, radius).intersection(centre)
    # 1e-4 mm²: what rounding leaves between two edges that should be one.
    parts = [part for part in polygons(near.difference(grow(free, _SEEN))) if part.area > 1e-4]
    if not parts:
        return []
    if len(parts) == 1 and not free.is_empty and free.distance(parts[0]) < 0.1:
        zone = zone_of(parts[0], NextLap(free, centre, stepover, radius))
        if zone is not None:
            cuts = [*zone.arcs, *_walls(parts[0], centre, zone.cleared)]
            if conventional:
                cuts = [cut[::-1] for cut in cuts]
            # Begin a little inside what is cleared, not at its edge, where the plunge would touch
            # the wall.
            inner = grow(free, -0.2 * radius)
            start = shapely.shortest_line(
                free if inner.is_empty else inner, shapely.Point(cuts[0][0])
            ).coords[0]
            return [RemainingStock(tuple(cuts), (float(start[0]), float(start[1])))]
    return [
        RemainingStock((), own.representative_point().coords[0], own)
        for part in parts
        # Grown into what is cleared, for a ring needs some width; pieces that do not hold the part
        # itself are only that growth.
        for own in polygons(grow(part, 0.3 * radius).intersection(centre))
        if own.intersects(part)
    ]


def _walls(part: Polygon, centre: Polygon, cleared: BaseGeometry) -> list[Floats]:
    """The walls beside a part, each a line in the direction of climb milling."""
    around = part.buffer(OVERLAP, quad_segs=quarter_segments(OVERLAP))
    lines = shapely.line_merge(shapely.unary_union(centre.boundary.intersection(around)))
    found = [
        np.asarray(line.coords)[:, :2]
        for line in shapely.get_parts(lines)
        if isinstance(line, LineString)
    ]
    close = [line for line in found if LineString(line).distance(part) < _SEEN]
    # Material on the right of a wall cut is climb, so the centre region lies on its left.
    walls = [line if _inside_left(line, centre) else line[::-1].copy() for line in close]
    return sorted(
        walls, key=lambda line: (round(float(line[0, 0]), 4), round(float(line[0, 1]), 4))
    )


def _inside_left(line: Floats, centre: Polygon) -> bool:
    """Whether the centre region lies on the left of a line along its edge."""
    each = steps(line)
    # The longest segment: on it a place 0.01 mm aside tells the side safely.
    k = int(np.argmax(np.round(each, 6)))
    way = (line[k + 1] - line[k]) / each[k]
    aside = (line[k] + line[k + 1]) / 2 + 0.01 * np.array([-way[1], way[0]])
    return bool(shapely.intersects_xy(centre, *aside.tolist()))


def _prove(found: list[RemainingStock], left: BaseGeometry, radius: float, name: str) -> None:
    lines = [LineString(cut) for remainder in found for cut in remainder.cuts]
    own = [grow(remainder.own, radius) for remainder in found if remainder.own is not None]
    # Swept area a little wider, by the accuracy of the chords.
    swept = shapely.union_all([*(grow(line, radius + 0.003) for line in lines), *own])
    missed = [piece for piece in polygons(left.difference(swept)) if piece.area > _LEAST]
    if missed:
        place = missed[0].representative_point()
        raise CorepathError(
            f"{name}: no path sweeps all that was left; missed at X{mm(place.x):.2f} "
            f"Y{mm(place.y):.2f}"
        )
