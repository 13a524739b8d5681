"""A machine that runs the text of a file and takes its time, written apart from the project's
clock.

It reads plain RS-274 words itself, cuts arcs into chords of a tenth of a radian, and plans its
speed by one pass forwards and one backwards. `accel` (mm/s²) is that of its drives, `deviation`
(mm) how far it may leave a corner, `settle` (s) how long it stands at a corner of more than 30
degrees; with 0 it passes them. Times in minutes; stops of the program wait for nobody.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

_WORD = re.compile(r"([A-Z])(-?[0-9.]+)")


@dataclass(frozen=True, slots=True)
class SimulatedMachine:
    """What nobody has told the planner."""

    accel: float
    deviation: float
    settle: float
    rapid: float

    def minutes(self, text: str) -> float:
        """Return how long a file runs."""
        stretches, dwell = _read(text)
        return (dwell + sum(self._seconds(stretch) for stretch in stretches)) / 60.0

    def _seconds(self, moves: list[_Leg]) -> float:
        count, stands = len(moves), 0
        if not count:
            return 0.0
        tops = [self._top(move) for move in moves]
        squares = [0.0] * (count + 1)
        for k in range(1, count):
            before, after = moves[k - 1], moves[k]
            cosine = sum(a * b for a, b in zip(before.way, after.way, strict=True))
            slower = min(tops[k - 1], tops[k]) ** 2
            if before.block == after.block:
                squares[k] = slower
                continue
            if self.settle and cosine < math.cos(math.radians(30.0)):
                stands += 1
                continue
            half = math.sqrt(max(0.0, (1.0 + cosine) / 2.0))
            other = math.sqrt(max(1e-15, (1.0 - cosine) / 2.0))
            radius = self.deviation * half / max(1e-12, 1.0 - half)
            radius = min(radius, min(before.whole, after.whole) / 2.0 * half / other)
            squares[k] = min(self.accel * radius, slower)
        for k in range(count):
            squares[k + 1] = min(squares[k + 1], squares[k] + 2.0 * self.accel * moves[k].length)
        for k in reversed(range(count)):
            squares[k] = min(squares[k], squares[k + 1] + 2.0 * self.accel * moves[k].length)
        spent = 0.0
        for k, move in enumerate(moves):
            first, last = squares[k], squares[k + 1]
            peak = min(tops[k] ** 2, self.accel * move.length + (first + last) / 2.0)
            fast = math.sqrt(peak)
            spent += (2.0 * fast - math.sqrt(first) - math.sqrt(last)) / self.accel
            steady = move.length - (2.0 * peak - first - last) / (2.0 * self.accel)
            spent += max(0.0, steady) / fast
        return spent + self.settle * stands

    def _top(self, move: _Leg) -> float:
        feed = (self.rapid if move.feed is None else move.feed) / 60.0
        return feed if move.radius is None else min(feed, math.sqrt(self.accel * move.radius))


class _Leg(NamedTuple):
    """A straight piece of the way: `whole` is the length of the motion that it is part of, which
    is number `block`; `feed` None is a rapid, `radius` that of an arc in the plane."""

    length: float
    way: tuple[float, float, float]
    whole: float
    block: int
    feed: float | None
    radius: float | None


def _read(text: str) -> tuple[list[list[_Leg]], float]:
    """Return the legs between stops, and the seconds of all dwells."""
    stretches: list[list[_Leg]] = [[]]
    at: list[float | None] = [None, None, None]
    mode, feed, dwell = 0, 0.0, 0.0
    for block, line in enumerate(text.splitlines()):
        words = dict[str, float]()
        codes = []
        for letter, number in _WORD.findall(re.sub(r"\(.*?\)", "", line)):
            if letter in "GM":
                codes.append(f"{letter}{float(number):g}")
            else:
                words[letter] = float(number)
        feed = words.get("F", feed)
        if "G4" in codes:
            dwell += words["P"]
            stretches.append([])
            continue
        if "M0" in codes:
            stretches.append([])
        mode = next((int(code[1:]) for code in codes if code in ("G0", "G1", "G2", "G3")), mode)
        if not set(words) & set("XYZ"):
            continue
        goal = [words.get(axis, held) for axis, held in zip("XYZ", at, strict=True)]
        if None not in at and None not in goal:
            stretches[-1] += _legs(at, goal, (words.get("I", 0.0), words.get("J", 0.0)),
                                   (mode, feed, block))  # fmt: skip
        at = goal
    return stretches, dwell


def _legs(
    at: list[float | None], goal: list[float | None], centre: tuple[float, float],
    how: tuple[int, float, int],
) -> list[_Leg]:  # fmt: skip
    mode, feed, block = how
    (x0, y0, z0), (x1, y1, z1) = map(_known, (at, goal))
    points = [(x0, y0, z0), (x1, y1, z1)]
    radius = None
    if mode in (2, 3):
        cx, cy = x0 + centre[0], y0 + centre[1]
        radius = math.hypot(*centre)
        first, last = math.atan2(y0 - cy, x0 - cx), math.atan2(y1 - cy, x1 - cx)
        sweep = (last - first) % math.tau or math.tau
        sweep = sweep if mode == 3 else (sweep - math.tau or -math.tau)
        parts = max(4, int(abs(sweep) / 0.1))
        angles = [first + sweep * k / parts for k in range(1, parts)]
        inner = [
            (cx + radius * math.cos(a), cy + radius * math.sin(a), z0 + (z1 - z0) * k / parts)
            for k, a in enumerate(angles, start=1)
        ]
        points = [points[0], *inner, points[1]]
    pairs = [(a, b) for a, b in pairwise(points) if math.dist(a, b) > 1e-9]
    whole = sum(math.dist(a, b) for a, b in pairs)
    return [
        _Leg(
            math.dist(a, b),
            tuple((q - p) / math.dist(a, b) for p, q in zip(a, b, strict=True)),  # type: ignore[arg-type]
            whole, block, feed if mode else None, radius,
        )
        for a, b in pairs
    ]  # fmt: skip


def _known(place: list[float | None]) -> tuple[float, float, float]:
    x, y, z = place
    assert x is not None and y is not None and z is not None
    return x, y, z
