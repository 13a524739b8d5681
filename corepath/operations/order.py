"""A short order of places: nearest neighbour from the leftmost one, then improved by turning stretches round.

Places are (x, y), mm. The way is open (no return). Distances are compared with a margin of 1e-6 mm and ties go
to the lower index, so that rounding does not change the order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = ["short_order"]

Place = tuple[float, float]
_MARGIN = 1e-6


def short_order(places: Sequence[Place]) -> list[int]:
    """Indices of `places` in the order to visit them; empty for none."""
    if not places:
        return []
    order = _nearest(places)
    while _turned(places, order):
        pass
    return order


def _nearest(places: Sequence[Place]) -> list[int]:
    left = list(range(len(places)))
    order = [min(left, key=lambda k: (round(places[k][0], 6), round(places[k][1], 6), k))]
    left.remove(order[0])
    while left:
        here = places[order[-1]]
        order.append(min(left, key=lambda k: (round(math.dist(here, places[k]), 6), k)))
        left.remove(order[-1])
    return order


def _turned(places: Sequence[Place], order: list[int]) -> bool:
    """Turn the first stretch whose turning shortens the way; False when there is none."""
    n = len(order)
    for i in range(n - 1):
        for j in range(i + 1, n):
            before = math.dist(places[order[i - 1]], places[order[i]]) if i else 0.0
            after = math.dist(places[order[i - 1]], places[order[j]]) if i else 0.0
            if j < n - 1:
                before += math.dist(places[order[j]], places[order[j + 1]])
                after += math.dist(places[order[i]], places[order[j + 1]])
            if after < before - _MARGIN:
                order[i : j + 1] = reversed(order[i : j + 1])
                return True
    return False
