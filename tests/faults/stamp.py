"""What a file does to a blank, by the plainest means: a cutter stamped on a lattice, point after
point.

Shares no code with the package: its own few lines of reader for what corepath writes, and loops.
Bed frame, mm.
"""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass, field

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["CELL", "Cutter", "Ran", "run"]

CELL = 0.25
STEP = 0.2
SOLID = 0.2
_WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")

Map = NDArray[np.float64]


@dataclass(frozen=True)
class Cutter:
    """`land` is the flat part's radius, mm; `plunges`: it cuts to its centre; `ramp` is its
    steepest way, mm a mm."""

    diameter: float
    corner: float
    plunges: bool = True
    ramp: float = math.inf

    @property
    def land(self) -> float:
        return self.diameter / 2.0 - self.corner


@dataclass
class Ran:
    """What came of a file: heights left, those at each stop, and what a machinist would not have
    let happen."""

    heights: Map
    rapid_cut: float = 0.0
    idle_cut: float = 0.0
    fastest: float = 0.0
    fastest_down: float = 0.0
    slowest: float = math.inf
    plunged: float = 0.0
    steepest: float = 0.0
    speeds: set[float] = field(default_factory=set)
    tools: set[int] = field(default_factory=set)
    lowest: float = math.inf
    stops: int = 0
    at_stops: list[Map] = field(default_factory=list)
    ended: bool = False
    stated: set[str] = field(default_factory=set)
    backwards: bool = False
    dwelt: bool = True
    least_clear: float = math.inf
    first_at_feed: bool = True


@njit(cache=True)
def _stamp(
    top: Map,
    x0: float,
    y0: float,
    cell: float,
    a: Map,
    b: Map,
    step: float,
    land: float,
    corner: float,
) -> float:
    """Stamp from a to b; the deepest lowering of a column."""
    length = math.sqrt((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2 + (b[2] - a[2]) ** 2)
    count = max(math.ceil(length / step), 1)
    radius = land + corner
    most = 0.0
    for k in range(count + 1):
        t = k / count
        x, y, z = a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]), a[2] + t * (b[2] - a[2])
        i0 = max(math.ceil((x - radius - x0) / cell), 0)
        i1 = min(math.floor((x + radius - x0) / cell), top.shape[1] - 1)
        j0 = max(math.ceil((y - radius - y0) / cell), 0)
        j1 = min(math.floor((y + radius - y0) / cell), top.shape[0] - 1)
        for j in range(j0, j1 + 1):
            dy = y0 + j * cell - y
            for i in range(i0, i1 + 1):
                dx = x0 + i * cell - x
                away = dx * dx + dy * dy
                if away > radius * radius:
                    continue
                out = math.sqrt(away) - land
                height = z + (
                    corner - math.sqrt(max(corner * corner - out * out, 0.0)) if out > 0.0 else 0.0
                )
                if height < top[j, i]:
                    most = max(most, top[j, i] - height)
                    top[j, i] = height
    return most


