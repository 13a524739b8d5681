"""Polygons: offsets with round joins, opening by a disc, the largest circle inside, pieces in a
fixed order.

Lengths in mm, any frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

__all__ = ["Rings", "grow", "inradius", "opening", "polygons", "quarter_segments", "rings_of"]

_RADIUS = 0.0005  # mm: how closely the radius of the largest circle is found
_SAGITTA = 0.0004  # mm: chords of round joins leave this much, twice for a shape grown and shrunk


class Rings(NamedTuple):
    """The outer ring of a polygon and those of its holes, as vertices (x, y) without the first one
    again."""

    outer: Sequence[tuple[float, float]]
    holes: Sequence[Sequence[tuple[float, float]]] = ()


def rings_of(polygon: Polygon, within: float = 0.0) -> Rings:
    """Returns the rings of `polygon`, vertices left out that lie `within` mm of the line without
    them."""
    thinned = polygon.simplify(within) if within else polygon
    outer, *holes = (ring.coords[:-1] for ring in (thinned.exterior, *thinned.interiors))
    return Rings(outer, holes)


def quarter_segments(radius: float) -> int:
    """Returns the segments of a quarter turn for which round joins of `radius` mm keep within
    0.0004 mm."""
    # a step of 2 acos(1 - e / r), so that a quarter turn has pi / 4 / acos(1 - e / r) of them
    return max(
        8, math.ceil(math.pi / 4 / math.acos(max(1 - _SAGITTA / max(radius, _SAGITTA), 0.0)))
    )


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """Returns the polygons of any shape in a fixed order: by left edge, then lower edge, then
    area."""
    # rounded: places that differ by rounding alone must not swap from one machine to another
    parts = [
        part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and not part.is_empty
    ]
    return sorted(
        parts, key=lambda p: (round(p.bounds[0], 4), round(p.bounds[1], 4), round(p.area, 4))
    )


def grow(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """Returns `shape` grown by `distance` mm (shrunk if negative) with round joins."""
    return shape.buffer(distance, quad_segs=quarter_segments(abs(distance)))


def opening(shape: BaseGeometry, radius: float) -> BaseGeometry:
    """Returns the morphological opening of `shape` by a disc of `radius` mm: what the disc covers
    without leaving it. Its outward corners are rounded."""
    return grow(grow(shape, -radius), radius)


def inradius(region: Polygon) -> float:
    """Returns the radius of the largest circle inside `region`, mm, within 0.001 of the true
    one."""
    # A coarse search first, since a fine one takes long in a large region; halved down below.
    rough = max(1e-4, 0.002 * math.sqrt(region.area))
    least = float(shapely.maximum_inscribed_circle(region, tolerance=rough).length)
    left, low, right, high = region.bounds
    # no circle is wider than the box round the region; a round one is done here
    most = min(least + rough, (right - left) / 2.0, (high - low) / 2.0)
    # In a long slot every place of its middle line is as good as another, so that the search for
    # the centre cannot be fine there; whether anything is left within a wall is quick to see.
    while most - least > _RADIUS:
        middle = (least + most) / 2.0
        least, most = (least, middle) if grow(region, -middle).is_empty else (middle, most)
    return least
