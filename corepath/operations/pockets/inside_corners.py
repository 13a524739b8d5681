"""Inside corners that a round cutter cannot enter: where they are and how much stays in each.

Lengths in mm, bed frame. `area` less what the cutter's disc covers without leaving it (its
morphological opening) falls into pieces, one at each inward corner. Slivers along the walls, which
come from chords of curves, do not count.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from corepath.geometry.polygons import grow, polygons
from corepath.lengths import mm, square_mm
from corepath.motion.program import Corner

__all__ = ["corners_left", "corners_words"]

_SLIVER = 0.002  # mm: the walls of what is reached are true to this
_LEAST = 0.01  # mm2


def corners_left(id: str, area: Polygon, reach: BaseGeometry) -> list[Corner]:
    """The pieces of `area` outside `reach` (a polygon or several) as corners, the one with the
    largest distance left first.

    `id` names the pocket.
    """
    pieces = [
        piece for piece in polygons(area.difference(grow(reach, _SLIVER))) if piece.area > _LEAST
    ]
    if not pieces:
        return []
    stays = np.array(shapely.get_parts(area.difference(reach)), dtype=object)
    around = shapely.STRtree(stays)
    walls = shapely.STRtree(_segments(reach))
    found: list[Corner] = []
    for piece in pieces:
        tips = shapely.points(np.asarray(piece.exterior.coords)[:, :2])
        # Tips lie outside what is reached, so that the nearest of its edges tells how far.
        (nearest, _), away = walls.query_nearest(tips, return_distance=True, all_matches=False)
        k = int(np.argmax(np.round(away, 6)))
        # The piece was found with slivers taken off; its size is that of the whole rest around it.
        tip, near = tips[int(nearest[k])], piece.buffer(0.05)
        size = float(
            shapely.area(
                shapely.intersection(stays[np.sort(around.query(near, "intersects"))], near)
            ).sum()
        )
        found.append(Corner(id, float(tip.x), float(tip.y), size, float(away[k])))
    return sorted(found, key=lambda c: (-round(c.left, 4), round(c.x, 4), round(c.y, 4)))


def _segments(shape: BaseGeometry) -> NDArray[np.object_]:
    """All edges of a shape, each a line of its own."""
    rings = [
        np.asarray(ring.coords)[:, :2]
        for p in polygons(shape)
        for ring in (p.exterior, *p.interiors)
    ]
    pairs = [np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings]
    return np.asarray(shapely.linestrings(np.concatenate(pairs)), dtype=object)


def corners_words(corners: list[Corner]) -> tuple[str, ...]:
    """Lines for the head of the file, one for each pocket that keeps corners."""
    lines = []
    for id in dict.fromkeys(corner.feature for corner in corners):
        mine = [corner for corner in corners if corner.feature == id]
        worst, total = mine[0], sum(corner.area for corner in mine)
        lines.append(
            f"{id}: corners stay round, {len(mine)} of them, {square_mm(total):.2f~} left, most "
            f"{mm(worst.left):.2f~} "
            f"at X{mm(worst.x):.1f} Y{mm(worst.y):.1f}"
        )
    return tuple(lines)