def run(
    text: str,
    start: Map,
    size: tuple[float, float],
    zero: tuple[float, float, float],
    cutters: dict[int, Cutter],
) -> Ran:
    """Run a file on a blank of `size` with heights `start`. Raises ValueError for what it cannot
    read."""
    ran = Ran(start.copy())
    at = [math.nan] * 3
    g, absolute, scale = -1, True, 0.0
    feed, speed, on, waited, cutter = 0.0, 0.0, False, False, None
    for number, raw in enumerate(text.split("\n"), 1):
        if raw.count("(") != raw.count(")") or not raw.isascii():
            raise ValueError(f"line {number}: {raw!r}")
        line = re.sub(r"\(.*?\)", "", raw).strip()
        if not line:
            continue
        words = _WORD.findall(line)
        if "".join(a + b for a, b in words) != line.replace(" ", ""):
            raise ValueError(f"line {number}: {raw!r}")
        values = {letter: float(value) for letter, value in words if letter not in "GM"}
        if len([1 for letter, _ in words if letter not in "GM"]) != len(values):
            raise ValueError(f"line {number}: a word twice")
        codes = [float(value) for letter, value in words if letter == "G"]
        for code in codes:
            if code in (0, 1, 2, 3):
                g = int(code)
            elif code in (20, 21):
                scale = 25.4 if code == 20 else 1.0
                ran.stated.add("units")
            elif code in (90, 91):
                absolute = code == 90
                ran.stated.add("distance")
            elif code == 4:
                waited = True
            elif code not in (17, 40, 49, 54, 61, 64, 80, 94):
                raise ValueError(f"line {number}: G{code:g}")
            else:
                ran.stated.add(f"G{code:g}")
        feed = values.get("F", feed / scale if scale else feed) * (scale or 1.0)
        speed = values.get("S", speed)
        if "T" in values:
            ran.tools.add(int(values["T"]))
            cutter = cutters.get(int(values["T"]))
        for code in (float(value) for letter, value in words if letter == "M"):
            if code in (3, 4):
                on, waited = True, False
                ran.speeds.add(speed)
                ran.backwards |= code == 4
            elif code == 5:
                on = False
            elif code == 0:
                ran.stops += 1
                ran.at_stops.append(ran.heights.copy())
                ran.least_clear = min(ran.least_clear, -math.inf if on else at[2])
            elif code in (2, 30):
                ran.ended = True
                return ran
            else:
                raise ValueError(f"line {number}: M{code:g}")
        if not any(axis in values for axis in "XYZ"):
            if codes and g in codes:
                raise ValueError(f"line {number}: nowhere to go")
            continue
        if 4 in codes:
            raise ValueError(f"line {number}: a dwell that moves")
        if g < 0 or scale == 0.0 or cutter is None:
            raise ValueError(f"line {number}: moves before it is said how")
        old = at.copy()
        for k, axis in enumerate("XYZ"):
            if axis in values:
                at[k] = values[axis] * scale + (zero[k] if absolute else at[k])
        if any(math.isnan(value) for value in (*old, *at)):
            if g != 0 and on:
                raise ValueError(f"line {number}: from nowhere")
            if math.isnan(old[2]):
                ran.first_at_feed &= g == 1 and feed > 0.0
                continue
            old = [new if math.isnan(was) else was for was, new in zip(old, at, strict=True)]
        points = [np.array(old), np.array(at)]
        if g in (2, 3):
            points = _arc(old, at, values, scale, g == 2, number)
        most = 0.0
        x0, y0 = -size[0] / 2 + CELL / 2, -size[1] / 2 + CELL / 2
        under = _under(ran.heights, x0, y0, at)
        for a, b in itertools.pairwise(points):
            most = max(
                most, _stamp(ran.heights, x0, y0, CELL, a, b, STEP, cutter.land, cutter.corner)
            )
        ran.lowest = min(ran.lowest, at[2])
        if g == 0:
            ran.rapid_cut = max(ran.rapid_cut, most)
        else:
            if feed <= 0.0:
                raise ValueError(f"line {number}: no feed")
            if most > 0.01:
                ran.fastest = max(ran.fastest, feed)
            long = sum(math.dist(a[:2], b[:2]) for a, b in itertools.pairwise(points))
            if most > 0.05 and (long > 1.0 or long == 0.0):
                ran.slowest = min(ran.slowest, feed)
            if under > SOLID and old[2] > at[2]:
                _down(ran, cutter, long, old[2] - at[2], under, feed)
        if most > 0.01:
            if not on:
                ran.idle_cut = max(ran.idle_cut, most)
            ran.dwelt &= waited
    return ran


def _under(heights: Map, x0: float, y0: float, at: list[float]) -> float:
    """How much stands under the axis at a place; less than nothing where it is beside the blank."""
    if any(math.isnan(value) for value in at):
        return -1.0
    i, j = round((at[0] - x0) / CELL), round((at[1] - y0) / CELL)
    inside = 0 <= i < heights.shape[1] and 0 <= j < heights.shape[0]
    return float(heights[j, i]) - at[2] if inside else -1.0


def _down(ran: Ran, cutter: Cutter, long: float, fall: float, under: float, feed: float) -> None:
    """A way down into solid material."""
    if long == 0.0 and not cutter.plunges:
        ran.plunged = max(ran.plunged, under)
    if long > 0.0 and fall > cutter.ramp * long * 1.1:
        ran.steepest = max(ran.steepest, fall / long)
    if fall > 0.8 * cutter.ramp * long:
        ran.fastest_down = max(ran.fastest_down, feed)


def _arc(
    old: list[float],
    at: list[float],
    values: dict[str, float],
    scale: float,
    clockwise: bool,
    number: int,
) -> list[Map]:
    if "I" not in values and "J" not in values:
        raise ValueError(f"line {number}: an arc without a centre")
    cx, cy = old[0] + values.get("I", 0.0) * scale, old[1] + values.get("J", 0.0) * scale
    first, last = math.hypot(old[0] - cx, old[1] - cy), math.hypot(at[0] - cx, at[1] - cy)
    if abs(first - last) > 0.002 * scale or first == 0.0:
        raise ValueError(f"line {number}: radii {first} and {last}")
    begin, end = math.atan2(old[1] - cy, old[0] - cx), math.atan2(at[1] - cy, at[0] - cx)
    sweep = end - begin
    if clockwise and sweep >= -1e-12:
        sweep -= 2 * math.pi
    elif not clockwise and sweep <= 1e-12:
        sweep += 2 * math.pi
    count = max(int(abs(sweep) * first / STEP), 1)
    out = [
        np.array(
            [
                cx + first * math.cos(begin + sweep * k / count),
                cy + first * math.sin(begin + sweep * k / count),
                old[2] + (at[2] - old[2]) * k / count,
            ]
        )
        for k in range(count)
    ]
    return [*out, np.array(at)]
