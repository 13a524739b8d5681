"""Plain modal lines, many at a time: at most one of G0 to G3, then X Y Z I J F in this order.

One regular expression takes a whole block of lines apart, arrays do the rest; where a line is not
plain the block ends before it. What comes out is what words and blocks make of the same lines, to
the last bit. Lengths in mm after scaling, feeds in mm/min, unknown places NaN.
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

NUMBER = rf"([+-]?+(?:[0-9]{{1,{LARGEST_DIGITS}}}+(?![0-9])\.?+[0-9]*+|\.[0-9]++))"
_GAP = r"[ \t]*+"
_WORDS = rf"{_GAP}(?:G0?([0123]){_GAP}(?![0-9.]))?+" + "".join(
    rf"(?:{letter}{NUMBER}{_GAP})?+" for letter in "XYZIJF"
)
PLAIN = re.compile(_WORDS + r"\r?\Z")
_BLOCK = re.compile(rf"^{_WORDS}\r?$|^(.+)$", re.MULTILINE)
_CODES = {"": -1, "0": 0, "1": 1, "2": 2, "3": 3}

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


class State(NamedTuple):
    """What a plain line hangs on: motion (0 to 3), place, feed; numbers of the text times `scale`
    are mm."""

    kind: int
    x: float
    y: float
    z: float
    feed: float
    scale: float


class Plain(NamedTuple):
    """How many lines were taken, the motions (n, 7: kind, x, y, z, centre x, y, feed), their lines,
    the state after.

    Lines count from 0 in the block.
    """

    taken: int
    motions: Floats
    line: NDArray[np.int64]
    state: State


class _Words(NamedTuple):
    """A block taken apart: lines that may be plain, code of each (-1 where none), numbers of X Y Z
    I J F, else NaN."""

    lines: int
    code: NDArray[np.int64]
    numbers: Floats


@dataclass(frozen=True, slots=True)
class _Column:
    """One letter over the block: numbers, and where they stand."""

    value: Floats
    there: Mask

    @staticmethod
    def of(value: Floats) -> _Column:
        return _Column(value, ~np.isnan(value))

    def held(self, before: float) -> Floats:
        """The number in force after each line."""
        at = np.maximum.accumulate(np.where(self.there, np.arange(len(self.value)), -1))
        return np.where(at >= 0, self.value[at], before)


def _matched(lines: Sequence[str]) -> _Words:
    """A block by the regular expression, which matches each line once."""
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
    """Take plain lines from the start of a block, as many as there are."""
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
