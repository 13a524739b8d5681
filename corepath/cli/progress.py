"""Progress on stderr while a command works, only where a person watches a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["showing"]

Progress = Callable[[str, float], None]


def _silent(says: str, share: float) -> None:
    """Show nothing."""


@contextmanager
def showing(quiet: bool) -> Iterator[Progress]:
    """A function to call with what is being done and the share done, 0 to 1."""
    if quiet or not sys.stderr.isatty():
        yield _silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("starting", total=1.0)

        def show(says: str, share: float) -> None:
            bar.update(task, description=says, completed=share)

        yield show
