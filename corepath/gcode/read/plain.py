"""Reads plain modal lines, many at a time: at most one of G0 to G3, then X Y Z I J F in this order.

One regular expression takes a whole block of lines apart, arrays do the rest; where a line is not
plain the block ends before it. The result is the same, to the last bit, as that of words and blocks
for the same lines. Lengths in mm after scaling, feeds in mm/min, unknown places NaN.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.words import LARGEST_DIGITS, LONGEST_LINE

__all__ = ["NUMBER", "PLAIN", "Plain", "State", "plain_block"]

# Possessive quantifiers (`?+`, `*+`) never give back what they matched, so a line takes time in
# proportion to its length whatever it holds. A number of more digits than `LARGEST_DIGITS` is not
# plain: the full reader reports it.
NUMBER = rf"([+-]?+(?:[0-9]{{1,{LARGEST_DIGITS}}}+(?![0-9])\.?+[0-9]*+|\.[0-9]++))"
_GAP = r"[ \t]*+"
_WORDS = rf"{_GAP}(?:G0?([0123]){_GAP}(?![0-9.]))?+" + "".join(
    rf"(?:{letter}{NUMBER}{_GAP})?+" for letter in "XYZIJF"
)
PLAIN = re.compile(_WORDS + r"\r?\Z")
# The second branch takes any other line whole, so that each line of a block gives one match.
_BLOCK = re.compile(rf"^{_WORDS}\r?$|^(.+)$", re.MULTILINE)
_CODES = {"": -1, "0": 0, "1": 1, "2": 2, "3": 3}

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


class State(NamedTuple):
    """The state that a plain line depends on: motion (0 to 3), place, feed; numbers of the text
    times `scale` are mm."""

    kind: int
    x: float
    y: float
    z: float
    feed: float
    scale: float


class Plain(NamedTuple):
    """Result of one block: how many lines were `taken`, the `motions` (n, 7: kind, x, y, z of the
    end, x, y of the centre, feed), the `line` of each (n,), counted from 0 in the block, and the
    `state` after them."""

    taken: int
    motions: Floats
    line: NDArray[np.int64]
    state: State


class _Words(NamedTuple):
    """A block taken apart: how many lines from its start match, the code of each (-1: no G word),
    and the numbers (6, n) of X Y Z I J F, NaN where a word is missing."""

    lines: int
    code: NDArray[np.int64]
    numbers: Floats


@dataclass(frozen=True, slots=True)
class _Column:
    """One letter over the block: its numbers, and which lines have it."""

    value: Floats
    there: Mask

    @staticmethod
    def of(value: Floats) -> _Column:
        return _Column(value, ~np.isnan(value))

    def held(self, before: float) -> Floats:
        """Return the number in force after each line; `before` is that before the block."""
        # Index of the last line so far that has the word; a running maximum, -1 before the first.
        at = np.maximum.accumulate(np.where(self.there, np.arange(len(self.value)), -1))
        return np.where(at >= 0, self.value[at], before)


def _matched(lines: Sequence[str]) -> _Words:
    """Take a block apart by the regular expression, which matches each line once."""
    found = _BLOCK.findall("\n".join(lines))
    codes, *columns, other = zip(*found, strict=True)
    count = next(place for place, text in enumerate(other) if text) if any(other) else len(lines)
    code = np.fromiter(map(_CODES.__getitem__, codes), dtype=np.int64, count=len(codes))
    numbers = np.full((6, len(lines)), math.nan)
    for place, texts in enumerate(columns):
        if all(texts):
            numbers[place] = np.fromiter(map(float, texts), dtype=np.float64, count=len(texts))
        elif any(texts):
            numbers[place] = [float(text) if text else math.nan for text in texts]
    if max(map(len, lines)) > LONGEST_LINE:
        count = min(
            count, next(place for place, line in enumerate(lines) if len(line) > LONGEST_LINE)
        )
    return _Words(count, code, numbers)


def plain_block(lines: Sequence[str], state: State) -> Plain:
    """Read plain lines from the start of a block, as many as there are, from the state before."""
    # All lines are worked out as if all were plain; the first that is not ends what is taken.
    words = _matched(lines)
    if not words.lines:
        return _none(state)
    code = words.code[: words.lines]
    x, y, z, i, j, f = (
        _Column.of(numbers[: words.lines] * state.scale) for numbers in words.numbers
    )
    kind = _Column(code.astype(np.float64), code >= 0).held(float(state.kind))
    level = x.there | y.there
    only_feed = ~level & ~z.there
    move_x, move_y = x.held(state.x), y.held(state.y)
    from_x, from_y = _before(move_x, state.x), _before(move_y, state.y)
    centre_x = np.where(i.there, from_x + i.value, from_x)
    centre_y = np.where(j.there, from_y + j.value, from_y)
    curved, offset = kind >= 2.0, i.there | j.there
    arc_wrong = (
        ~level | ~offset | np.isnan(from_x + from_y) | ((centre_x == from_x) & (centre_y == from_y))
    )
    # As in `motions._run_plain`, line by line there.
    not_plain = f.there & np.signbit(f.value)
    not_plain |= only_feed & ((code >= 0) | ~f.there | offset)
    not_plain |= ~only_feed & np.where(curved, arc_wrong, offset)
    taken = int(np.argmax(not_plain)) if not_plain.any() else words.lines
    if not taken:
        return _none(state)
    move_z, feed = z.held(state.z), f.held(state.feed)
    last = taken - 1
    rows = np.flatnonzero(~only_feed[:taken])
    table = np.column_stack((
        kind, move_x, move_y, move_z,
        np.where(curved, centre_x, math.nan), np.where(curved, centre_y, math.nan), feed,
    ))  # fmt: skip
    after = State(
        int(kind[last]),
        float(move_x[last]),
        float(move_y[last]),
        float(move_z[last]),
        float(feed[last]),
        state.scale,
    )
    return Plain(taken, table[rows], rows, after)


def _before(held: Floats, first: float) -> Floats:
    return np.concatenate(([first], held[:-1]))


def _none(state: State) -> Plain:
    return Plain(0, np.empty((0, 7)), np.empty(0, dtype=np.int64), state)
