"""Errors of many cores drawn at random, under the names that they have in `Linear`.

An error of a set-up (touch, machine, pour line …) is drawn once per core. What each place of the
wood or the bed has of its own (thickness, gaps, bed) is drawn once per *cell*: a stretch of the
groove, a piece of the crown, a plug or a seat. Each is normal about the middle of its interval with
a standard deviation of a third of the half-width, and cut off at its ends: the root sum square of
many such errors is then the value that 0.135 % of the cores fall short of.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from corepath.stackup.linear import Linear

__all__ = ["DrawnErrors", "ErrorCell", "even", "normal"]

Floats = NDArray[np.float64]
# quoted: numpy loads its generators, some 20 ms, when they are first named
Spread: TypeAlias = "Callable[[np.random.Generator, int], Floats]"
"""Draws (n,) errors as shares of the half-width of their interval, -1 to 1."""

SEED = 20_261_130
SIGMAS = 3.0  # standard deviations in the half-width of an interval

_OF_PLACE = frozenset({
    "thickness", "height as held", "bed", "bed in B", "thickness after the skim", "depth gauge",
    "depth gauge in the insert", *(f"lying flat in {setup}" for setup in "ABC"),
})  # fmt: skip
"""Errors that differ from place to place, as `Heights` names them."""

_OF_CASTING = frozenset({"depth gauge at the resin"})

GAUGED = ", gauged"
"""What `narrowed` adds to the name of an error that a gauge has made smaller."""


def normal(generator: np.random.Generator, count: int) -> Floats:
    """Return `count` draws (count,), in half-widths, from a normal distribution of a third of the
    half-width, cut off at its ends."""
    drawn = generator.standard_normal(count) / SIGMAS
    # 0.27 % lie beyond the ends: they are drawn again, so that nothing piles up at an end
    while (beyond := np.abs(drawn) > 1.0).any():
        drawn[beyond] = generator.standard_normal(int(beyond.sum())) / SIGMAS
    return drawn


def even(generator: np.random.Generator, count: int) -> Floats:
    """Return `count` draws (count,), in half-widths, evenly from the whole interval."""
    return generator.uniform(-1.0, 1.0, count)


@dataclass(frozen=True, slots=True)
class ErrorCell:
    """The places that share the errors of one place: `id` of the cell, `casting` it belongs to."""

    id: str
    casting: str = ""


@dataclass
class DrawnErrors:
    """The errors of `cores` cores, each drawn when it is first asked for and kept."""

    cores: int
    spread: Spread = normal
    seed: int = SEED
    _drawn: dict[tuple[str, str], Floats] = field(default_factory=dict)

    def values(self, value: Linear, cell: ErrorCell) -> Floats:
        """Returns (cores,) values of a length at a place of `cell`, mm."""
        found = np.full(self.cores, value.nominal)
        for name, part in value.parts.items():
            low, high = part.extremes
            found += (low + high) / 2.0
            if high > low:
                half = part.sensitivity * (part.high - part.low) / 2.0
                found += half * self._of(name, cell)
        return found

    def shares(self, name: str) -> Floats:
        """Returns (cores,) draws of an error of the whole core, as shares of its half-width."""
        return self._of(name, ErrorCell(""))

    def _of(self, name: str, cell: ErrorCell) -> Floats:
        base = name.removesuffix(GAUGED)
        of = cell.id if base in _OF_PLACE else cell.casting if base in _OF_CASTING else ""
        key = (name, of)
        if key not in self._drawn:
            # A stream of its own for each error, so that the draws depend neither on the order in
            # which they are asked for nor on what else a job has.
            stream = [self.seed, zlib.crc32(name.encode()), zlib.crc32(of.encode())]
            self._drawn[key] = self.spread(np.random.default_rng(stream), self.cores)
        return self._drawn[key]
