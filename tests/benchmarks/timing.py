"""The stop-watch: a call or a whole process timed several times.

What counts is the quickest: what else the machine does only ever adds. How far the slowest lies
above it tells how much the machine did beside.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

__all__ = [
    "IDLE",
    "ONE_THREAD",
    "ROOT",
    "SAMPLE",
    "Ran",
    "Timed",
    "cpu",
    "cpu_on",
    "peak_memory",
    "run_python",
    "wall",
]

T = TypeVar("T")

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "samples" / "board-1280.toml"

IDLE = {"libraries": 0.24, "transform": 0.023, "sort": 0.8}
"""Seconds of the processor that three baselines take on an idle machine of the kind for which goals
were set in seconds: a goal over these is the limit of a ratio, which holds on any machine. `python
-m tests.benchmarks --only verdict engine plans` prints them, as the best of what stands behind
*against*."""

ONE_THREAD = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)
"""Set to 1 before numpy is loaded, so that seconds of the processor mean the same on both sides."""

_PEAK = """
import resource, sys
from pathlib import Path
try:
    {code}
finally:
    status = Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else []
    found = [line for line in lines if line.startswith("VmHWM")]
    unit = 2**20 if sys.platform == "darwin" else 2**10
    largest = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peak = float(found[0].split()[1]) / 2**10 if found else largest / unit
    print(peak, file=sys.stderr)
"""


@dataclass(frozen=True, slots=True)
class Timed:
    """Seconds of each of several runs of the same call."""

    runs: tuple[float, ...]

    @property
    def best(self) -> float:
        """Seconds of the quickest."""
        return min(self.runs)

    @property
    def spread(self) -> float:
        """Slowest over quickest: 1 where all runs took as long, or there was but one."""
        return max(self.runs) / min(self.runs)

    def times(self, factor: float) -> Timed:
        """All runs scaled: for a share of the whole, or for one of many."""
        return Timed(tuple(spent * factor for spent in self.runs))


@dataclass(frozen=True, slots=True)
class Ran:
    """A process of its own: seconds by the clock, seconds of the processor, peak memory in MiB,
    exit code."""

    seconds: float
    cpu: float
    peak: float
    code: int


def wall(call: Callable[[], object], times: int = 5) -> Timed:
    """Seconds by the clock."""
    return _timed(call, times, time.perf_counter)


def cpu(call: Callable[[], object], times: int = 5) -> Timed:
    """Seconds of the processor in this process: others may share the machine."""
    return _timed(call, times, time.process_time)


def cpu_on(make: Callable[[], T], call: Callable[[T], object], times: int = 5) -> Timed:
    """The same for a call that uses up what it is given: each run gets one made anew, which is not
    timed."""
    runs = []
    for _ in range(times):
        given = make()
        runs.append(cpu(partial(call, given), 1).best)
    return Timed(tuple(runs))


def peak_memory(call: Callable[[], object]) -> int:
    """Most bytes that a call held at once, as Python and numpy tell them."""
    tracemalloc.start()
    try:
        call()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def _timed(call: Callable[[], object], times: int, clock: Callable[[], float]) -> Timed:
    spent = []
    for _ in range(times):
        begin = clock()
        call()
        spent.append(clock() - begin)
    return Timed(tuple(spent))


def run_python(
    code: str,
    arguments: Sequence[str] = (),
    environment: Mapping[str, str] | None = None,
    allowed: Sequence[int] = (0,),
) -> Ran:
    """Run one line of Python as a process of its own in the project's folder, with as many threads
    as it likes.

    `arguments` are its `sys.argv[1:]`. The peak is what the process itself says, since what the
    system tells of a child counts its parent's memory too. Raises RuntimeError with what it wrote
    where it ends with a code that is not `allowed`.
    """
    call = [sys.executable, "-c", _PEAK.format(code=code), *arguments]
    given = {
        name: value for name, value in (environment or os.environ).items() if name not in ONE_THREAD
    }
    before, begin = os.times(), time.perf_counter()
    done = subprocess.run(call, cwd=ROOT, env=given, capture_output=True, text=True, check=False)
    spent, after = time.perf_counter() - begin, os.times()
    if done.returncode not in allowed:
        raise RuntimeError(done.stderr)
    used = (
        after.children_user + after.children_system - before.children_user - before.children_system
    )
    return Ran(spent, used, float(done.stderr.split()[-1]), done.returncode)
