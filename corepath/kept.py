"""Results that are kept as long as what they follow from is the same."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

__all__ = ["Kept"]

Result = TypeVar("Result")


class Kept:
    """Holds results of pure functions by key; of more than `most` the one that was asked for
    longest ago goes.

    A key has all that its result follows from, and a name of its own; what raises is not kept.
    Nobody may change a result. What is not held may be worked out by `cores` processes beside.
    """

    __slots__ = ("_held", "_most", "cores")

    def __init__(self, most: int, cores: int = 1) -> None:
        self._held: dict[Hashable, Any] = {}
        self._most = most
        self.cores = cores

    def holds(self, key: Hashable) -> bool:
        """Returns whether there is a result for this key now."""
        return key in self._held

    def of(self, key: Hashable, make: Callable[[], Result]) -> Result:
        """Returns what `make` gave for this key, now or before."""
        result: Result = self._held.pop(key) if key in self._held else make()
        # last in the order of the dictionary: asked for just now
        self._held[key] = result
        while len(self._held) > self._most:
            del self._held[next(iter(self._held))]
        return result
