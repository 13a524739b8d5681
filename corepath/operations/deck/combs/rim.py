"""Loops beside the outline over level ground outside of it, where the deck is finished only so far.

Bed frame of C, mm. A loop has no turns: it takes the place of many short lines along X.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.geometry.rasters import edges_of, inside
from corepath.operations.deck.combs.planes import Beside
from corepath.operations.deck.deck_lines import OVERHANG
from corepath.work.cutting.deck_steps import StepTable

__all__ = ["rim_loops"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_LESS = 1.5
"""mm by which combs finish less than the flat radius beyond their ends, as level lines count."""
_OVERLAP = 3.0  # mm by which a loop runs on over its beginning
_CLEAR = 0.3
"""mm: a loop counts as finishing so much less than its disc, since bins count by their middles."""


def rim_loops(
    steps: StepTable, sloped: Mask, size: tuple[float, float], beside: Beside, rim: Polygon
) -> tuple[list[Array], Mask]:
    """Loops (k, 2) in the plane `beside` the outline, from where combs over the `sloped` bins end
    to the edge of `rim`, and the bins that they finish; none where a comb reaches as far.

    `size` is the widest step and the radius of the cutter's flat part, mm.
    """
    from scipy.spatial import cKDTree

    (widest, flat), square = size, beside.square
    i, j = np.nonzero(sloped)
    none: tuple[list[Array], Mask] = [], np.zeros(sloped.shape, dtype=np.bool_)
    places = np.column_stack([i, j]) * steps.size + (steps.left, steps.low) + 0.5 * steps.size
    if not len(places):
        return none
    away, near = cKDTree(square.guide).query(places)
    u = np.where(
        ((places - square.guide[near]) * square.normals[near]).sum(axis=1) > 0, away, -away
    )
    outermost = np.full(len(square.guide), -np.inf)
    np.maximum.at(outermost, near, u)
    # The slope ends about as far out all round; what lies farther in at some places is left to
    # level lines.
    first = float(np.median(outermost[np.isfinite(outermost)])) + flat - _LESS - OVERHANG
    edge = shapely.get_coordinates(rim.exterior)
    last = float(np.median(cKDTree(square.guide).query(edge)[0])) + OVERHANG
    if last <= first:
        return none
    reach = flat - OVERHANG
    room = last - first - 2.0 * reach
    count = max(math.ceil(room / widest - 1e-9), 0) + 1
    at = (
        [0.5 * (first + last)]
        if room <= 0.0
        else np.linspace(first + reach, last - reach, count).tolist()
    )
    way = np.linspace(0.0, square.length + _OVERLAP, math.ceil(square.length / square.apart) + 1)
    loops = [np.column_stack([way, np.full(len(way), v)]) for v in at]
    swept = shapely.union_all(
        [shapely.LineString(beside.xy(loop)).buffer(flat - _CLEAR) for loop in loops]
    )
    xs = np.asarray(steps.left + (np.arange(sloped.shape[0]) + 0.5) * steps.size)
    ys = np.asarray(steps.low + (np.arange(sloped.shape[1]) + 0.5) * steps.size)
    done = np.zeros(sloped.shape, dtype=np.bool_)
    for part in shapely.get_parts(swept):
        done |= inside(edges_of(part), xs, ys)
    return loops, done
