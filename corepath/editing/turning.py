"""Where along the ways of a handle the verdict on the job would turn, to within a step."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

from corepath.lengths import plain

__all__ = ["State", "TurnWay", "turns"]

State = tuple[str, tuple[str, ...]]
"""An answer (`ready`, `with care`, …; `faults` where there is none) and the ids of what does not
hold."""

_REACHES = (1, 4, 16, 64, 128)
"""Steps to either side that are tried for another answer."""

_TURNS = 2
"""Turns that are looked for to either side: `ready` to `with care` to `no`."""

_ENDS = ("no", "faults")

Turn = dict[str, Any]


class TurnWay(NamedTuple):
    """The number of `key`, `now`, and the `step` by which it moves."""

    key: str
    now: float
    step: float


def turns(ways: Sequence[TurnWay], found: Callable[[str, str], State]) -> Iterator[Turn]:
    """Yield for either side of each way the first value at which the answer is another, and the
    next one behind it, unless it is `no` by then. All sides are looked along in turns, so that what
    is near comes first.

    `found` tells the state of the job with a value of a key, as typed. Between values that were
    tried the answer is taken to turn once.
    """
    if not ways:
        return
    here = found(ways[0].key, plain(ways[0].now, 5))
    sides = [_side(way, side, here, found) for way in ways for side in (1, -1)]
    while sides:
        for side in tuple(sides):
            tried = next(side, _OVER)
            if tried is _OVER:
                sides.remove(side)
            elif tried is not None:
                yield tried


_OVER: Turn = {}


def _side(
    way: TurnWay, side: int, here: State, found: Callable[[str, str], State]
) -> Iterator[Turn | None]:
    """Yield the turns on one side of a way; None after each value that was tried for one."""
    before, start = here, 0
    for _ in range(_TURNS):
        low, high, state = start, start, before
        for reach in _REACHES:
            low, high = high, start + side * reach
            state = found(way.key, plain(way.now + way.step * high, 5))
            yield None
            if state[0] != before[0]:
                break
        else:
            return
        while abs(high - low) > 1:  # the answer turns between these numbers of steps
            middle = (low + high) // 2
            there = found(way.key, plain(way.now + way.step * middle, 5))
            if there[0] == before[0]:
                low = middle
            else:
                high, state = middle, there
        yield {
            "key": way.key, "now": way.now, "value": way.now + way.step * (low + high) / 2,
            "answer": state[0], "checks": _turned(before, state),
        }  # fmt: skip
        if state[0] in _ENDS:
            return
        before, start = state, high


def _turned(start: State, state: State) -> list[str]:
    """Return the ids that hold on one side alone: those that are lost, or else those won."""
    lost = [one for one in state[1] if one not in start[1]]
    return lost or [one for one in start[1] if one not in state[1]] or list(state[1])
