"""A path over the deck of combs where it slopes and long lines along X where it is level.

Bed frame of C, mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.operations.deck.combs.chain import ChainLine, chained
from corepath.operations.deck.combs.comb_lines import combs
from corepath.operations.deck.combs.level_lines import level_lines
from corepath.operations.deck.deck_route import sequence
from corepath.work.cutting.deck_steps import StepTable

__all__ = ["combed"]

Array = NDArray[np.float64]
Bounds = tuple[float, float, float, float]

_EARLY = 0.8
"""Share of the turn radius by which turns between the lines of a comb begin before their ends; the
turn sweeps what the line then does not. Level lines end where the ground must still be swept."""


def combed(
    tables: list[StepTable],
    sloped: NDArray[np.bool_],
    size: tuple[float, float],
    bounds: Bounds,
    tried: Bounds,
    penalty: float,
) -> Array:
    """The places (n, 2), mm, where the axis goes.

    `tables` have the allowed steps for lines along X and along Y, `sloped` the bins where the
    widest step along X is too wide, `size` the widest step and the radius of the cutter's flat
    part, mm. `bounds` (left, low, right, high) is where the axis may go, `tried` the ground that is
    judged. `penalty` is what lines across the grain count.
    """
    widest, flat = size
    # Groups that are each run from one end to the other: lines, along Y or not, early turns.
    groups: list[tuple[list[Array], bool, float]] = []
    for comb in combs(tables, sloped, widest, flat, penalty):
        groups += [(comb.through, comb.across, _EARLY), (comb.extra, comb.across, _EARLY)]
    groups.append((level_lines(tables[0], sloped, widest, flat, tried), False, 0.0))
    groups = [group for group in groups if group[0]]
    lines: list[ChainLine] = []
    here = np.array(bounds[:2])
    while groups:
        # The group with the nearest end is next. What this leaves behind is put right by `chained`.
        away = [
            round(
                min(float(np.hypot(*(end - here))) for line in group[0] for end in line[[0, -1]]), 6
            )
            for group in groups
        ]
        given, across, early = groups.pop(away.index(min(away)))
        # u along the lines, as `sequence` has it.
        flip = slice(None, None, -1 if across else 1)
        start = (float(here[flip][0]), float(here[flip][1]))
        for line, _ in sequence([line[:, flip] for line in given], start, early):
            lines.append(ChainLine(line[:, flip], across, early))
        here = lines[-1].places[-1]
    return chained(lines, bounds)
