"""A path over the deck of combs where it slopes and long lines along X where it is level.

Bed frame of C, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.operations.deck.combs.chain import ChainLine, chained
from corepath.operations.deck.combs.comb_lines import combs
from corepath.operations.deck.combs.planes import ALONG, Outward, Plane
from corepath.operations.deck.combs.rim_loops import RimLine
from corepath.operations.deck.deck_route import sequence
from corepath.work.cutting.deck_steps import StepTable

__all__ = ["Lay", "combed"]

Array = NDArray[np.float64]
Bounds = tuple[float, float, float, float]

_EARLY = 0.8
"""Share of the turn radius by which turns between the lines of a comb begin before their ends; the
turn sweeps what the line then does not. Level lines end where the ground must still be swept."""

_OUTER = 6.0
"""mm by which lines square to the outline are longer at their outer ends inside of a loop. Turns 18
apart leave a scallop between two pairs of lines that lies 6.4 inside of what the flat part reaches
beyond a line; lines along X overlap there, a loop does not."""


@dataclass(frozen=True, slots=True)
class Lay:
    """What lines are laid for: the widest step and the radius of the cutter's flat part, mm;
    `bounds` (left, low, right, high), where the axis may go, the `level` lines over what combs
    leave, which follow from the sloping bins alone, and what lines across the grain count.

    With `square` combs may also run square to the outline. `loops` go round the rim of what is
    finished, where `level` has no lines then.
    """

    widest: float
    flat: float
    bounds: Bounds
    level: list[Array]
    penalty: float
    square: Outward | None = None
    loops: tuple[RimLine, ...] = ()


def combed(tables: list[StepTable], sloped: NDArray[np.bool_], lay: Lay) -> Array:
    """The places (n, 2), mm, where the axis goes.

    `tables` have the allowed steps for lines along X, along Y and, if any may run so, square to the
    outline; `sloped` are the bins where the widest step along X is too wide.
    """
    widest, flat, bounds, square = lay.widest, lay.flat, lay.bounds, lay.square
    # Groups that are each run from one end to the other: lines, their plane, early turns.
    groups: list[tuple[list[Array], Plane, float]] = []
    for comb in combs(tables, sloped, widest, flat, lay.penalty, square):
        through = comb.through
        if lay.loops and comb.plane is square:
            through = [_longer(line) for line in through]
        groups += [(through, comb.plane, _EARLY), (comb.extra, comb.plane, _EARLY)]
    groups += [([loop.places], loop, 0.0) for loop in lay.loops]
    groups.append((lay.level, ALONG, 0.0))
    groups = [group for group in groups if group[0]]
    lines: list[ChainLine] = []
    here: Array = np.array(bounds[:2])
    while groups:
        # The group with the nearest end is next. What this leaves behind is put right by `chained`.
        nearest = [_nearest(*group[:2], here) for group in groups]
        k = nearest.index(min(nearest))
        given, plane, early = groups.pop(k)
        start = nearest[k][1:]
        for line, _ in sequence(given, start, early):
            lines.append(ChainLine(line, plane, early))
        here = np.asarray(plane.xy(lines[-1].places[-1:])).ravel()
    return chained(lines, bounds)


def _longer(line: Array) -> Array:
    """A line square to the outline, longer at its outer end."""
    outer = int(np.argmax(line[[0, -1], 0])) * (len(line) - 1)
    longer = line.copy()
    longer[outer, 0] += _OUTER
    return longer


def _nearest(lines: list[Array], plane: Plane, here: Array) -> tuple[float, float, float]:
    """How far from `here` (2,) the nearest end of the lines lies, mm, and its u and v."""
    ends = np.concatenate([line[[0, -1]] for line in lines])
    gap = plane.xy(ends) - here
    away = np.asarray(np.hypot(gap[:, 0], gap[:, 1]), dtype=np.float64).round(6)
    k = int(np.argmin(away))
    return float(away[k]), float(ends[k, 0]), float(ends[k, 1])
