"""Short strokes where a ridge is left, added at the end of a path over the deck.

Plane of the bed frame of C, mm. Places that stand too high are gathered into clusters by where the
cutter's axis must stand to finish them. Each cluster gets as many strokes up the slope as its width
asks for, each begun at its nearer end. Links between strokes follow the surface as the strokes do.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["mended"]

Array = NDArray[np.float64]

_NEAR = 6.0
"""mm; places nearer to each other than this belong to one cluster."""
_APART = 2.5
"""mm; strokes over one cluster lie at most this far apart."""
_BEYOND = 4.0
"""mm by which a stroke is longer than its cluster at each end."""


def mended(
    track: Array, axis: Array, way: Array, bounds: tuple[float, float, float, float]
) -> Array:
    """The track (n, 2) with strokes added over the places (m, 2) of the `axis`, along the unit
    vectors `way` (m, 2).

    `bounds` (left, low, right, high), mm, is where the axis may go: strokes are cut off there.
    """
    left = [
        stroke
        for members in _clusters(axis)
        for stroke in _strokes(axis[members], way[members], bounds)
    ]
    pieces, here = [track], track[-1]
    # Always the stroke whose nearer end is nearest: greedy is good enough for a few short strokes.
    while left:
        ends = np.array([[stroke[0], stroke[-1]] for stroke in left])
        away = np.round(np.hypot(*(ends - here).transpose(2, 0, 1)), 6)
        k, end = (int(index) for index in np.unravel_index(int(np.argmin(away)), away.shape))
        stroke = left.pop(k)
        pieces.append(stroke if end == 0 else stroke[::-1])
        here = pieces[-1][-1]
    return np.concatenate(pieces)


def _clusters(axis: Array) -> list[NDArray[np.intp]]:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(axis).query_pairs(_NEAR, output_type="ndarray")
    linked = coo_array(
        (np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(axis), len(axis))
    )
    count, label = connected_components(linked, directed=False)
    return [np.flatnonzero(label == k) for k in range(count)]


def _strokes(axis: Array, way: Array, bounds: tuple[float, float, float, float]) -> list[Array]:
    # Up and down a slope are the same stroke: turn all directions to one side before taking their
    # mean, or opposite ones would cancel.
    same = np.where(way @ way[0] < 0.0, -1.0, 1.0)
    mean = (way * same[:, None]).sum(axis=0)
    # Where the directions cancel all the same (round a summit), any one of them will do.
    mean = mean / math.hypot(*mean) if math.hypot(*mean) > 1e-6 else way[0]
    across = np.array([-mean[1], mean[0]])
    along, aside = axis @ mean, axis @ across
    low, high = float(aside.min()), float(aside.max())
    first, last = float(along.min()) - _BEYOND, float(along.max()) + _BEYOND
    places = (
        np.linspace(low, high, math.ceil((high - low) / _APART) + 1)
        if high > low
        else np.array([low])
    )
    strokes = []
    for k, place in enumerate(places.tolist()):
        ends = np.array([first * mean + place * across, last * mean + place * across])
        ends = np.clip(ends, bounds[:2], bounds[2:])
        strokes.append(ends if k % 2 == 0 else ends[::-1])
    return strokes
