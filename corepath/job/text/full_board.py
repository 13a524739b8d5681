"""The text of a job for a whole board, from its five sizes: outline and deck in proportion, plugs
and a stance where the length allows them. Lengths in mm but for those that are written.

Shares and distances below are common practice, no source.
"""

from __future__ import annotations

import itertools
import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import resources

from corepath.errors import Fault
from corepath.geometry.step_counts import fewest_steps
from corepath.lengths import Units, plain

__all__ = ["BoardSizes", "board_text"]

_TOKEN = re.compile(r"@([a-z_]+|[0-9.]+)@( *)")

_OUTLINE = (
    (1.0, 0.0),
    (0.9875, 0.295),
    (0.9375, 0.56),
    (0.8125, 0.78),
    (0.5625, 0.94),
    (0.25, 0.995),
)
"""x and half width from one end to the middle, as shares of half the length and half the width."""

_DECK = ((1.0, 0.56), (0.74, 0.74), (0.37, 1.0))
"""x as a share of half the length, and how far the deck has risen there from edge to core."""

_ENDS, _SIDES = 60.0, 30.0  # blank beyond the outline
_DOWELS = (42.0, 24.0)  # beyond the ends, at the left and at the right
_PLUG_X, _PLUG_INSIDE = 0.8, 45.0  # share of half the length; from the outline
_STANCE, _COLUMN, _ROW = 0.19, 40.0, 124.0  # share of the length; pitches
_SEAT_ROOM = 14.0  # from the middle of a seat to that of the board, or half of what two seats need
_LONGEST, _SHORTEST = 8.0, 4.0  # inserts
_UNDER_DECK = 1.8  # what the deck over an insert is thicker than that is long
_NARROW = 250.0
"""A board narrower than this has a narrower groove and no second row of inserts."""

LARGEST = 3000.0


@dataclass(frozen=True, slots=True)
class BoardSizes:
    """Length and width of the board, thickness of the blank, of the core at its thickest and of its
    edge, mm."""

    length: float
    width: float
    blank: float
    core: float
    edge: float

    def faults(self, units: Units) -> list[Fault]:
        """Returns what cannot be, in the job's units."""
        return [Fault(*one) for one in self._wrong(units)]

    def _wrong(self, units: Units) -> Iterator[tuple[str, str, str, str]]:
        def said(value: float) -> str:
            return f"{plain(units.scaled(value), 4)} {units.short}"

        named = (("--length", self.length), ("--width", self.width), ("--blank", self.blank))
        for name, value in (*named, ("--core", self.core), ("--edge", self.edge)):
            if not 0.0 < value <= LARGEST:
                yield name, "is no size of a board", said(value), f"up to {said(LARGEST)}"
        if self.width > self.length > 0.0:
            yield (
                "--width",
                "is more than the length",
                said(self.width),
                f"up to {said(self.length)}",
            )
        if self.edge > self.core > 0.0:
            says = "is thicker than the core"
            yield "--edge", says, said(self.edge), f"up to {said(self.core)}"


def board_text(title: str, sizes: BoardSizes, units: Units, command: str) -> str:
    """Returns the text of the job; `command` is what was typed, for its head."""
    draft = resources.files("corepath.job").joinpath("data", "board.toml")
    words = {
        "title": title,
        "quoted": json.dumps(title, ensure_ascii=False),
        "command": command,
        "unit": units.words,
        "units": units.name,
        **_figures(sizes, units),
    }
    return _filled(draft.read_text(encoding="utf-8"), words, units)


def _filled(text: str, words: Mapping[str, str], units: Units) -> str:
    """Returns the text with words and lengths in place of their names and figures; comments behind
    them stay in their column."""

    def put(found: re.Match[str]) -> str:
        name, gap = found[1], found[2]
        word = words[name] if name in words else _length(float(name), units)
        fits = len(found[0]) - len(word)
        return word + (" " * max(fits, 1) if len(gap) > 1 else gap)

    return _TOKEN.sub(put, text)


def _length(value: float, units: Units) -> str:
    """Returns a length as it is typed: in inches to a ten-thousandth, below 1 mm to a hundredth of
    that."""
    places = 2 if units.scale == 1.0 else 4 if abs(value) >= 1.0 else 5
    return plain(units.scaled(value), places)


def _figures(sizes: BoardSizes, units: Units) -> dict[str, str]:
    half = sizes.length / 2.0
    reach = max(22.0, math.ceil(sizes.blank + 9.0))
    blank_length = _up(sizes.length + 2.0 * _ENDS, 10.0)
    blank_width = _up(sizes.width + 2.0 * _SIDES, 10.0)
    lengths = {
        "band": _band(sizes),
        "blend": _blend(sizes),
        "inside": _inside(sizes),
        "blank_length": blank_length,
        "blank_width": blank_width,
        "dowel_left": -half - _DOWELS[0],
        "dowel_right": half + _DOWELS[1],
        "travel_x": _up(blank_length + 100.0, 50.0),
        "travel_y": _up(blank_width + 140.0, 10.0),
        "reach": reach,
        "stick_out": reach + 10.0,
    }
    given = {"blank": sizes.blank, "core": sizes.core, "edge": sizes.edge}
    return {
        **{name: _length(_round(value, units), units) for name, value in lengths.items()},
        **{name: plain(units.scaled(value), 5) for name, value in given.items()},
        "outline": _stations(sizes, units),
        "deck": _deck(sizes, units),
        "plugs": _plugs(sizes, units),
        "inserts": _inserts(sizes, units),
    }


