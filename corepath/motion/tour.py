"""The shortest way through a few places, by dynamic programming (M. Held and R. M. Karp, 1962, from
memory).

The least way from the start through each set of places to each of its members is built from those
of smaller sets. Work grows as n² 2^n: for `FEW` places or fewer. Costs may be lengths or times, and
need not satisfy the triangle inequality.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["FEW", "least_way"]

FEW = 9  # places at most: 9² · 2⁹ = 41 000 sums, and one place more would double them

_MARGIN = 1e-6  # of the cost: ways shorter by less count as equal, so that rounding decides nothing


def least_way(
    out: NDArray[np.float64], apart: NDArray[np.float64], back: NDArray[np.float64]
) -> tuple[float, list[int]]:
    """Returns the least cost and the order of a way from a start through n places, once each, to an
    end.

    `out` (n,) are the costs from the start, `apart` (n, n) those between places, `back` (n,) those
    to the end. Ties within 1e-6 go to the lower index. Raises ValueError for no place, or for more
    than `FEW`.
    """
    count = len(out)
    if not 0 < count <= FEW:
        raise ValueError(f"the shortest way is found for 1 to {FEW} places, not {count}")
    # A set of places is a number whose bits are the places. Adding a place makes it larger, so
    # going up through the numbers meets each set after all of its subsets.
    rows = apart.tolist()
    least = [[math.inf] * count for _ in range(1 << count)]
    before = [[-1] * count for _ in range(1 << count)]
    for k, cost in enumerate(out.tolist()):
        least[1 << k][k] = cost
    for visited in range(1, 1 << count):
        for last in range(count):
            so_far = least[visited][last]
            if so_far == math.inf:
                continue
            for k in range(count):
                together = visited | 1 << k
                if together != visited and so_far + rows[last][k] < least[together][k] - _MARGIN:
                    least[together][k], before[together][k] = so_far + rows[last][k], last
    visited = (1 << count) - 1
    whole = [least[visited][k] + float(back[k]) for k in range(count)]
    last = min(range(count), key=lambda k: (round(whole[k], 6), k))
    cost, order = whole[last], []
    while last >= 0:
        order.append(last)
        visited, last = visited & ~(1 << last), before[visited][last]
    return cost, order[::-1]
