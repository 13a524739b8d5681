"""The loop that plans again, without planning: what starts it, what gives a plan up, what ends
it."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from corepath.watching import Changes, keep_making

LIMIT = 20.0


class Maker:
    """Notes what the job said each time; in the middle it may do something."""

    def __init__(self, job: Path) -> None:
        self.job = job
        self.made: queue.Queue[str] = queue.Queue()
        self.middle: Callable[[Callable[[str, float], None]], None] = lambda told: None

    def __call__(self, told: Callable[[str, float], None]) -> None:
        told("begun", 0.0)
        text = self.job.read_text()
        self.middle(told)
        self.made.put(text)


@contextmanager
def running(make: Maker, shown: list[str]) -> Iterator[None]:
    stop = threading.Event()
    changes = Changes(lambda: (make.job,))

    def loop() -> None:
        keep_making(
            make,
            changes,
            progress=lambda message, share: shown.append(message),
            stop=stop,
            poll=0.01,
        )

    thread = threading.Thread(target=loop, daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(LIMIT)
        assert not thread.is_alive()


@pytest.fixture
def make(tmp_path: Path) -> Maker:
    job = tmp_path / "core.toml"
    job.write_text("one")
    return Maker(job)


def test_it_plans_at_once_and_after_each_save(make: Maker) -> None:
    shown: list[str] = []
    with running(make, shown):
        # as it lay there: written now, it might be read half
        assert make.made.get(timeout=LIMIT) == "one"
        for text in ("two", "three"):
            make.job.write_text(text)
            assert make.made.get(timeout=LIMIT) == text
    assert make.made.empty() and shown[0] == "begun"


def test_a_save_in_the_middle_gives_the_plan_up(make: Maker) -> None:
    """Otherwise the old plan is written, and shown, half a minute after the job was changed."""
    began = threading.Event()

    def middle(told: Callable[[str, float], None]) -> None:
        if make.job.read_text() != "one":
            return
        began.set()
        while True:
            told("path of deck", 0.5)

    make.middle = middle
    with running(make, []):
        assert began.wait(LIMIT)
        make.job.write_text("two")
        assert make.made.get(timeout=LIMIT) == "two"
    assert make.made.empty()
