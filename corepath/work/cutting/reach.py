"""What a round cutter reaches of an area without leaving it (its morphological opening), and what
it leaves in the corners. mm, bed frame."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import shapely
from shapely import Polygon

from corepath.geometry.polygons import grow, opening, polygons

__all__ = ["largest_left", "passes", "reached"]

_SLIVER = 0.002  # mm: strips along walls from chords do not count
_LEAST = 0.01  # mm2
_ASKED = 2048
"""Answers that are kept: the pockets stay where another number of the job changes, and each is
asked about several times for the files of one job."""
# share of the radius: a piece narrower than this beside the cutter is left to a smaller one
_ROOM = 0.1


@lru_cache(maxsize=_ASKED)
def passes(area: Polygon, radius: float) -> bool:
    """Whether a cutter of `radius` mm passes through all of the area, around its islands too."""
    centre = polygons(grow(area, -radius))
    return len(centre) == 1 and len(centre[0].interiors) == len(area.interiors)


def reached(area: Polygon, radius: float) -> list[Polygon]:
    """The pieces that a cutter of `radius` mm clears with room to move, each the area that its disc
    covers there."""
    centres = [
        piece
        for piece in polygons(grow(area, -radius))
        if not grow(piece, -_ROOM * radius).is_empty
    ]
    return [piece for centre in centres for piece in polygons(grow(centre, radius))]


@lru_cache(maxsize=_ASKED)
def largest_left(area: Polygon, radius: float) -> float:
    """The largest distance (mm) from what a cutter of `radius` clears into a corner that it leaves;
    0 if none, inf if it does not fit at all."""
    cleared = opening(area, radius)
    if cleared.is_empty:
        return math.inf
    worst = 0.0
    for piece in polygons(area.difference(grow(cleared, _SLIVER))):
        if piece.area > _LEAST:
            tips = shapely.points(np.asarray(piece.exterior.coords)[:, :2])
            worst = max(worst, float(shapely.distance(tips, cleared).max()))
    return round(worst, 6)
