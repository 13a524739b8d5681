"""Lengths with named errors: a nominal value and its sensitivity to each contributor.

A contributor is a named error within an interval, mm. The same name is the same error wherever it
turns up, so errors that two lengths share cancel or add as they should (correlated terms count
once). Worst case is the sum of the extremes; root sum square (RSS) takes the contributors as
independent and centred in their intervals, so a one-sided one also moves the mean. Source: linear
tolerance stack-up by worst case and by RSS, textbooks of tolerancing (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

__all__ = ["Linear", "Part"]


class Part(NamedTuple):
    """How one contributor enters: sensitivity times an error between `low` and `high` (mm)."""

    sensitivity: float
    low: float
    high: float

    @property
    def extremes(self) -> tuple[float, float]:
        # a negative sensitivity turns the interval round
        one, two = self.sensitivity * self.low, self.sensitivity * self.high
        return (one, two) if one <= two else (two, one)


@dataclass(frozen=True, slots=True)
class Linear:
    """A length with errors: nominal + sum of sensitivity x error, all mm. Adds, subtracts, scales.

    Adding two raises ValueError where they hold one contributor with two intervals.

    >>> box = Linear.of(40.0) + Linear.term("box", 0.1)
    >>> gap = box - Linear.of(37.0) - Linear.term("parts", 0.2)
    >>> [round(end, 3) for end in gap.worst()]
    [2.7, 3.3]
    """

    nominal: float
    parts: Mapping[str, Part]

    @staticmethod
    def of(value: float) -> Linear:
        """Return a length without error."""
        return Linear(float(value), MappingProxyType({}))

    @staticmethod
    def term(name: str, size: float) -> Linear:
        """Return an error, nominally zero, within ± `size` mm."""
        return Linear(0.0, MappingProxyType({name: Part(1.0, -size, size)}))

    @staticmethod
    def gap(name: str, size: float) -> Linear:
        """Return a one-sided error: nominally zero, never negative, at most `size` mm."""
        return Linear(0.0, MappingProxyType({name: Part(1.0, 0.0, size)}))

    @staticmethod
    def between(name: str, low: float, high: float) -> Linear:
        """Return an error, nominally zero, between `low` and `high` mm."""
        return Linear(0.0, MappingProxyType({name: Part(1.0, low, high)}))

    def __add__(self, other: Linear | float) -> Linear:
        if not isinstance(other, Linear):
            return Linear(self.nominal + other, self.parts)
        parts = dict(self.parts)
        for name, part in other.parts.items():
            mine = parts.get(name)
            if mine is None:
                parts[name] = part
                continue
            # One error cannot have two sizes: adding sensitivities would be wrong for either. Sizes
            # that differ from place to place go into the sensitivity.
            if mine.low != part.low or mine.high != part.high:
                raise ValueError(f"contributor {name!r} has two sizes: {mine} and {part}")
            parts[name] = Part(mine.sensitivity + part.sensitivity, mine.low, mine.high)
        return Linear(self.nominal + other.nominal, MappingProxyType(parts))

    def __radd__(self, other: float) -> Linear:
        return self + other

    def __sub__(self, other: Linear | float) -> Linear:
        return self + (other * -1.0)

    def __mul__(self, factor: float) -> Linear:
        parts = {
            name: Part(sensitivity * factor, low, high)
            for name, (sensitivity, low, high) in self.parts.items()
        }
        return Linear(self.nominal * factor, MappingProxyType(parts))

    def without(self, name: str) -> Linear:
        """Return the same length with the contributor `name` left out."""
        return Linear(
            self.nominal, MappingProxyType({n: part for n, part in self.parts.items() if n != name})
        )

    def worst(self) -> tuple[float, float]:
        """Return the least and the largest value, mm, with every contributor at its worse end."""
        ends = [part.extremes for part in self.parts.values()]
        # fsum: the sum must not depend on the order in which the contributors were added
        return self.nominal + math.fsum(low for low, _ in ends), self.nominal + math.fsum(
            high for _, high in ends
        )

    def rss(self) -> tuple[float, float]:
        """Return mean less and mean plus the root of the sum of squared half-intervals, mm."""
        ends = [part.extremes for part in self.parts.values()]
        mean = self.nominal + math.fsum((low + high) / 2 for low, high in ends)
        spread = math.sqrt(math.fsum(((high - low) / 2) ** 2 for low, high in ends))
        return mean - spread, mean + spread

    def largest(self, count: int = 3) -> tuple[tuple[str, float], ...]:
        """Return the `count` contributors that can lower the value most, as (name, mm) from the
        largest."""
        costs = [(name, -part.extremes[0]) for name, part in self.parts.items()]
        # What cancelled is float noise (below 1e-9) and no contributor; equal costs go by name, so
        # that the report has the same order everywhere.
        ranked = sorted((c for c in costs if c[1] > 1e-9), key=lambda c: (-round(c[1], 9), c[0]))
        return tuple(ranked[:count])
