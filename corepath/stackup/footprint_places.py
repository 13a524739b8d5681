"""Places over a casting's footprint at which its heights are judged.

Over a measured blank a height is weakest somewhere in the footprint. The samples are close enough
that a smooth map hides little between them: of a wave 400 mm long, 4 mm pass over 1 % of its
length, and an extreme between two samples is missed by less than 0.1 % of the wave's height.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.geometry.polylines import along, place_at

__all__ = ["footprint_places"]

SPACING = 4.0
"""mm between places along the walls and over the floor."""


def footprint_places(area: Polygon, spacing: float = SPACING) -> NDArray[np.float64]:
    """Return (n, 2) places, board frame, mm: along every wall and on a grid inside; never empty.

    `spacing` is the distance between places, mm, at most along the walls.
    """
    walls = [_along(ring, spacing) for ring in (area.exterior, *area.interiors)]
    min_x, min_y, max_x, max_y = area.bounds
    x, y = np.meshgrid(
        np.arange(min_x + spacing / 2, max_x, spacing),
        np.arange(min_y + spacing / 2, max_y, spacing),
        indexing="ij",
    )
    inside = shapely.contains_xy(area, x.ravel(), y.ravel())
    return np.vstack([*walls, np.column_stack([x.ravel()[inside], y.ravel()[inside]])])


def _along(ring: shapely.LinearRing, spacing: float) -> NDArray[np.float64]:
    # At least 8, so that a small bore is sampled on all sides.
    count = max(8, int(np.ceil(ring.length / spacing)))
    corners = shapely.get_coordinates(ring)
    stations = along(corners)
    return place_at(corners, stations, np.arange(count) * (stations[-1] / count))
