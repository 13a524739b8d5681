"""Outlines: round boards, boards askew, straight-sided ones with a swallow tail, drawings in DXF.

A round board is a superellipse with exponents of its own at tail, nose and sides, so that it is
convex; `level` is 1 on its middle line and falls to 0 on the outline, the ground for decks from a
file. Board frame, mm.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field
from typing import Any

import ezdxf
import numpy as np
from shapely import Polygon

from tests.population.chance import Chance
from tests.population.toml_text import INCH, Mm

__all__ = ["Shape", "draw_shape"]

KINDS = (("stations", 0.5), ("askew", 0.25), ("dxf", 0.13), ("straight", 0.12))


@dataclass(frozen=True, slots=True)
class Shape:
    """An outline: its polygon (fine chords), the job's keys, the files they name; `half` is the
    half width."""

    kind: str
    polygon: Polygon
    keys: dict[str, Any]
    length: float
    half: float
    files: dict[str, bytes] = field(default_factory=dict)
    round: _Round | None = None


@dataclass(frozen=True, slots=True)
class _Round:
    """Half lengths towards tail and nose, half widths below and above, the exponents, and the
    middle's place."""

    tail: float
    nose: float
    low: float
    high: float
    power: tuple[float, float, float]
    middle: float

    def points(self, angles: np.ndarray) -> np.ndarray:
        """Places on the outline, counter-clockwise from the nose; (n, 2)."""
        cos, sin = np.cos(angles), np.sin(angles)
        tail, nose, side = self.power
        x = np.where(
            cos >= 0.0,
            self.nose * np.abs(cos) ** (2 / nose),
            -self.tail * np.abs(cos) ** (2 / tail),
        )
        y = np.where(sin >= 0.0, self.high, -self.low) * np.abs(sin) ** (2 / side)
        return np.column_stack([x + self.middle, y])

    def level(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """1 in the middle, 0 on the outline, below 0 outside."""
        x = x - self.middle
        tail, nose, side = self.power
        along = np.where(x >= 0.0, np.abs(x / self.nose) ** nose, np.abs(x / self.tail) ** tail)
        across = np.where(y >= 0.0, np.abs(y / self.high), np.abs(y / self.low)) ** side
        return np.asarray(1.0 - along - across)


def draw_shape(chance: Chance, length: float, inch: bool) -> Shape:
    """An outline of this length (mm); a board is 0.26 to 0.42 of its length wide."""
    kind = chance.weighed(KINDS)
    width = round(min(length * chance.even(0.26, 0.42, 0.001), 520.0), 0)
    if kind == "straight":
        return _straight(chance, length, width)
    share, middle = chance.even(0.44, 0.56, 0.01), chance.even(-4.0, 4.0, 1.0)
    power = chance.even(2.0, 3.0, 0.05), chance.even(2.0, 3.0, 0.05), chance.even(2.0, 2.6, 0.05)
    half = width / 2.0
    low, high = (half, half)
    if kind == "askew":
        low, high = half * chance.even(0.9, 0.98, 0.01), half
    long = length * (1.0 - share)
    shift = length / 2.0 - long + middle  # the ends lie about evenly beside the blank's middle
    found = _Round(length - long, long, low, high, power, round(shift, 1))
    fine = found.points(np.linspace(0.0, 2 * math.pi, 1441)[:-1])
    polygon = Polygon(fine)
    keys, files = _keys(chance, kind, found, inch)
    return Shape(kind, polygon, keys, length, half, files, found)


def _keys(
    chance: Chance, kind: str, found: _Round, inch: bool
) -> tuple[dict[str, Any], dict[str, bytes]]:
    if kind == "dxf":
        drawn_in = chance.one_of(("mm", "inch"))
        header = chance.yes(0.7)
        keys: dict[str, Any] = {"dxf": "outline.dxf", "layer": "BOARD"}
        if not header:
            keys["dxf_units"] = drawn_in
        ring = found.points(np.linspace(0.0, 2 * math.pi, 2 * chance.whole(60, 120) + 1)[:-1])
        return keys, {"outline.dxf": _dxf(ring, drawn_in, header)}
    if kind == "askew":
        ring = found.points(np.linspace(0.0, 2 * math.pi, 2 * chance.whole(9, 14) + 1)[:-1])
        return {"points": [[Mm(round(x, 1)), Mm(round(y, 1))] for x, y in ring], "smooth": True}, {}
    ring = found.points(np.linspace(math.pi, 0.0, chance.whole(11, 17)))
    rows = [[Mm(round(x, 1)), Mm(max(round(y, 1), 0.0))] for x, y in ring]
    rows[0][1] = rows[-1][1] = Mm(0.0)
    return {"stations": rows}, {}


def _dxf(ring: np.ndarray, unit: str, header: bool) -> bytes:
    """A drawing of a closed polyline of many short pieces, another layer beside it."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    document = ezdxf.new("R2000", setup=False)
    document.header["$INSUNITS"] = {"mm": 4, "inch": 1}[unit] if header else 0
    document.layers.add("BOARD")
    document.layers.add("NOTES")
    scale = INCH if unit == "inch" else 1.0
    space = document.modelspace()
    space.add_lwpolyline([(float(x) / scale, float(y) / scale) for x, y in ring], close=True,
                         dxfattribs={"layer": "BOARD"})  # fmt: skip
    space.add_line((-10.0, 0.0), (10.0, 0.0), {"layer": "NOTES"})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode("ascii")


def _straight(chance: Chance, length: float, width: float) -> Shape:
    """Straight lines between corners: a blunt nose, straight sides, a tail that is square or a
    swallow's."""
    half, end = width / 2.0, length / 2.0
    nose, tail = chance.even(0.35, 0.6, 0.01) * half, chance.even(0.55, 0.8, 0.01) * half
    shoulder, hip = chance.even(0.45, 0.7, 0.01) * end, -chance.even(0.45, 0.7, 0.01) * end
    upper = [(end, nose), (shoulder, half), (hip, half), (-end, tail)]
    notch = [(-end + chance.even(0.03, 0.07, 0.005) * length, 0.0)] if chance.yes() else []
    ring = [*upper, *notch, *((x, -y) for x, y in reversed(upper))]
    ring = [(round(x, 1), round(y, 1)) for x, y in reversed(ring)]
    keys = {"points": [[Mm(x), Mm(y)] for x, y in ring]}
    return Shape("swallow" if notch else "straight", Polygon(ring), keys, length, half)
