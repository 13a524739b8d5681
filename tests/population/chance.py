"""Numbers by chance, the same for ever: all of them come from the plain doubles of one numpy
Generator.

numpy promises the bits of a generator, not the way in which its methods use them, so that choices
and orders are made here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeVar

import numpy as np

__all__ = ["Chance"]

T = TypeVar("T")


class Chance:
    """The chance of one job, by its seed and its index in the draw; further `parts` make one that
    hangs on nothing else that is drawn."""

    def __init__(self, seed: int, index: int, *parts: int) -> None:
        self._generator = np.random.Generator(np.random.PCG64([seed, index, *parts]))

    def share(self) -> float:
        """From 0 to 1."""
        return float(self._generator.random())

    def even(self, low: float, high: float, step: float = 0.1) -> float:
        """Even from `low` to `high`, rounded to `step` as a person would write it, never beyond
        either end."""
        value = low + (high - low) * self.share()
        rounded = round(value / step) * step
        return round(min(max(rounded, low), high), 6)

    def whole(self, low: int, high: int) -> int:
        """A whole number from `low` to `high`, both included."""
        return low + min(int(self.share() * (high - low + 1)), high - low)

    def yes(self, share: float = 0.5) -> bool:
        return self.share() < share

    def one_of(self, things: Sequence[T]) -> T:
        return things[self.whole(0, len(things) - 1)]

    def weighed(self, things: Sequence[tuple[T, float]]) -> T:
        """One of several, by their shares."""
        place = self.share() * sum(weight for _, weight in things)
        for thing, weight in things:
            place -= weight
            if place < 0.0:
                return thing
        return things[-1][0]

    def order(self, count: int) -> list[int]:
        """0 to count - 1 in an order by chance."""
        keys = [self.share() for _ in range(count)]
        return sorted(range(count), key=lambda k: (keys[k], k))

    def up(self, value: float, step: float) -> float:
        """`value` rounded up to a step; no chance in it."""
        return round(math.ceil(value / step - 1e-9) * step, 6)
