"""Cuts of long paths, taken over where just the same is cut again.

What a cut does to the heights of the columns, and what each motion takes, follows from those
heights, the pieces and the cutter's end alone, whatever lies below. So where all of them are equal
to the last bit, as on two blanks of which only the thickness below a planed face differs, the
result is too. Nothing is taken over that is merely alike.

What one path leaves at scattered places follows from places, pieces and cutter alone, whatever
stood there before: the lower of both is what is left. Where the whole path lies higher, as with its
zero on a face that another stop left, so does what it leaves: that is taken over raised.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["CutMemory"]

# mm: heights that differ by the rounding of sums alone; the text has three or four decimals
_ROUNDING = 1e-9

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class _Held:
    key: Hashable
    asked: tuple[NDArray[np.generic], ...]
    after: Singles
    results: tuple[Floats, ...]


@dataclass(frozen=True, slots=True)
class _Left:
    key: Hashable
    way: tuple[Floats, Floats]
    asked: tuple[NDArray[np.generic], ...]
    heights: Floats

    def rise(
        self, key: Hashable, way: tuple[Floats, Floats], asked: tuple[NDArray[np.generic], ...]
    ) -> float | None:
        """Return by how much another path lies higher that is the same else, mm; None for any
        other."""
        same = self.key == key and all(map(np.array_equal, self.asked, asked))
        if not same or len(way[0]) != len(self.way[0]):
            return None
        up = float(way[0][0, 2] - self.way[0][0, 2])
        for mine, one in zip(self.way, way, strict=True):
            if mine is not one and not all(
                (np.abs(one[:, k] - mine[:, k] - by) <= _ROUNDING).all()
                for k, by in enumerate((0.0, 0.0, up))
            ):
                return None
        return up


class CutMemory:
    """The last `most` cuts of at least `least` pieces; shorter ones take less time than to compare.
    `taken_over` counts those that were not cut again. As many more that were asked about at
    scattered places."""

    def __init__(self, least: int = 10_000, most: int = 4) -> None:
        self._least, self._most = least, most
        self._held: list[_Held] = []
        self._left: list[_Left] = []
        self.taken_over = 0

    def cut(
        self,
        top: Singles,
        key: Hashable,
        asked: tuple[NDArray[np.generic], ...],
        results: tuple[Floats, ...],
        cutting: Callable[[], None],
    ) -> None:
        """Lower `top` [iy, ix] and fill the `results`, as `cutting` does; `asked` are the pieces
        and their owners, any arrays, `key` all else that it goes by."""
        if len(asked[0]) < self._least:
            cutting()
            return
        given = (*asked, top)
        for held in self._held:
            if held.key == key and all(map(np.array_equal, held.asked, given)):
                top[...] = held.after
                for result, known in zip(results, held.results, strict=True):
                    result[...] = known
                self.taken_over += 1
                return
        before = top.copy()
        cutting()
        copies = tuple(result.copy() for result in results)
        held = _Held(key, (*asked, before), top.copy(), copies)
        self._held = [*self._held[1 - self._most :], held]

    def left(
        self, key: Hashable, way: tuple[Floats, Floats], asked: tuple[NDArray[np.generic], ...],
        sweeping: Callable[[], Floats],
    ) -> Floats:  # fmt: skip
        """Return the heights that `sweeping` gives, now or before, mm.

        `way` are both ends of the pieces, (m, 3), `asked` the places and what else it goes by in
        arrays, `key` the rest. Nobody may change them.
        """
        if len(way[0]) < self._least:
            return sweeping()
        for one in self._left:
            rise = one.rise(key, way, asked)
            if rise is not None:
                self.taken_over += 1
                return one.heights + rise
        heights = sweeping()
        self._left = [*self._left[1 - self._most :], _Left(key, way, asked, heights)]
        return heights
