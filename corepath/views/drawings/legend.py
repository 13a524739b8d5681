"""The column at the right: depth by shade with figures, and the kinds of line with their
meanings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from corepath.lengths import UNIT, mm
from corepath.views.drawing_sheet import NORMAL, SMALL
from corepath.views.drawings.cuts import Bands
from corepath.views.svg import Box, Document, number, wrapped

__all__ = [
    "DepthDatum",
    "below_swatches",
    "bullets",
    "depth_legend",
    "kinds_legend",
    "line_kinds",
    "sample",
    "swatch",
]

_PITCH = 5.2
_FIRST, _SECOND = 17.5, 48.0  # columns of figures: room for inches with four places in a wide face


@dataclass(frozen=True, slots=True)
class DepthDatum:
    """What depths and heights count from: depths from the `face` at height `top`, mm, heights
    `over` the bed or another datum, in words."""

    face: str
    top: float
    over: str = "above the bed"


def depth_legend(
    svg: Document, box: Box, y: float, bands: Bands, datum: DepthDatum, pale: bool = False
) -> float:
    """Draw swatches from shallow to deep with their heights and depths, mm; return the next y.

    `pale` swatches are for areas with lines over them.
    """
    top = datum.top
    with svg.group("legend depth", id="legend-depth"):
        svg.text(
            box.x0 + 2, y + 4, f"Depth of the cutter's tip, {UNIT}", "label strong", size=NORMAL
        )
        svg.text(box.x0 + _FIRST, y + 9.2, datum.over, "label quiet", size=SMALL)
        below = f"below {datum.face}"
        svg.text(box.x1 - 1.5, y + 9.2, below, "label quiet", size=SMALL, anchor="end")
        y += 11.0
        for k in range(bands.count):
            high, low = bands.bounds[k], bands.bounds[k + 1]
            svg.add(
                "rect",
                class_=f"swatch {'t' if pale else 'f'}{k}",
                x=box.x0 + 3,
                y=y,
                width=13,
                height=_PITCH - 0.8,
            )
            if pale:
                svg.line(box.x0 + 3, y + 2.2, box.x0 + 16, y + 2.2, f"cut z{k}")
            svg.text(
                box.x0 + _FIRST, y + 3.4, f"{mm(high):.2f} to {mm(low):.2f}", "figure", size=SMALL
            )
            svg.text(
                box.x0 + _SECOND,
                y + 3.4,
                f"{mm(top - high):.2f} to {mm(top - low):.2f}",
                "figure",
                size=SMALL,
            )
            y += _PITCH
    return y + 2.0


def below_swatches(svg: Document, box: Box, y: float, bands: Bands, least: float) -> float:
    """Draw swatches of depths below a face, from `least` on, mm; return the next y.

    The bands are of heights, negative below the face.
    """
    for k in range(bands.count):
        high, low = max(-bands.bounds[k], least), -bands.bounds[k + 1]
        swatch(svg, box, y + 2.0, f"f{k}", f"{mm(high):.2f} to {mm(low):.2f}", "figure")
        y += _PITCH
    return y


def swatch(svg: Document, box: Box, y: float, kind: str, words: str, class_: str = "label") -> None:
    """Draw a swatch of a `kind` of area (`style.py`), its upper edge at `y`, and `words` beside
    it, in the column `box`."""
    svg.add("rect", class_=f"swatch {kind}", x=box.x0 + 3, y=y, width=13, height=4.4)
    svg.text(box.x0 + 19, y + 3.4, words, class_, size=SMALL)


def line_kinds(svg: Document, box: Box, y: float, kinds: Sequence[tuple[str, str]]) -> float:
    """Draw samples of lines: pairs (kind, words), below `y`; return the last one's y."""
    for kind, words in kinds:
        y += _PITCH
        svg.line(box.x0 + 3, y - 1.1, box.x0 + 16, y - 1.1, kind)
        svg.text(box.x0 + 19, y, words, size=SMALL)
    return y


def bullets(svg: Document, box: Box, y: float, lines: Sequence[str], pitch: float) -> float:
    """Write `lines` below `y`, each after a dash, wrapped, `pitch` mm apart; return the last
    line's y."""
    for line in lines:
        for k, text in enumerate(wrapped(line, SMALL, box.width - 8)):
            y += pitch
            svg.text(box.x0 + 3, y, ("– " if k == 0 else "  ") + text, size=SMALL)
    return y


def kinds_legend(svg: Document, box: Box, y: float, kinds: list[tuple[str, str]]) -> float:
    """Draw samples of lines and marks: pairs (kind, words); return the next y."""
    with svg.group("legend kinds", id="legend-kinds"):
        svg.text(box.x0 + 2, y + 4, "Lines and marks", "label strong", size=NORMAL)
        y += 6.4
        for kind, words in kinds:
            sample(svg, kind, box.x0 + 3, y + 2.2)
            svg.text(box.x0 + 20, y + 3.4, words, "label", size=SMALL)
            y += _PITCH
    return y


def sample(svg: Document, kind: str, x: float, y: float) -> None:
    """Draw a line or mark as in the drawings, 13 mm long from `x`, its middle at `y`."""
    draw = _MARKS.get(kind)
    if draw is not None:
        draw(svg, x, y)
    elif kind in ("resin", "obstacle", "tint", "wood"):
        svg.add("rect", class_=f"{kind} narrow", x=x, y=y - 2, width=13, height=4)
    else:
        svg.line(x, y, x + 13, y, kind)


def _entry(svg: Document, x: float, y: float) -> None:
    svg.path(f"M{number(x + 7.45)} {number(y)}l-.95 .95l-.95 -.95l.95 -.95z", "entry")


def _arrow(svg: Document, x: float, y: float) -> None:
    svg.path(f"M{number(x + 7.8)} {number(y)}l-2.5 .8v-1.6z", "arrow")


def _zero(svg: Document, x: float, y: float) -> None:
    svg.add("rect", class_="mark narrow", x=x + 5.1, y=y - 1.4, width=2.8, height=2.8)
    svg.add("circle", class_="solid", cx=x + 6.5, cy=y, r=0.5)


def _cutter(svg: Document, x: float, y: float) -> None:
    svg.add("circle", class_="cutter", cx=x + 6.5, cy=y, r=2)


def _touch(svg: Document, x: float, y: float) -> None:
    svg.path(f"M{number(x + 6.5)} {number(y + 1.4)}l-1.5 -2.8h3z", "mark narrow")


def _corner(svg: Document, x: float, y: float) -> None:
    svg.add("circle", class_="corner", cx=x + 6.5, cy=y, r=1.5)
    svg.path(f"M{number(x + 5.45)} {number(y - 1.05)}l2.1 2.1m0 -2.1l-2.1 2.1", "corner")


_MARKS: dict[str, Callable[[Document, float, float], None]] = {
    "entry": _entry,
    "arrow": _arrow,
    "zero": _zero,
    "cutter": _cutter,
    "touch": _touch,
    "corner": _corner,
}
