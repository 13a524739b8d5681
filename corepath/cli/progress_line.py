"""Progress on stderr while a command works, only where a person watches a terminal.

A bar with the current step and the estimated time left, counted down between steps; on a terminal
without control codes (`TERM=dumb`) a line now and then. Nothing in a pipe.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from corepath.plain_text import safe

__all__ = ["Clock", "Progress", "showing"]

Progress = Callable[[str, float], None]

_EARLY = 0.1  # of the whole: before that an estimate divides by too small a share
_APART = 1.0  # seconds between two lines on a plain terminal


def _silent(message: str, share: float) -> None:
    """Show nothing."""


class Clock:
    """Estimates the time left at each step and counts it down from there, to a second at least.

    `now` is a clock in seconds.
    """

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self.now = now
        self.begun = now()
        self.end: float | None = None

    def at(self, share: float) -> None:
        """Note that a step begins, with this share of the work (0 to 1) done."""
        now = self.now()
        self.end = now + (now - self.begun) * (1.0 - share) / share if share >= _EARLY else None

    def left(self) -> str:
        """Return the time left in words; empty before it can be estimated."""
        if self.end is None:
            return ""
        left = max(self.end - self.now(), 1.0)
        return f"about {left:.0f} s left" if left < 90.0 else f"about {left / 60.0:.0f} min left"


@contextmanager
def showing(quiet: bool) -> Iterator[Progress]:
    """Yield a function to call with the current step and the share done, 0 to 1."""
    if quiet or not sys.stderr.isatty():
        yield _silent
    elif os.environ.get("TERM") == "dumb":
        with _lines() as show:
            yield show
    else:
        with _bar() as show:
            yield show


@contextmanager
def _lines() -> Iterator[Progress]:
    """Print a line each second, if the step has changed since the last one."""
    clock, done = Clock(), threading.Event()
    doing = told = ""

    def show(message: str, share: float) -> None:
        nonlocal doing
        clock.at(share)
        doing = safe(message)

    def tell() -> None:
        nonlocal told
        while not done.wait(_APART):
            if doing != told:
                told = doing
                print(
                    ", ".join(part for part in (doing, clock.left()) if part),
                    file=sys.stderr,
                    flush=True,
                )

    thread = threading.Thread(target=tell, daemon=True)
    thread.start()
    try:
        yield show
    finally:
        done.set()
        thread.join()


@contextmanager
def _bar() -> Iterator[Progress]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, ProgressColumn, Task, TextColumn
    from rich.text import Text

    clock = Clock()

    class TimeLeft(ProgressColumn):
        """Drawn with each refresh of the bar, so that it counts down during a long step."""

        def render(self, task: Task) -> Text:
            return Text(clock.left())

    columns = (TextColumn("{task.description}", markup=False), BarColumn(bar_width=24), TimeLeft())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading the job", total=1.0)

        def show(message: str, share: float) -> None:
            clock.at(share)
            bar.update(task, description=safe(message), completed=share)

        yield show
