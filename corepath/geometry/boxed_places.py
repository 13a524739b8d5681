"""Places of which those in a box are asked for again and again."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["BoxedPlaces"]

Floats = NDArray[np.float64]

_ROUNDING = 1e-6
"""mm that a box is larger by: a place on its edge lies in it."""


class BoxedPlaces:
    """`places` (n, 2 or more), sorted along X: to look at all of them for each of many boxes would
    take the square of their number."""

    def __init__(self, places: Floats) -> None:
        self._places = places
        self._along = np.argsort(places[:, 0], kind="stable")
        self._x = places[self._along, 0]

    def about(self, points: Floats, by: float) -> NDArray[np.int64]:
        """Returns the indices, in no order, of the places in the box about `points` (k, 2), larger
        by `by` mm on all sides."""
        (left, low), (right, high) = points.min(axis=0), points.max(axis=0)
        far = by + _ROUNDING
        first, stop = np.searchsorted(self._x, (left - far, right + far), side="left")
        some = self._along[first:stop]
        y = self._places[some, 1]
        return np.asarray(some[(y >= low - far) & (y <= high + far)], dtype=np.int64)
