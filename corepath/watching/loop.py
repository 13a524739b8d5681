"""Make a plan again each time its inputs have changed."""

from __future__ import annotations

import threading
from collections.abc import Callable

from corepath.planning.progress import Progress
from corepath.watching.changes import Changes

__all__ = ["POLL", "Superseded", "keep_making"]

POLL = 0.2
"""Seconds between two looks at the inputs."""


class Superseded(Exception):
    """An input was saved again while a plan was made from it; that plan is dropped before anything
    is written."""


def keep_making(
    make: Callable[[Progress], None],
    changes: Changes,
    *,
    progress: Progress,
    stop: threading.Event,
    poll: float = POLL,
) -> None:
    """Call `make` now and after each change, until `stop` is set.

    `make` reports its own faults. It is called with a progress function that raises `Superseded`
    once the inputs have changed since it began, so it must write only after its last call of it.
    `poll` is the seconds between two looks at the inputs.
    """

    def told(message: str, share: float) -> None:
        # A progress call is the only place where a running plan can be stopped cleanly.
        if changes.look() or stop.is_set():
            raise Superseded
        progress(message, share)

    while not stop.is_set():
        # Before planning, not after: a file saved while planning must count as changed.
        changes.take()
        try:
            make(told)
        except Superseded:
            continue
        while not changes.look():
            if stop.wait(poll):
                return
