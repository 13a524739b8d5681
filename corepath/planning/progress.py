"""Progress callbacks: a function that is called with what is being done and the share done, 0 to
1."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Progress", "quiet", "within"]

Progress = Callable[[str, float], None]
"""Called with what is being done and the share done, 0 to 1."""


def quiet(message: str, share: float) -> None:
    """Show nothing: the progress callback where nobody waits."""


def within(progress: Progress, start: float, end: float) -> Progress:
    """Return the progress callback for a part of the work that takes the whole from the share
    `start` to the share `end`."""

    def part(message: str, share: float) -> None:
        progress(message, start + (end - start) * share)

    return part
