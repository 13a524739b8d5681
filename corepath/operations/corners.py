"""Inside corners that a round cutter cannot enter: where they are and how much stays in each.

Lengths in mm, bed frame. `area` less what the cutter's disc covers without leaving it falls into pieces; one at
each inward corner. Slivers along the walls, from chords of curves, do not count.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from corepath.motion.program import Corner
from corepath.operations.shapes import grow, polygons

__all__ = ["corners_left", "corners_words"]

_SLIVER = 0.002  # mm: the walls of what is reached are true to this
_LEAST = 0.01  # mm2


def corners_left(id: str, area: Polygon, reach: BaseGeometry) -> list[Corner]:
    """The pieces of `area` out of `reach` (a polygon or several), largest distance left first."""
    stays = area.difference(reach)
    found: list[Corner] = []
    for piece in polygons(area.difference(grow(reach, _SLIVER))):
        if piece.area <= _LEAST:
            continue
        tips = shapely.points(np.asarray(piece.exterior.coords)[:, :2])
        away = shapely.distance(tips, reach)
        tip = tips[int(np.argmax(np.round(away, 6)))]
        size = float(stays.intersection(piece.buffer(0.05)).area)
        found.append(Corner(id, float(tip.x), float(tip.y), size, float(away.max())))
    return sorted(found, key=lambda c: (-round(c.left, 4), round(c.x, 4), round(c.y, 4)))


def corners_words(corners: list[Corner]) -> tuple[str, ...]:
    """Lines for the head of the file: one for each pocket that keeps corners."""
    lines = []
    for id in dict.fromkeys(corner.feature for corner in corners):
        mine = [corner for corner in corners if corner.feature == id]
        worst, total = mine[0], sum(corner.area for corner in mine)
        lines.append(
            f"{id}: corners stay round, {len(mine)} of them, {total:.2f} mm2 left, most {worst.left:.2f} mm "
            f"at X{worst.x:.1f} Y{worst.y:.1f}"
        )
    return tuple(lines)
