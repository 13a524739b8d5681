"""Which two of many shapes are closest."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

__all__ = ["closest", "least_distance"]

Floats = NDArray[np.float64]

_SAME = 1e-6
"""mm: of pairs that are as close as this the first counts, whatever their float noise."""
_MANY = 256
"""Places of a line from which a tree of its edges is quicker than all edges each time."""


def closest(shapes: Sequence[BaseGeometry]) -> tuple[float, int, int]:
    """Returns the least distance between two of `shapes`, at least two, and their numbers; of equal
    pairs the first, by the first number."""
    return _closest(tuple(shapes))


# What lies on a board stays where another number of its job changes: the last few are kept.
@lru_cache(maxsize=4)
def _closest(shapes: tuple[BaseGeometry, ...]) -> tuple[float, int, int]:
    whole = np.array(shapes, dtype=object)
    boxes = shapely.bounds(whole)
    least = (np.inf, 0, 1)
    for one in range(len(whole) - 1):
        # shapes whose boxes are farther apart than the closest pair so far need no look
        apart = np.maximum(
            boxes[one + 1 :, :2] - boxes[one, 2:], boxes[one, :2] - boxes[one + 1 :, 2:]
        )
        near = one + 1 + np.flatnonzero(np.hypot(*np.maximum(apart, 0.0).T) <= least[0] + _SAME)
        for two, distance in zip(
            near.tolist(),
            _distances(whole[one], whole[near], least[0] + _SAME).tolist(),
            strict=True,
        ):
            if round(distance, 6) < round(least[0], 6):
                least = distance, one, two
    return least


def least_distance(shape: BaseGeometry, others: Sequence[BaseGeometry]) -> float:
    """Returns the distance of `shape` from the nearest of `others`, at least one."""
    whole = np.array(others, dtype=object)
    sizes = shapely.get_num_coordinates(whole)
    if sizes.max() <= shapely.get_num_coordinates(shape):
        first = float(shapely.distance(shape, whole[0]))
        return min(first, float(_distances(shape, whole, first + _SAME).min()))
    box, boxes = shapely.bounds(shape), shapely.bounds(whole)
    apart = np.hypot(*np.maximum(np.maximum(boxes[:, :2] - box[2:], box[:2] - boxes[:, 2:]), 0.0).T)
    least, itself = np.inf, np.array([shape], dtype=object)
    # those of few places first, nearest box first: most of the others then need no look
    for k in np.lexsort((apart, sizes >= _MANY)).tolist():
        if apart[k] <= least + _SAME:
            least = min(least, float(_distances(whole[k], itself, least + _SAME)[0]))
    return least


def _distances(shape: BaseGeometry, others: NDArray[np.object_], most: float) -> Floats:
    """Returns the distance of each of `others` from `shape`; of those farther off than `most` it
    may be infinite."""
    if shapely.get_num_coordinates(shape) < _MANY or not len(others):
        return np.asarray(shapely.distance(shape, others))
    outline = shape.boundary if isinstance(shape, Polygon | MultiPolygon) else shape
    lines = [shapely.get_coordinates(line) for line in shapely.get_parts(outline)]
    ends = np.vstack([np.stack([c[:-1], c[1:]], axis=1) for c in lines])
    if not np.isinf(most):
        left, low, right, high = shapely.total_bounds(others)
        near = (ends.max(axis=1) >= (left - most, low - most)).all(axis=1)
        near &= (ends.min(axis=1) <= (right + most, high + most)).all(axis=1)
        ends = ends[near]
    edges = shapely.linestrings(ends)
    # edges farther off than what was found before are not measured: most of a long line
    bound = {} if np.isinf(most) else {"max_distance": most}
    (of, _), found = shapely.STRtree(edges).query_nearest(
        others, return_distance=True, all_matches=False, **bound
    )
    away = np.full(len(others), np.inf)
    away[of] = found
    shapely.prepare(shape)
    # a shape inside has a distance from the line, but none from the area
    return np.where(shapely.intersects(shape, others), 0.0, away)
