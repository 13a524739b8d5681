"""How far figures of many boards lie apart: from board to board, and from place to place on one.

A figure is what was measured less what was meant. What all figures of one board share came from one
act, such as touching off; what differs from place to place came from the bed, the machine and the
gauge. With the mean m of the n figures of a board, the scatter s² within boards (pooled) and N
boards, the shared error squared is the mean of m² - s²/n: about zero and not about the mean of all
boards, since a tolerance must hold what is always off as well (one-way analysis of variance with
random effects, from memory). A tolerance is `SIGMAS` sigmas, as everywhere in corepath.

How sure: a mean square of k independent figures is too small by at most k / chi² in `SURE` of all
cases, with the lower quantile of chi² for k by Wilson and Hilferty (1931; from memory). What is
known to be in it, the scatter or the gauge, is taken off after that, so that the bound holds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import linear_regression

from corepath.stackup.measuring.fitting import SIGMAS

__all__ = ["LEAST", "SURE", "Spread", "about_lines", "between", "line", "single", "within"]

SURE = 0.8
"""Share of shops whose true tolerance is no larger than the value told."""

_QUANTILE = -0.8416
"""Of the standard normal distribution, at 1 - `SURE`."""

LEAST = 3
"""Independent figures without which nothing is told."""


@dataclass(frozen=True, slots=True)
class Spread:
    """`half`: the half-width of what was found, mm; `bound`: what it is at most in `SURE` of all
    cases; `mean`: what is always off. From `free` independent figures of `count`, of `boards`."""

    half: float
    bound: float
    mean: float
    free: int
    count: int
    boards: int

    @property
    def known(self) -> bool:
        """Whether there are figures enough for a value."""
        return self.free >= LEAST


def single(figures: Sequence[float]) -> Spread:
    """Return the spread of independent figures about zero, one a board."""
    square = sum(one * one for one in figures) / max(len(figures), 1)
    return _spread(square, len(figures), figures, len(figures))


def about_lines(groups: Iterable[Sequence[float]]) -> Spread:
    """Return the spread of figures about a line through those of each group; a group of fewer than
    `LEAST` figures counts as it is, about zero."""
    total, free, count, boards = 0.0, 0, 0, 0
    for figures in groups:
        lined = len(figures) >= LEAST
        slope, last = line(figures) if lined else (0.0, 0.0)
        for k, one in enumerate(reversed(figures)):
            total += (one - (last - slope * k)) ** 2
        # a line through n figures leaves n - 2 of them free
        free += len(figures) - (2 if lined else 0)
        count, boards = count + len(figures), max(boards, len(figures))
    found = _spread(total / max(free, 1), free, [], count)
    return Spread(found.half, found.bound, 0.0, free, count, boards)


def line(figures: Sequence[float]) -> tuple[float, float]:
    """Return the slope of the line of least squares, a figure, and its last point."""
    slope, start = linear_regression(range(len(figures)), figures)
    return slope, start + slope * (len(figures) - 1)


def between(boards: Iterable[Sequence[float]]) -> Spread:
    """Return the spread of what all figures of one board share; `boards` are the figures of
    each."""
    held = [figures for figures in boards if figures]
    scatter, _ = _scatter(held)
    means = [sum(figures) / len(figures) for figures in held]
    whole = sum(mean * mean for mean in means) / max(len(means), 1)
    inside = sum(scatter / len(figures) for figures in held) / max(len(held), 1)
    return _spread(whole, len(held), means, sum(map(len, held)), inside)


def within(boards: Iterable[Sequence[float]], gauge: float) -> Spread:
    """Return the spread from place to place on one board, less that of the gauge: its tolerance,
    mm."""
    held = [figures for figures in boards if figures]
    scatter, free = _scatter(held)
    found = _spread(scatter, free, [], sum(map(len, held)), (gauge / SIGMAS) ** 2)
    return Spread(found.half, found.bound, 0.0, free, found.count, len(held))


def _scatter(held: Sequence[Sequence[float]]) -> tuple[float, int]:
    """Return the variance within boards, pooled, and its degrees of freedom."""
    free = sum(len(figures) - 1 for figures in held)
    if free <= 0:
        return 0.0, 0
    total = 0.0
    for figures in held:
        mean = sum(figures) / len(figures)
        total += sum((one - mean) ** 2 for one in figures)
    return total / free, free


def _spread(
    square: float, free: int, means: Sequence[float], count: int, inside: float = 0.0
) -> Spread:
    """Return a spread from a mean square of `free` independent figures, of which the part `inside`
    is something else's."""
    half = SIGMAS * math.sqrt(max(0.0, square - inside))
    most = math.inf if free < 1 else square * _factor(free) ** 2
    bound = SIGMAS * math.sqrt(max(0.0, most - inside))
    mean = sum(means) / len(means) if means else 0.0
    return Spread(half, bound, mean, free, count, len(means))


def _factor(free: int) -> float:
    """Return by how much the sigma of `free` figures may be too small."""
    part = 2.0 / (9.0 * free)
    share = max(1e-9, (1.0 - part + _QUANTILE * math.sqrt(part)) ** 3)
    return 1.0 / math.sqrt(share)
