"""How those that wait are told what is being done: a function that takes words and the share done,
0 to 1."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Progress", "quiet", "within"]

Progress = Callable[[str, float], None]
"""Called with what is being done and the share done, 0 to 1."""


def quiet(says: str, share: float) -> None:
    """A progress that shows nothing."""


def within(progress: Progress, start: float, end: float) -> Progress:
    """A progress for one part of the work, which is that from `start` to `end` of the whole."""

    def part(says: str, share: float) -> None:
        progress(says, start + (end - start) * share)

    return part
