"""The quickest of several calls: what else the machine does only ever adds."""

from __future__ import annotations

import time
from collections.abc import Callable

__all__ = ["cpu", "wall"]


def wall(call: Callable[[], object], times: int = 5) -> float:
    """Seconds by the clock."""
    return _quickest(call, times, time.perf_counter)


def cpu(call: Callable[[], object], times: int = 5) -> float:
    """Seconds of the processor in this process: others may share the machine."""
    return _quickest(call, times, time.process_time)


def _quickest(call: Callable[[], object], times: int, clock: Callable[[], float]) -> float:
    spent = []
    for _ in range(times):
        begin = clock()
        call()
        spent.append(clock() - begin)
    return min(spent)
