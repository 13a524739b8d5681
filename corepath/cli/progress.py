"""Progress on stderr while a command works, only where a person watches a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["showing", "time_left"]

Progress = Callable[[str, float], None]

_EARLY = 0.1  # of the whole; a guess made before is worth nothing


def _silent(says: str, share: float) -> None:
    """Show nothing."""


def time_left(elapsed: float, share: float) -> str:
    """The time that is likely left, in words; `elapsed` in seconds, `share` of the work done, 0 to 1."""
    if share < _EARLY:
        return ""
    left = elapsed * (1.0 - share) / share
    return f"about {left:.0f} s left" if left < 90.0 else f"about {left / 60.0:.0f} min left"


@contextmanager
def showing(quiet: bool) -> Iterator[Progress]:
    """A function to call with what is being done and the share done, 0 to 1."""
    if quiet or not sys.stderr.isatty():
        yield _silent
        return
    import time

    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    begun = time.monotonic()
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TextColumn("{task.fields[left]}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading the job", total=1.0, left="")

        def show(says: str, share: float) -> None:
            left = time_left(time.monotonic() - begun, share)
            bar.update(task, description=says, completed=share, left=left)

        yield show
