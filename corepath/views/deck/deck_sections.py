"""Sections of the deck along X and across, each true to scale and again at ten times the height.

Board frame, mm; heights above the finished bottom. A section shows the core as designed: its bottom
is level, its top is h.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from corepath.board.features import Board
from corepath.lengths import mm
from corepath.views.drawing_sheet import SCALES, SMALL
from corepath.views.drawings.cuts import nice_step
from corepath.views.svg import WIDER, Box, Document, polyline_path, shown, text_width

__all__ = ["SectionLine", "below_peak", "draw_sections", "section_lines"]

Floats = NDArray[np.float64]

_TALLER = 10.0
_LEFT = 12.0
_CAPTION = 6.0
_BETWEEN = 5.0


@dataclass(frozen=True, slots=True)
class SectionLine:
    """A section line with its name: along "x" at y = `at`, or along "y" at x = `at`."""

    name: str
    along: Literal["x", "y"]
    at: float

    @property
    def words(self) -> str:
        """The line in words: `S1: along X at Y0`."""
        return f"{self.name}: along X at Y{shown(self.at)}" if self.along == "x" else (
            f"{self.name}: across at X{shown(self.at)}"
        )  # fmt: skip

    def ends(self, bounds: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
        """Return x0, y0, x1, y1 of the line over the blank, whose `bounds` are given likewise."""
        x0, y0, x1, y1 = bounds
        return (x0, self.at, x1, self.at) if self.along == "x" else (self.at, y0, self.at, y1)


def section_lines(board: Board) -> tuple[SectionLine, ...]:
    """Return the sections drawn: along the middle and halfway to the board's side; across at the
    middle and at six tenths of the way to either end."""
    x0, _, x1, y1 = board.outline.bounds
    middle = (x0 + x1) / 2.0
    places = (middle - 0.3 * (x1 - x0), middle, middle + 0.3 * (x1 - x0))
    lines = [SectionLine("S1", "x", 0.0), SectionLine("S2", "x", float(round(y1 / 2.0)))]
    lines += [SectionLine(f"S{k}", "y", float(round(x))) for k, x in enumerate(places, start=3)]
    return tuple(lines)


def draw_sections(svg: Document, board: Board, lines: tuple[SectionLine, ...], room: Box) -> float:
    """Draw all sections in `room`, those along X below one another, those across side by side;
    return the scale."""
    _, y0, _, y1 = board.blank.bounds
    along, across = [s for s in lines if s.along == "x"], [s for s in lines if s.along == "y"]
    scale = next((s for s in SCALES if _fits(s, room, board, len(along), len(across))), SCALES[-1])
    tall = _height(board, scale)
    y = room.y0
    for line in along:
        _pair(svg, board, line, room.x0 + _LEFT, y, scale)
        y += tall
    x = room.x0 + _LEFT
    for line in across:
        _pair(svg, board, line, x, y, scale)
        x += (y1 - y0) * scale + _LEFT
    return scale


def _height(board: Board, scale: float) -> float:
    """Return the height of one section on the sheet with its caption, mm."""
    return (1.0 + _TALLER) * board.deck.highest * scale + _CAPTION + 2.0 * _BETWEEN


def _fits(scale: float, room: Box, board: Board, along: int, across: int) -> bool:
    x0, y0, x1, y1 = board.blank.bounds
    return (
        (x1 - x0) * scale + 2 * _LEFT <= room.width
        and ((y1 - y0) * scale + _LEFT) * across <= room.width
        and _height(board, scale) * (along + 1) <= room.height
    )


def _pair(svg: Document, board: Board, line: SectionLine, x: float, y: float, scale: float) -> None:
    """Draw one section with its upper left corner at (x, y) on the sheet."""
    at, heights = _profile(board, line)
    top = board.deck.highest
    with svg.group("section", id=f"section-{line.name}"):
        svg.text(x, y + 3.4, line.words, "label strong", size=SMALL)
        base = y + _CAPTION + top * scale
        _closed(svg, x + (at - at[0]) * scale, base - heights * scale, base)
        base += _BETWEEN + _TALLER * top * scale
        _scale_lines(svg, x, x + float(at[-1] - at[0]) * scale, base, top, scale * _TALLER)
        _closed(svg, x + (at - at[0]) * scale, base - heights * scale * _TALLER, base, "none")
        _figures(svg, at, heights, x, base, scale)


def _profile(board: Board, line: SectionLine) -> tuple[Floats, Floats]:
    x0, y0, x1, y1 = board.blank.bounds
    low, high = (x0, x1) if line.along == "x" else (y0, y1)
    at = np.linspace(low, high, max(int(high - low), 2) + 1)
    same = np.full_like(at, line.at)
    heights = board.deck.height(at, same) if line.along == "x" else board.deck.height(same, at)
    return at, np.asarray(heights, dtype=np.float64)


def _closed(svg: Document, xs: Floats, ys: Floats, base: float, fill: str = "wood") -> None:
    # 0.02 mm on paper: nobody sees less.
    curve = np.asarray(LineString(np.column_stack((xs, ys))).simplify(0.02).coords)
    ring = np.vstack((curve, [[xs[-1], base], [xs[0], base]]))
    svg.path(polyline_path(ring, 2, close=True), f"{fill} narrow" if fill == "wood" else "narrow")


def _scale_lines(
    svg: Document, x0: float, x1: float, base: float, top: float, scale: float
) -> None:
    step = nice_step(top / 6.0)
    # A scale that ends on a whole step has its last tick, whatever the division's rounding.
    for k in range(int(top / step + 1e-6) + 1):
        y = base - k * step * scale
        svg.line(x0, y, x1, y, "faint")
        svg.text(x0 - 1.2, y + 1.1, shown(k * step), "figure quiet", size=SMALL, anchor="end")


def below_peak(heights: Floats, peak: int, wide: float) -> float:
    """Return how far below its peak (index `peak`) a curve (n,) is `wide` nodes across, in its own
    unit: a figure that wide fits inside the curve from there down."""
    low = int(np.ceil(wide / 2.0))
    reach = [heights[max(peak - low, 0)], heights[min(peak + low, len(heights) - 1)]]
    return max(float(heights[peak] - min(reach)), 0.0)


def _figures(
    svg: Document, at: Floats, heights: Floats, x: float, base: float, scale: float
) -> None:
    """Set the heights of the highest place and of both ends beside them.

    The highest is set inside the curve, as far below the peak as it takes not to cross it.
    """
    highest = int(np.argmax(np.round(heights, 4)))
    wide = WIDER * text_width(f"{mm(heights[highest]):.2f}", SMALL) + 2.0
    under = below_peak(heights * scale * _TALLER, highest, wide / scale / float(at[1] - at[0]))
    for k, anchor in ((highest, "middle"), (0, "start"), (len(at) - 1, "end")):
        sx, sy = x + float(at[k] - at[0]) * scale, base - float(heights[k]) * scale * _TALLER
        svg.text(
            sx,
            sy - 1.2 if k != highest else sy + under + 4.6,
            f"{mm(heights[k]):.2f}",
            "figure halo",
            size=SMALL,
            anchor=anchor,
        )
