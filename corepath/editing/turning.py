"""Where along the way of a handle the verdict on the job would turn, to within a step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from corepath.lengths import plain

__all__ = ["State", "turns"]

State = tuple[str, tuple[str, ...]]
"""An answer (`ready`, `with care`, …; `faults` where there is none) and the ids of what does not
hold."""

_FARTHEST = 7
"""How often the way that is looked along is doubled: 128 steps to either side."""


def turns(
    key: str, now: float, step: float, found: Callable[[str], State]
) -> Iterator[dict[str, Any]]:
    """Yield for either side of `now` the first value of `key` at which the answer is another.

    `found` tells the state of the job with a value, as typed. Between values that were tried the
    answer is taken to turn once.
    """
    start = found(plain(now, 5))
    for side in (1.0, -1.0):
        reach = _reach(now, side * step, start, found)
        if reach is None:
            continue
        steps, state = reach
        low, high = steps // 2, steps  # the answer turns between these
        while high - low > 1:
            middle = (low + high) // 2
            there = found(plain(now + side * step * middle, 5))
            if there[0] == start[0]:
                low = middle
            else:
                high, state = middle, there
        value = now + side * step * (low + high) / 2
        yield {"key": key, "value": value, "answer": state[0], "checks": _turned(start, state)}


def _reach(
    now: float, step: float, start: State, found: Callable[[str], State]
) -> tuple[int, State] | None:
    """Return the first number of steps, doubled each time, at which the answer is another."""
    for power in range(_FARTHEST + 1):
        state = found(plain(now + step * 2**power, 5))
        if state[0] != start[0]:
            return 2**power, state
    return None


def _turned(start: State, state: State) -> list[str]:
    """Return the ids that hold on one side alone: those that are lost, or else those won."""
    lost = [one for one in state[1] if one not in start[1]]
    return lost or [one for one in start[1] if one not in state[1]]
