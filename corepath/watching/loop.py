"""Making a plan again each time that its inputs have changed."""

from __future__ import annotations

import threading
from collections.abc import Callable

from corepath.planning.progress import Progress
from corepath.watching.changes import Changes

__all__ = ["POLL", "Superseded", "keep_making"]

POLL = 0.2
"""Seconds between two looks at the inputs."""


class Superseded(Exception):
    """An input was saved again while a plan was made of it; that plan is given up before anything
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

    `make` tells of its own faults; it is given a progress that ends it with `Superseded` once the
    inputs are others than it was begun with, and must then have written nothing.
    """

    def told(says: str, share: float) -> None:
        if changes.look() or stop.is_set():
            raise Superseded
        progress(says, share)

    while not stop.is_set():
        changes.take()
        try:
            make(told)
        except Superseded:
            continue
        while not changes.look():
            if stop.wait(poll):
                return
