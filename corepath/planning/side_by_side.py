"""Tasks worked on by other processes meanwhile, where the machine has cores for them.

The processes are copies of this one (`fork`), so that a task needs no arguments and sees all that
was worked out before. Threads would not do: numba compiles behind one lock. A task must return what
can be pickled and change nothing; then it makes no difference who does it. Where a process fails,
for whatever reason, its tasks are done here, and raise here what they raise. So a fault is told as
with one core, and a process that ran out of memory costs time only.
"""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

__all__ = ["beside", "usable_cores"]

Task = Callable[[], Any]

# Only there are the libraries that numpy calls known to survive a fork.
_FORKS = sys.platform == "linux"


def usable_cores() -> int:
    """Return the number of cores that this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def beside(tasks: Sequence[Task], cores: int) -> Iterator[tuple[Task, ...]]:
    """Yield for each of the tasks a function that returns its result.

    They are shared out among as many processes as there are `cores` besides the one that this
    process goes on with; the first tasks first. Without another core, and outside Linux, each is
    done when its result is asked for. At the end of the block all processes have ended.
    """
    count = min(cores - 1, len(tasks)) if _FORKS and _main_thread() else 0
    workers: list[_Worker] = []
    try:
        for k in range(count):
            # Known before it is started: it must be ended even if Ctrl-C comes at that moment.
            workers.append(_Worker())
            workers[k].start(tasks[k::count])
        yield tuple(
            _result_of(task, workers[k % count], k // count) if count else task
            for k, task in enumerate(tasks)
        )
    finally:
        for worker in workers:
            worker.end()


def _main_thread() -> bool:
    """Whether this is the main thread. A process copied from another one might inherit a lock that
    is never given back."""
    return threading.current_thread() is threading.main_thread()


def _result_of(task: Task, worker: _Worker, number: int) -> Task:
    def result() -> Any:
        found = worker.results()
        return task() if found is None else found[number]

    return result


class _Worker:
    """Another process that works on tasks, one after the other."""

    def __init__(self) -> None:
        self._results: list[Any] | None = None
        self._reading = self._number = -1

    def start(self, tasks: Sequence[Task]) -> None:
        """Copy this process; the copy works on the tasks."""
        self._reading, writing = os.pipe()
        # Garbage collection writes into every object: without it the copy shares this one's memory.
        gc.freeze()
        # Ctrl-C waits until the number of the copy is known, or nobody would end it.
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            self._number = _fork()
            if self._number == 0:
                _work(tasks, writing, mask)
        except OSError:  # no memory or no process left: nothing comes through the pipe then
            self._number = -1
        finally:
            gc.unfreeze()
            os.close(writing)
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)

    def results(self) -> list[Any] | None:
        """Wait for the results; None where the process failed."""
        if self._reading >= 0:
            with os.fdopen(self._reading, "rb") as pipe:
                self._reading = -1
                content = pipe.read()
            if self._ended_well():
                with suppress(EOFError, pickle.UnpicklingError):  # it ended before it told all
                    self._results = pickle.loads(content)
        return self._results

    def end(self) -> None:
        """Stop the process, if it still works."""
        if self._reading >= 0:
            os.close(self._reading)
            self._reading = -1
        if self._number > 0:
            with suppress(ProcessLookupError):
                os.kill(self._number, signal.SIGKILL)
            self._ended_well()

    def _ended_well(self) -> bool:
        if self._number <= 0:
            return False
        number, self._number = self._number, -1
        _, status = os.waitpid(number, 0)
        return status == 0


def _fork() -> int:
    with warnings.catch_warnings():
        # Python 3.12 warns where other threads run. Ours draw a bar or wait for a browser; the copy
        # neither draws nor prints.
        warnings.simplefilter("ignore", DeprecationWarning)
        return os.fork()


def _work(tasks: Sequence[Task], writing: int, mask: set[Any]) -> None:
    """Work on the tasks in the copied process, hand over the results, and end it; `mask` are the
    signals that it is not to hear."""
    status = 1
    try:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        results = pickle.dumps([task() for task in tasks], pickle.HIGHEST_PROTOCOL)
        with os.fdopen(writing, "wb") as pipe:
            pipe.write(results)
        status = 0
    finally:
        # Nothing of this process may run on: not the caller, no handler, no buffer to be printed.
        os._exit(status)
