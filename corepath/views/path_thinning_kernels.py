"""Compiled loop of `path_thinning`: which parts of a line nothing covers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["kept"]

Ints = NDArray[np.int64]


@njit(cache=True)
def _stamp(pixels: NDArray[np.bool_], rows: Ints, place: int) -> None:
    for row in range(rows.shape[0]):
        start = place + rows[row, 0]
        for pixel in range(start, start + rows[row, 1]):  # a slice takes twice as long to compile
            pixels[pixel] = True


@njit(cache=True)
def kept(
    pixels: NDArray[np.bool_],
    rows: Ints,
    places: Ints,
    along: NDArray[np.float64],
    lag: float,
    least: float,
    start: bool,
) -> Ints:
    """Returns the parts (n, 2) of a line that nothing covers, first point and the one after the
    last; they cover from now on.

    `pixels` is the raster, 1 where covered; `rows` (m, 2) are the runs of one stamp, offset and
    length; `places` (k,) the pixel of each point, `along` (k,) its length along the line. Parts
    shorter than `least` are dropped, with `start` except the one at the start of the line.
    """
    count, parts = 0, np.empty((places.shape[0], 2), np.int64)
    # `first` is where the current part begins, `stamped` the next of its points to cover. They are
    # stamped only when the part is `lag` ahead: until then it could still prove too short and be
    # dropped, and it must not cover itself. The turn after the last point closes the last part.
    first = stamped = 0
    for k in range(places.shape[0] + 1):
        if k < places.shape[0] and not pixels[places[k]]:
            while along[k] - along[stamped] > lag:
                _stamp(pixels, rows, places[stamped])
                stamped += 1
            continue
        if k - first > 1 and (along[k - 1] - along[first] >= least or (start and first == 0)):
            parts[count, 0], parts[count, 1] = first, k
            count += 1
            for q in range(stamped, k):
                _stamp(pixels, rows, places[q])
        first = stamped = k + 1
    return parts[:count]
