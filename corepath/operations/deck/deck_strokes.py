"""Short strokes where a ridge is left, added at the end of a path over the deck.

Plane of the bed frame of C, mm. Places that stand too high are gathered into clusters by where the
cutter's axis must come to finish them; over each cluster go as many strokes up the slope as its
width asks for, one after another, each from its nearer end. Links follow the surface like the
strokes.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["mended"]

Array = NDArray[np.float64]

_NEAR = 6.0
"""Places nearer to each other than this belong to one cluster."""
_APART = 2.5
"""Strokes over one cluster lie at most this far apart."""
_BEYOND = 4.0
"""A stroke is this much longer than its cluster at each end."""


def mended(
    track: Array, axis: Array, way: Array, bounds: tuple[float, float, float, float]
) -> Array:
    """The track (n, 2) with strokes through the places of the `axis` (m, 2), along the unit vectors
    `way` (m, 2)."""
    left = [
        stroke
        for members in _clusters(axis)
        for stroke in _strokes(axis[members], way[members], bounds)
    ]
    pieces, here = [track], track[-1]
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
    same = np.where(way @ way[0] < 0.0, -1.0, 1.0)
    mean = (way * same[:, None]).sum(axis=0)
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
