"""Short strokes where a ridge is left, added to a path over the deck.

Plane of the bed frame of C, mm. Places that stand too high are gathered into clusters by where the
cutter's axis must stand to finish them. Each cluster gets as many strokes up the slope as its width
asks for, each begun at its nearer end: where the path passes by, or all of them after it, whichever
is shorter. Links between strokes follow the surface as the strokes do.
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
_NARROW = 3
"""Strokes of a cluster that each take what lies at most half of that aside."""
_BEYOND = 4.0
"""mm by which a stroke is longer than its cluster at each end."""
_CORNER = 15.0
"""mm of line that a sharp corner of the path costs."""
_SAME = 1e-9  # mm
_LATER = 5.0
"""mm that a way to strokes and back may be longer where the path comes by later."""


def mended(
    track: Array, axis: Array, way: Array, bounds: tuple[float, float, float, float]
) -> Array:
    """The track (n, 2) with strokes added over the places (m, 2) of the `axis`, along the unit
    vectors `way` (m, 2).

    `bounds` (left, low, right, high), mm, is where the axis may go: strokes are cut off there.
    """
    groups = [
        np.concatenate(_strokes(axis[members], way[members], bounds)) for members in _clusters(axis)
    ]
    after, links = _after(track, groups)
    within, detours = _within(track, groups)
    return within if detours < links else after


def _after(track: Array, groups: list[Array]) -> tuple[Array, float]:
    """The track with all groups of strokes after it, always the nearest next, which is good enough
    for a few; and what the ways to them cost, mm of line."""
    pieces, here, left, links = [track], track[-1], list(groups), 0.0
    while left:
        ends = np.array([[group[0], group[-1]] for group in left])
        away = np.round(np.hypot(*(ends - here).transpose(2, 0, 1)), 6)
        k, end = (int(index) for index in np.unravel_index(int(np.argmin(away)), away.shape))
        group = left.pop(k)
        pieces.append(group if end == 0 else group[::-1])
        here = pieces[-1][-1]
        links += float(away[k, end]) + 2.0 * _CORNER
    return np.concatenate(pieces), links


def _within(track: Array, groups: list[Array]) -> tuple[Array, float]:
    """The track with each group of strokes where it passes near by for the last time, and what the
    ways to them and back cost, mm of line."""
    step = np.diff(track, axis=0)
    square = np.maximum((step**2).sum(axis=1), 1e-12)
    cost, found = 0.0, []
    for group in groups:
        middle = 0.5 * (group[0] + group[-1])
        share = np.clip(((middle - track[:-1]) * step).sum(axis=1) / square, 0.0, 1.0)
        at = track[:-1] + share[:, None] * step
        away = np.hypot(*(at - group[0]).T) + np.hypot(*(at - group[-1]).T)
        # What lies beside the path's last way past is cut already.
        k = int(np.flatnonzero(away <= away.min() + _LATER)[-1])
        near_first = np.hypot(*(at[k] - group[0])) <= np.hypot(*(at[k] - group[-1]))
        found.append((k, round(float(share[k]), 9), at[k], group if near_first else group[::-1]))
        cost += float(away[k]) + 4.0 * _CORNER
    pieces, last = [], 0
    for k, _, at_k, group in sorted(found, key=lambda one: one[:2]):
        pieces += [track[last : k + 1], at_k[None], group, at_k[None]]
        last = k + 1
    path = np.concatenate([*pieces, track[last:]])
    # A way begun at a corner of the path would have a move of no length.
    moved = np.hypot(*np.diff(path, axis=0).T) > _SAME
    return path[np.concatenate([[True], moved])], cost


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
    # A narrow cluster gets a stroke for each 2.5 mm of its width; a wide one also those along its
    # sides, where the next round would else find its rest.
    count = max(math.ceil((high - low) / _APART), 1)
    even = low + (np.arange(count) + 0.5) * (high - low) / count
    places = np.linspace(low, high, count + 1) if count > _NARROW else even
    strokes = []
    for k, place in enumerate(places.tolist()):
        ends = np.array([first * mean + place * across, last * mean + place * across])
        ends = np.clip(ends, bounds[:2], bounds[2:])
        strokes.append(ends if k % 2 == 0 else ends[::-1])
    return strokes
