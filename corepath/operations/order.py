"""The order in which features are visited: a short open path that starts where the cutter stands.

Places are (x, y), mm; distance is straight, as rapids go. Up to `EXACT` places the shortest path is
found by dynamic programming (`corepath.motion.tour`). For more, the nearest neighbour is taken
again and again, then stretches are reversed (2-opt, G. A. Croes, 1958, from memory) and up to three
neighbours moved elsewhere (Or-opt, I. Or, 1976, from memory) for as long as that shortens the path.
Lengths are compared with a margin of 1e-6 mm and ties go to the lower index, so that rounding does
not change the order.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.motion.tour import FEW, least_way

__all__ = ["EXACT", "short_order"]

EXACT = FEW
"""Up to this many places the path is the shortest possible."""

Place = tuple[float, float]
Floats = NDArray[np.float64]
# mm; an exchange must shorten the path by more, or rounding could go on exchanging for ever.
_MARGIN = 1e-6
_LONGEST = 3  # places moved together


def short_order(places: Sequence[Place], start: Place | None = None) -> list[int]:
    """Indices of `places` in the order to visit them from `start`; empty for no places.

    Without a start the path begins at the leftmost place (of several, the lowest).
    """
    if not places:
        return []
    apart = _distances(places, start)
    if len(places) > EXACT:
        return _shortened(apart)
    return least_way(apart[0, 1:-1], apart[1:-1, 1:-1], apart[-1, 1:-1])[1]


def _distances(places: Sequence[Place], start: Place | None) -> Floats:
    """(n + 2, n + 2) distances: row 0 is the start, rows 1 to n the places, the last row an end
    that is at distance 0 from all (an open path)."""
    count = len(places)
    apart = np.zeros((count + 2, count + 2))
    there = np.asarray(places, dtype=float)
    apart[1:-1, 1:-1] = np.round(np.hypot(*(there[:, None] - there[None, :]).transpose(2, 0, 1)), 6)
    if start is None:
        first = min(range(count), key=lambda k: (round(places[k][0], 6), round(places[k][1], 6), k))
        # No start: a start that is dearer to leave than any path is long, except towards the first
        # place.
        away = np.full(count, 2.0 * apart.sum() + 1.0)
        away[first] = 0.0
    else:
        away = np.round(np.hypot(*(there - np.asarray(start)).T), 6)
    apart[0, 1:-1] = apart[1:-1, 0] = away
    return apart


def _shortened(apart: Floats) -> list[int]:
    way = _nearest(apart)
    # Not `or`: both moves are tried in each round.
    while _turned(apart, way) | _moved(apart, way):
        pass
    return [int(k) - 1 for k in way[1:-1]]


def _nearest(apart: Floats) -> NDArray[np.intp]:
    """Start, places and end as rows of `apart`, each place the nearest to the one before that is
    left."""
    count = len(apart) - 2
    left = np.ones(count + 2, dtype=bool)
    left[[0, -1]] = False
    way = [0]
    for _ in range(count):
        way.append(int(np.argmin(np.where(left, apart[way[-1]], np.inf))))
        left[way[-1]] = False
    return np.array([*way, count + 1], dtype=np.intp)


def _turned(apart: Floats, way: NDArray[np.intp]) -> bool:
    """Reverses stretches in place: from each place on, the one whose reversal shortens the path
    most. Returns whether any did."""
    shorter = False
    for i in range(1, len(way) - 2):
        ends, after = way[i + 1 : -1], way[i + 2 :]
        change = apart[way[i - 1], ends] + apart[way[i], after]
        change -= apart[way[i - 1], way[i]] + apart[ends, after]
        j = int(np.argmin(change))
        if change[j] < -_MARGIN:
            way[i : i + j + 2] = way[i : i + j + 2][::-1].copy()
            shorter = True
    return shorter


def _moved(apart: Floats, way: NDArray[np.intp]) -> bool:
    """Moves up to three neighbours, either way round, to where they shorten the path most. Returns
    whether any did."""
    shorter = False
    for length in range(1, min(_LONGEST, len(way) - 3) + 1):
        for i in range(1, len(way) - length):
            piece, rest = way[i : i + length].copy(), np.delete(way, slice(i, i + length))
            first, last = piece[0], piece[-1]
            saved = apart[rest[i - 1], first] + apart[last, rest[i]] - apart[rest[i - 1], rest[i]]
            edge = apart[rest[:-1], rest[1:]]
            costs = np.stack(
                [
                    apart[rest[:-1], first] + apart[last, rest[1:]] - edge,
                    apart[rest[:-1], last] + apart[first, rest[1:]] - edge,
                ]
            )
            turned, k = divmod(int(np.argmin(costs)), costs.shape[1])
            if costs[turned, k] < saved - _MARGIN:
                way[:] = np.insert(rest, k + 1, piece[::-1] if turned else piece)
                shorter = True
    return shorter
