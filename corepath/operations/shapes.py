"""Small tools on polygons that ring planning shares: offsets with exact joins, pieces in a fixed order, polylines.

Lengths in mm, bed frame; polylines are (n, 2) float, closed ones with the first point repeated at the end.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

__all__ = ["Floats", "along", "grow", "inradius", "opened", "place_at", "polygons", "quarter_segments", "stretch"]

Floats = NDArray[np.float64]

_SAGITTA = 0.0004  # mm: chords of round joins leave this much


def quarter_segments(radius: float) -> int:
    """Segments of a quarter turn for which round joins of `radius` mm keep within 0.0004 mm."""
    return max(8, math.ceil(math.pi / 4 / math.acos(max(1 - _SAGITTA / max(radius, _SAGITTA), 0.0))))


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of any shape in a fixed order: by left edge, then lower edge, then area."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and not part.is_empty]
    return sorted(parts, key=lambda p: (round(p.bounds[0], 4), round(p.bounds[1], 4), round(p.area, 4)))


def grow(shape: BaseGeometry, distance: float) -> BaseGeometry:
    """`shape` grown by `distance` mm (shrunk if negative) with round joins."""
    return shape.buffer(distance, quad_segs=quarter_segments(abs(distance)))


def opened(shape: BaseGeometry, radius: float) -> BaseGeometry:
    """What a disc of `radius` mm covers without leaving `shape`: its outward corners are rounded."""
    return grow(grow(shape, -radius), radius)


def inradius(region: Polygon) -> float:
    """Radius of the largest circle inside, within 1 %."""
    scale = math.sqrt(region.area)
    return float(shapely.maximum_inscribed_circle(region, tolerance=max(1e-4, 0.002 * scale)).length)


def along(points: Floats) -> Floats:
    """Length of way from the first point to each, (n,)."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def place_at(points: Floats, stations: Floats, distance: Floats) -> Floats:
    """(m, 2) places at `distance` (m,) along a polyline whose `stations` are those of `along`."""
    return np.column_stack([np.interp(distance, stations, points[:, 0]), np.interp(distance, stations, points[:, 1])])


def stretch(closed: Floats, begin: float, length: float) -> Floats:
    """(m, 2) part of a closed polyline from `begin` (mm along it) on, `length` mm long, at most two laps."""
    stations = along(closed)
    lap = float(stations[-1])
    begin = begin % lap
    thrice = np.concatenate([stations[:-1], stations[:-1] + lap, stations + 2.0 * lap])
    points = np.concatenate([closed[:-1], closed[:-1], closed])
    inner = (thrice > begin + 1e-6) & (thrice < begin + length - 1e-6)
    ends = place_at(points, thrice, np.array([begin, begin + length]))
    return np.concatenate([ends[:1], points[inner], ends[1:]])
