"""Where along the way of a handle the verdict on the job would turn, to within a step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from corepath.lengths import plain

__all__ = ["State", "turns"]

State = tuple[str, tuple[str, ...]]
"""An answer (`ready`, `with care`, …; `faults` where there is none) and the ids of what does not
hold."""

_TURNS = 2
"""Turns that are looked for to either side: `ready` to `with care` to `no`."""

_ENDS = ("no", "faults")

_FARTHEST = 7
"""How often the way that is looked along is doubled: 128 steps to either side."""


def turns(
    key: str, now: float, step: float, found: Callable[[str], State]
) -> Iterator[dict[str, Any]]:
    """Yield for either side of `now` the first value of `key` at which the answer is another, and
    the next one behind it, unless it is `no` by then.

    `found` tells the state of the job with a value, as typed. Between values that were tried the
    answer is taken to turn once.
    """

    def state_at(steps: int) -> State:
        return found(plain(now + step * steps, 5))

    here = state_at(0)
    for side in (1, -1):
        before, at = here, 0
        for _ in range(_TURNS):
            reach = _reach(at, side, before, state_at)
            if reach is None:
                break
            low, high, state = reach  # the answer turns between these numbers of steps
            while abs(high - low) > 1:
                middle = (low + high) // 2
                there = state_at(middle)
                if there[0] == before[0]:
                    low = middle
                else:
                    high, state = middle, there
            value = now + step * (low + high) / 2
            yield {
                "key": key, "now": now, "value": value, "answer": state[0],
                "checks": _turned(before, state),
            }  # fmt: skip
            if state[0] in _ENDS:
                break
            before, at = state, high


def _reach(
    at: int, side: int, before: State, state_at: Callable[[int], State]
) -> tuple[int, int, State] | None:
    """Return the number of steps, doubled each time from `at` on, at which the answer is another,
    with the one before it."""
    last = at
    for power in range(_FARTHEST + 1):
        steps = at + side * 2**power
        state = state_at(steps)
        if state[0] != before[0]:
            return last, steps, state
        last = steps
    return None


def _turned(start: State, state: State) -> list[str]:
    """Return the ids that hold on one side alone: those that are lost, or else those won."""
    lost = [one for one in state[1] if one not in start[1]]
    return lost or [one for one in start[1] if one not in state[1]] or list(state[1])
