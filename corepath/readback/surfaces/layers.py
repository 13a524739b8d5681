"""Proof by area at each layer above the floor: all that the cutter can reach is swept before laps
go deeper.

A layer is a height at which level motions cut, over more than one diameter of path, wider than a
finishing pass would. An entry and the lap after it may have gone deeper before, as a helix to the
floor does. Clearing may leave the finishing allowance on the walls, and in a groove the strips that
its work has, so what a layer must sweep is the morphological opening of the pocket, inset by both,
less what an earlier file swept.
Polygons of the motions read, round joins within 0.001 mm; bed frame, mm. That nothing beyond the
walls is swept is proved for all heights at once in `walls`.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from corepath.lengths import either, mm, square_mm
from corepath.readback.inspection import Inspection
from corepath.readback.surfaces.walls import join_segments, swept_area
from corepath.stock.engagement import CUTTING, Engagement
from corepath.stock.path import Pieces
from corepath.work.cutting.wall_strips import left_to_layers, wall_strips
from corepath.work.works import Pocket, Work

__all__ = ["check_layers"]

# mm: heights that differ by less are one layer: more than the text rounds, less than any layer.
_SAME = 0.005
# mm²: less than the slivers that round joins leave between two buffers are no finding.
_LEAST_AREA = 0.01


def _inside(found: Engagement, pocket: Pocket, width: float) -> NDArray[np.bool_]:
    """Return a mask of the level samples in a pocket that cut wider than `width`."""
    shapely.prepare(pocket.area)
    which = found.level & (found.width > width) & (found.place[:, 2] < pocket.top - _SAME)
    which[which] = shapely.contains_xy(pocket.area, found.place[which, 0], found.place[which, 1])
    return which


def _layer_heights(found: Engagement, pocket: Pocket, diameter: float, width: float) -> list[float]:
    """Return the heights (mm) of the layers that cut wider than `width` in a pocket, from the
    highest down, without the floor."""
    level = _inside(found, pocket, width) & (found.place[:, 2] > pocket.floor + 2.0 * _SAME)
    heights, which = np.unique(
        np.round(found.place[level, 2] / _SAME).astype(np.int64), return_inverse=True
    )
    way = np.bincount(which, found.way[level], minlength=len(heights))
    return [float(height * _SAME) for height in heights[way > diameter][::-1]]


def check_layers(
    work: Work, pocket: Pocket, mine: Pieces, found: Engagement, seen: Inspection
) -> None:
    """Check each layer of one pocket of `work`; `mine` are the pieces that lie in it.

    The places that a larger cutter left (remaining stock) are each cut to the floor on their own:
    there the pieces at a layer's own height count, whenever they come, and the depth of cut shows
    whether their order is right.
    """
    radius, allowance = seen.path.cutter.radius, work.milling.finish_allowance
    heights = _layer_heights(found, pocket, seen.path.cutter.diameter, allowance + 0.1)
    strips = wall_strips(work, pocket)
    area = left_to_layers(pocket.area, strips) if strips else pocket.area
    wanted = _wanted(pocket, area, radius, allowance, seen.allowed.walls)
    if not heights or not len(mine) or wanted.is_empty:
        return
    worst, where = 0.0, None
    laps = _inside(found, pocket, CUTTING) & ~found.entering
    motion = found.pieces.owner[found.piece]
    for height in heights:
        # A layer ends with the first lap that cuts deeper. Only what was swept before that counts.
        deeper = motion[laps & (found.place[:, 2] < height - 2.0 * _SAME)]
        next_one = int(deeper.min()) if len(deeper) else len(seen.path.line) - 1
        done = mine.below(height + _SAME)
        if pocket.cleared is not None:
            done = done.pick(done.low > height - _SAME)
        elif len(deeper):
            done = done.pick(done.owner < next_one)
        rest = shapely.difference(wanted, swept_area(done, radius))
        left = float(shapely.area(rest))
        if left > _LEAST_AREA:
            point = shapely.point_on_surface(
                max(shapely.get_parts(rest), key=lambda part: float(shapely.area(part)))
            )
            if left > worst:
                worst, where = left, (float(point.x), float(point.y))
            says = (
                f"{pocket.id}: the layer at {mm(height):.3f} leaves {square_mm(left):.2f~} standing"
            )
            place = (float(point.x), float(point.y), height)
            seen.findings.add("layer-missed", says, line=int(seen.path.line[next_one]), place=place)
    seen.measures.take_in(
        "mm²",
        f"{pocket.id} layers",
        worst,
        0.0,
        f"{either('mm²', 'in²')} that any of {len(heights)} layers leaves standing",
        where,
    )


def _wanted(
    pocket: Pocket, within: Polygon, radius: float, allowance: float, tolerance: float
) -> BaseGeometry:
    """Return the area that each layer must sweep of the pocket `within` its strips: what earlier
    files swept to the floor is left out."""
    quads = join_segments(radius + allowance)
    opened = shapely.buffer(
        shapely.buffer(within, -(radius + allowance), quad_segs=quads), radius, quad_segs=quads
    )
    wanted = shapely.buffer(opened, -tolerance, quad_segs=quads)
    return wanted if pocket.cleared is None else shapely.difference(wanted, pocket.cleared)
