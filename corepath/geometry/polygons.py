"""Polygons: offsets with round joins, opening by a disc, the largest circle inside, pieces in a
fixed order.

Lengths in mm, any frame.
"""

from __future__ import annotations

import math

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

__all__ = ["grow", "inradius", "opened", "polygons", "quarter_segments"]

_SAGITTA = 0.0004  # mm: chords of round joins leave this much, twice for a shape grown and shrunk


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


def opened(shape: BaseGeometry, radius: float) -> BaseGeometry:
    """Returns the morphological opening of `shape` by a disc of `radius` mm: what the disc covers
    without leaving it. Its outward corners are rounded."""
    return grow(grow(shape, -radius), radius)


def inradius(region: Polygon) -> float:
    """Returns the radius of the largest circle inside `region`, mm, within 0.2 % of the root of its
    area: within 1 % where the region is at most six times as long as wide."""
    scale = math.sqrt(region.area)
    return float(
        shapely.maximum_inscribed_circle(region, tolerance=max(1e-4, 0.002 * scale)).length
    )