def _band(sizes: BoardSizes) -> float:
    return _inside(sizes) + (6.0 if sizes.width >= _NARROW else 2.0)


def _blend(sizes: BoardSizes) -> float:
    return min(110.0, 0.26 * sizes.width)


def _inside(sizes: BoardSizes) -> float:
    return 8.0 if sizes.width >= _NARROW else 6.0


def _up(value: float, step: float) -> float:
    return fewest_steps(value, step) * step


def _round(value: float, units: Units) -> float:
    """Returns a length of our own choice as a person would type it: to 0.5 mm or 0.02 in."""
    step = 0.02 * units.scale if units.inch else 0.5
    return round(value / step) * step


def _pair(x: float, y: float, units: Units) -> str:
    return f"[{plain(units.scaled(x), 5)}, {plain(units.scaled(y), 5)}]"


def _stations(sizes: BoardSizes, units: Units) -> str:
    half, wide = sizes.length / 2.0, sizes.width / 2.0
    one = [
        (-half if along == 1.0 else _round(-along * half, units), _round(across * wide, units))
        for along, across in _OUTLINE
    ]
    ends = [*one, (0.0, wide), *((-x, y) for x, y in reversed(one))]
    rows = [ends[: len(one)], ends[len(one) :]]
    return "\n".join(f"    {', '.join(_pair(*place, units) for place in row)}," for row in rows)


def _deck(sizes: BoardSizes, units: Units) -> str:
    half, rise = sizes.length / 2.0, sizes.core - sizes.edge
    one = []
    for along, share in _DECK:
        x = -half if along == 1.0 else _round(-along * half, units)
        thick = sizes.core if share == 1.0 else sizes.edge + _round(share * rise, units)
        one.append((x, thick))
    both = [*one, *((-x, thick) for x, thick in reversed(one))]
    return ", ".join(_pair(*place, units) for place in both)


def _half_width(share: float) -> float:
    """Returns the half width at a share of half the length, as a share of its largest."""
    return _between((*_OUTLINE, (0.0, 1.0)), share)


def _between(stations: Sequence[tuple[float, float]], share: float) -> float:
    """Returns the value at a share of half the length, straight from station to station."""
    for (x1, y1), (x0, y0) in itertools.pairwise(stations):
        if x0 <= share <= x1:
            return y0 + (y1 - y0) * (share - x0) / (x1 - x0)
    return stations[-1][1]


def _deck_at(sizes: BoardSizes, x: float, y: float) -> float:
    """Returns about how thick the core is at a place: the deck rises from its edge band."""
    share = 2.0 * x / sizes.length
    inside = _half_width(min(share, 1.0)) * sizes.width / 2.0 - y - _SEAT_ROOM / 2.0
    u = min(max((inside - _band(sizes)) / _blend(sizes), 0.0), 1.0)
    rise = u**4 * (35.0 - 84.0 * u + 70.0 * u**2 - 20.0 * u**3)
    return sizes.edge + (sizes.core - sizes.edge) * rise * _between((*_DECK, (0.0, 1.0)), share)


def _plugs(sizes: BoardSizes, units: Units) -> str:
    """Returns the table of four plugs, two at either end; of two on the middle line of a narrow
    board."""
    x = _round(_PLUG_X * sizes.length / 2.0, units)
    y = _half_width(_PLUG_X) * sizes.width / 2.0 - _PLUG_INSIDE
    y, mirror = (_round(y, units), "both") if y >= _SEAT_ROOM else (0.0, "ends")
    return f"""
# Cast plugs: a bolt passes through each after lay-up. mirror adds those at the other end and side.
[[plug]]
name = "P1"
at = [{_pair(x, y, units)}]
mirror = "{mirror}"
diameter = {_length(18.0, units)}
bolt_hole = {_length(6.6, units)}
"""


def _inserts(sizes: BoardSizes, units: Units) -> str:
    """Returns the table of twelve inserts, or of as many as the length and width take; nothing
    where the core is too thin for any."""
    x = _round(_STANCE * sizes.length, units)
    columns = next((n for n in (3, 2, 1) if x - (n - 1) * _COLUMN / 2.0 >= _SEAT_ROOM), 0)
    rows = 2 if sizes.width >= _NARROW else 1
    least = _deck_at(sizes, x + (columns - 1) * _COLUMN / 2.0, _ROW / 2.0 if rows > 1 else 0.0)
    long = min(_LONGEST, math.floor(2.0 * (least - _UNDER_DECK)) / 2.0)
    if not columns or long < _SHORTEST:
        return ""
    pitch = _pair(_round(_COLUMN, units), _round(_ROW, units) if rows > 1 else 0.0, units)
    return f"""
# Inserts sit in seats bored from below. Measure yours: makers differ. The stance: rows and columns
# about at, pitch apart along X and along Y, and the same at the other end.
[[insert]]
name = "I1"
pattern = {{at = {_pair(x, 0.0, units)}, rows = {rows}, columns = {columns}, pitch = {pitch}}}
mirror = "ends"
barrel = {_length(7.6, units)}
flange = {_length(19.0, units)}
flange_thickness = {_length(1.4, units)}
length = {_length(long, units)}
recess = {_length(0.3, units)}
clearance = {_length(0.2, units)}
through = false
"""
