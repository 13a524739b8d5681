"""Cuts of long paths, taken over where just the same is cut again.

What a cut does to the heights of the columns, and what each motion takes, follows from those
heights, the pieces and the cutter's end alone, whatever lies below. So where all of them are equal
to the last bit, as on two blanks of which only the thickness below a planed face differs, the
result is too. Nothing is taken over that is merely alike.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["CutMemory"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class _Held:
    key: Hashable
    asked: tuple[NDArray[np.generic], ...]
    after: Singles
    results: tuple[Floats, ...]


class CutMemory:
    """The last `most` cuts of at least `least` pieces; shorter ones take less time than to compare.
    `taken_over` counts those that were not cut again."""

    def __init__(self, least: int = 10_000, most: int = 4) -> None:
        self._least, self._most = least, most
        self._held: list[_Held] = []
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
        self._held = [
            *self._held[1 - self._most :],
            _Held(key, (*asked, before), top.copy(), copies),
        ]
