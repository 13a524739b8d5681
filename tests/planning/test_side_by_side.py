"""Tasks shared out among processes: the same results, the same faults, and nothing left running."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from corepath.errors import CorepathError
from corepath.planning import side_by_side as module
from corepath.planning.side_by_side import beside, usable_cores

forks = pytest.mark.skipif(sys.platform != "linux", reason="processes are copied on Linux alone")
HERE = os.getpid()


def children() -> set[str]:
    """Numbers of the processes that this one has started, also of a browser for other tests."""
    lists = Path("/proc/self/task").glob("*/children")
    return {number for one in lists for number in one.read_text().split()}


@pytest.fixture(autouse=True)
def _others() -> None:
    OTHERS.clear()
    OTHERS.update(children() if sys.platform == "linux" else ())


OTHERS: set[str] = set()
"""The processes that ran before a test."""


def nobody_left() -> bool:
    """Whether a test has left no process of its own, running or waiting to be fetched."""
    return sys.platform != "linux" or children() <= OTHERS


@pytest.mark.parametrize("cores", [1, 2, 3, 9])
def test_results_depend_on_the_number_of_cores(cores: int) -> None:
    tasks = [lambda k=k: k * 1.5 for k in range(5)]
    with beside(tasks, cores) as results:
        found = [result() for result in results]
        # asked in any order, and again
        assert results[4]() == 6.0 and results[0]() == 0.0
    assert found == [0.0, 1.5, 3.0, 4.5, 6.0] and nobody_left()


@forks
def test_no_other_process_works() -> None:
    with beside([os.getpid] * 3, 3) as results:
        first, second, third = (result() for result in results)
    assert len({first, second, HERE}) == 3 and third == first
    with beside([os.getpid] * 2, 1) as results:
        assert [result() for result in results] == [HERE, HERE]
    assert 1 <= usable_cores() <= (os.cpu_count() or 1)


def test_a_fault_reads_otherwise_from_another_process() -> None:
    def fail() -> None:
        raise CorepathError("03-A-groove: no path")

    with (
        pytest.raises(CorepathError, match=r"^03-A-groove: no path$"),
        beside([fail, os.getpid], 2) as results,
    ):
        results[0]()
    assert nobody_left()


@forks
@pytest.mark.parametrize("how", ["killed", "ended", "lambda", "memory"])
def test_a_process_that_fails_takes_its_results_with_it(how: str) -> None:
    """Killed for want of memory, or its result cannot be handed over: the task is done here."""

    def task() -> object:
        if os.getpid() != HERE:
            if how == "killed":
                os.kill(os.getpid(), signal.SIGKILL)
            if how == "ended":
                os._exit(0)
            if how == "memory":
                raise MemoryError
        return (lambda: 7) if how == "lambda" else 7

    with beside([task, lambda: "other"], 2) as results:
        found = results[0]()
        assert (found() if callable(found) else found) == 7 and results[1]() == "other"
    assert nobody_left()


def test_a_system_without_fork_plans_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused() -> int:
        raise BlockingIOError("no process left")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fork", refused)
        with beside([lambda: 1, lambda: 2], 4) as results:
            assert [result() for result in results] == [1, 2]
    monkeypatch.setattr(module, "_FORKS", False)
    with beside([os.getpid], 4) as results:
        assert results[0]() == HERE


def test_a_process_is_copied_from_a_second_thread() -> None:
    """What the other threads hold at that moment stays locked in the copy."""
    found = []

    def work() -> None:
        with beside([os.getpid], 2) as results:
            found.append(results[0]())

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert found == [HERE]


@forks
def test_a_large_result_stops_both_processes() -> None:
    """A pipe holds 64 kB; the other process waits until somebody reads."""
    with beside([lambda: b"x" * 20_000_000], 2) as results:
        time.sleep(0.2)
        assert len(results[0]()) == 20_000_000


def forever(started: Path) -> Callable[[], None]:
    def task() -> None:
        started.write_text(str(os.getpid()))
        time.sleep(600.0)

    return task


def pid_of(started: Path) -> int:
    """The process that has written its number, once it has."""
    end = time.monotonic() + 60.0
    while not (started.exists() and started.read_text()):
        assert time.monotonic() < end
        time.sleep(0.01)
    return int(started.read_text())


def gone(pid: int) -> bool:
    """Whether a process ends within a minute."""
    end = time.monotonic() + 60.0
    while Path(f"/proc/{pid}").exists():
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


@forks
def test_a_process_goes_on_after_a_fault(tmp_path: Path) -> None:
    started = tmp_path / "started"
    with pytest.raises(KeyboardInterrupt), beside([forever(started)], 2):
        pid_of(started)
        raise KeyboardInterrupt
    assert nobody_left() and gone(int(started.read_text()))


CODE = """
import signal, sys
# A job in the background is born deaf to it.
signal.signal(signal.SIGINT, signal.default_int_handler)
sys.path.insert(0, {root!r})
from pathlib import Path
from tests.planning.test_side_by_side import forever
from corepath.planning.side_by_side import beside
with beside([forever(Path({started!r}))], 2) as results:
    results[0]()
"""


@forks
def test_ctrl_c_leaves_a_process_behind(tmp_path: Path) -> None:
    """It reaches all processes from a terminal, and one of them alone from `kill -INT`."""
    root, started = Path(__file__).parents[2], tmp_path / "started"
    code = CODE.format(root=str(root), started=str(started))
    with subprocess.Popen(
        [sys.executable, "-c", code], stderr=subprocess.PIPE, start_new_session=True
    ) as run:
        try:
            other = pid_of(started)
            run.send_signal(signal.SIGINT)
            assert b"KeyboardInterrupt" in run.communicate(timeout=60)[1]
        finally:
            run.kill()  # or leaving the block would wait for a process that never ends
    assert gone(other)


EARLY = """
import os, signal, sys
sys.path.insert(0, {root!r})
from pathlib import Path
from tests.planning.test_side_by_side import forever
from corepath.planning import side_by_side

def forked():
    number = os.fork()
    if number:  # Ctrl-C comes before anybody knows the number
        Path({started!r}).write_text(str(number))
        os.kill(os.getpid(), signal.SIGINT)
    return number

signal.signal(signal.SIGINT, signal.default_int_handler)
side_by_side._fork = forked
with side_by_side.beside([forever(Path({other!r}))], 2) as results:
    results[0]()
"""


@forks
def test_ctrl_c_at_the_moment_of_the_copy_leaves_a_process_behind(tmp_path: Path) -> None:
    """The copy then held the terminal for ever."""
    root, started = Path(__file__).parents[2], tmp_path / "started"
    code = EARLY.format(root=str(root), started=str(started), other=str(tmp_path / "other"))
    with subprocess.Popen(
        [sys.executable, "-c", code], stderr=subprocess.PIPE, start_new_session=True
    ) as run:
        try:
            assert b"KeyboardInterrupt" in run.communicate(timeout=60)[1]
        finally:
            run.kill()
    assert gone(int(started.read_text()))
