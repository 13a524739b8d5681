"""Compiled kernel of the width that a path over the deck meets: how much ground it is the first to
cut.

Lengths in mm. The ground is a grid of square cells; a cell is fresh until its middle comes within
the radius.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["newly_cut"]

Array = NDArray[np.float64]


@njit(cache=True)
def newly_cut(
    places: Array, radius: float, fresh: NDArray[np.bool_], left: float, low: float, cell: float
) -> Array:
    """(n,) mm² of ground that a disc at each of the places (n, 2) is the first to cover.

    `fresh` (p, q) holds the cells along X and Y from `left`, `low`; it is changed.
    """
    found = np.zeros(len(places), np.float64)
    columns, rows = fresh.shape
    for k in range(len(places)):
        x, y = places[k, 0] - left, places[k, 1] - low
        first = max(math.ceil((y - radius) / cell - 0.5), 0)
        last = min(math.floor((y + radius) / cell - 0.5), rows - 1)
        for j in range(first, last + 1):
            aside = (j + 0.5) * cell - y
            half = math.sqrt(max(radius * radius - aside * aside, 0.0))
            start = max(math.ceil((x - half) / cell - 0.5), 0)
            end = min(math.floor((x + half) / cell - 0.5), columns - 1)
            for i in range(start, end + 1):
                if fresh[i, j]:
                    fresh[i, j] = False
                    found[k] += cell * cell
    return found
