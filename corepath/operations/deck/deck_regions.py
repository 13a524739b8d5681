"""Which way lines run where: the blank is split into rectangles, each with lines along X or along
Y.

Bed frame of C, mm. Splits go from edge to edge of what they split (guillotine cuts) on a grid of
`CELL`; of all such splits the cheapest is found by dynamic programming over rectangles. A rectangle
costs the length of its lines (1/step integrated over its area, where steps below the widest cost
more than their share since lines come in whole numbers), a turn for each line, and a link to the
next rectangle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.work.cutting.deck_steps import StepTable

__all__ = ["CELL", "Region", "regions"]

Array = NDArray[np.float64]

# mm. The table of the dynamic programming grows with the fourth power of its inverse.
CELL = 20.0
WHOLE_LINES = 1.35
"""Factor on the mean number of extra lines, since they come in whole numbers and whole stretches.
"""
TURN = 0.9
"""mm of line that turning costs for each mm of a region's width across its lines."""
LINK = 200.0
"""mm of line that one more region costs."""


@dataclass(frozen=True, slots=True)
class Region:
    """A rectangle with lines along X, or along Y if `across`."""

    left: float
    low: float
    right: float
    high: float
    across: bool


def regions(
    along: StepTable, across: StepTable, widest: float, right: float, high: float, penalty: float
) -> list[Region]:
    """Regions that cover the whole table, from left to right and low to high.

    `along` and `across` have the allowed steps for lines along X and along Y on the same bins,
    `widest` is the largest step, `right` and `high` (mm) cut the last cells off. `penalty`
    multiplies the cost of lines across the grain (Y).
    """
    from corepath.operations.deck.deck_kernels import guillotine

    per = max(1, round(CELL / along.size))
    size = per * along.size
    costs = [_coarse(along, widest, per, 1.0), _coarse(across, widest, per, penalty)]
    n, m = costs[0].shape
    best = np.full((n, n, m, m), np.inf, np.float32)
    choice = np.zeros((n, n, m, m), np.int16)
    guillotine(costs[0], costs[1], TURN * size, TURN * size * penalty, LINK, best, choice)
    found: list[Region] = []

    def place(i: int, j: int) -> tuple[float, float]:
        return min(along.left + i * size, right), min(along.low + j * size, high)

    def take(i: int, end: int, j: int, top: int) -> None:
        cut = int(choice[i, end, j, top])
        if cut < 0:
            found.append(Region(*place(i, j), *place(end, top), cut == -2))
        elif cut < 1000:
            take(i, cut, j, top)
            take(cut, end, j, top)
        else:
            take(i, end, j, cut - 1000)
            take(i, end, cut - 1000, top)

    take(0, costs[0].shape[0] - 1, 0, costs[0].shape[1] - 1)
    return found


def _coarse(steps: StepTable, widest: float, per: int, penalty: float) -> Array:
    """Sums (n + 1, m + 1), in mm of line, of the cost of all bins left of and below each corner of
    the coarse grid."""
    least = 1.0 / widest
    # 1/step is the length of line for a unit of area; the part above the widest step's costs extra.
    cost = penalty * (least + WHOLE_LINES * (1.0 / steps.table - least)) * steps.size**2
    if steps.needed is not None:
        cost = np.where(steps.needed, cost, 0.0)
    n, m = cost.shape
    cost = np.pad(cost, ((0, -n % per), (0, -m % per)))
    cells = cost.reshape(cost.shape[0] // per, per, cost.shape[1] // per, per).sum(axis=(1, 3))
    result: Array = np.pad(cells.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    return result
