"""Draw a template as SVG at full size, whole or in pages to be joined. Sheet mm, x right, y down,
see `views.svg`.

A *page* shows a window of the template; neighbours overlap by `OVERLAP`. In the middle of the
overlap are crosses that both pages print: pages are joined by laying them over each other so that
the crosses meet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from corepath.layup.template_lines import (
    BAR_TOLERANCE,
    Curve,
    Shape,
    TemplateCircle,
    TemplateLines,
    bar,
)
from corepath.lengths import mm
from corepath.views.style import GREY, INK, PAPER
from corepath.views.svg import Box, Document, polyline_path, text_width

__all__ = ["OVERLAP", "PAPERS", "Paper", "pages", "svg_text"]

Paper = Literal["a4", "letter"]

PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height, mm (ISO 216; ANSI/ASME Y14.1 A size: from memory)."""

OVERLAP = 10.0
_MARGIN = 10.0  # mm that a printer may leave blank
_EDGE = 5.0  # mm around the whole template
_FOOT = 8.0  # mm below the window for the check bar and the page's name

_CSS = f"""text{{font-family:"Liberation Sans",Arial,Helvetica,sans-serif;fill:{INK}}}
path,line,circle,rect{{fill:none;stroke:{INK};stroke-width:0.25}}
.paper{{fill:{PAPER};stroke:none}}
.centre-lines,.blank-edge{{stroke:{GREY};stroke-dasharray:6 1.5 0.5 1.5}}
.outline,.rib{{stroke-width:0.4}}
.window{{stroke:{GREY};stroke-width:0.18}}
"""


@dataclass(frozen=True, slots=True)
class _View:
    """The mapping of the template's (x, y) to the sheet: y turned, origin at (ox, oy)."""

    svg: Document
    ox: float
    oy: float

    def draw(self, shape: Shape) -> None:
        name = shape.layer.replace(" ", "-")
        if isinstance(shape, Curve):
            points = np.column_stack([self.ox + shape.points[:, 0], self.oy - shape.points[:, 1]])
            self.svg.path(polyline_path(points, 3, close=shape.closed), name)
        elif isinstance(shape, TemplateCircle):
            self.svg.add(
                "circle", class_=name, cx=self.ox + shape.x, cy=self.oy - shape.y, r=shape.radius
            )
        else:
            self.svg.text(self.ox + shape.x, self.oy - shape.y, shape.text, name, size=shape.size)

    def layers(
        self, template: TemplateLines, window: tuple[float, float, float, float] | None = None
    ) -> None:
        for layer in template.layers:
            shapes = [
                s
                for s in template.shapes
                if s.layer == layer and (window is None or _meets(s, window))
            ]
            if shapes:
                with self.svg.group("layer", id=layer.replace(" ", "-")):
                    for shape in shapes:
                        self.draw(shape)


def _reach(shape: Shape) -> tuple[float, float, float, float]:
    if isinstance(shape, Curve):
        return (*shape.points.min(axis=0).tolist(), *shape.points.max(axis=0).tolist())
    if isinstance(shape, TemplateCircle):
        return (
            shape.x - shape.radius,
            shape.y - shape.radius,
            shape.x + shape.radius,
            shape.y + shape.radius,
        )
    return (
        shape.x,
        shape.y - shape.size,
        shape.x + text_width(shape.text, shape.size),
        shape.y + shape.size,
    )


def _meets(shape: Shape, window: tuple[float, float, float, float]) -> bool:
    x0, y0, x1, y1 = _reach(shape)
    return x0 <= window[2] and x1 >= window[0] and y0 <= window[3] and y1 >= window[1]


def _all(template: TemplateLines) -> tuple[float, float, float, float]:
    boxes = np.array([_reach(shape) for shape in template.shapes])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def svg_text(template: TemplateLines) -> str:
    """Return the whole template on one sheet: `width` and `height` in mm, one unit of `viewBox` is
    a mm."""
    x0, y0, x1, y1 = _all(template)
    width, height = math.ceil(x1 - x0 + 2 * _EDGE), math.ceil(y1 - y0 + 2 * _EDGE)
    svg = Document(
        float(width),
        float(height),
        template.title,
        _CSS,
        "Full size: print at 100 %.",
        fitted=False,
    )
    _View(svg, _EDGE - x0, _EDGE + y1).layers(template)
    return template.units.text(svg.render())


def pages(template: TemplateLines, paper: Paper) -> tuple[str, ...]:
    """Return the template in pages, row by row from the top left, each with crosses to join it by
    and a check bar in both directions."""
    bounds = _all(template)
    # Portrait or landscape, whichever needs fewer sheets.
    width, height = min(
        (PAPERS[paper], PAPERS[paper][::-1]),
        key=lambda size: (math.prod(_count(bounds, size)), size[0]),
    )
    columns, rows = _count(bounds, (width, height))
    return tuple(
        _page(template, bounds, (width, height), (row, column), (rows, columns))
        for row in range(rows)
        for column in range(columns)
    )


def _step(size: tuple[float, float]) -> tuple[float, float]:
    return size[0] - 2 * _MARGIN - OVERLAP, size[1] - 2 * _MARGIN - _FOOT - OVERLAP


def _count(bounds: tuple[float, float, float, float], size: tuple[float, float]) -> tuple[int, int]:
    """Return the numbers of columns and rows of pages."""
    # n pages cover n steps and one overlap.
    along, across = _step(size)
    x0, y0, x1, y1 = bounds
    return max(1, math.ceil((x1 - x0 - OVERLAP) / along)), max(
        1, math.ceil((y1 - y0 - OVERLAP) / across)
    )


def _page(
    template: TemplateLines, bounds: tuple[float, float, float, float], size: tuple[float, float],
    place: tuple[int, int], of: tuple[int, int],
) -> str:  # fmt: skip
    along, across = _step(size)
    row, column = place
    left, top = bounds[0] + column * along, bounds[3] - row * across
    right, bottom = left + along + OVERLAP, top - across - OVERLAP
    name = f"row {row + 1} of {of[0]}, column {column + 1} of {of[1]}"
    svg = Document(
        size[0],
        size[1],
        f"{template.title}, {name}",
        _CSS,
        "Full size: print at 100 %.",
        fitted=False,
    )
    window = Box(_MARGIN, _MARGIN, _MARGIN + along + OVERLAP, _MARGIN + across + OVERLAP)
    with svg.defs():
        svg.clip("window", window)
    with svg.group("clipped", clip_path="url(#window)"):
        _View(svg, _MARGIN - left, _MARGIN + top).layers(template, (left, bottom, right, top))
    svg.add(
        "rect", class_="window", x=window.x0, y=window.y0, width=window.width, height=window.height
    )
    for x in (window.x0 + OVERLAP / 2, window.x1 - OVERLAP / 2):
        for y in (window.y0 + OVERLAP / 2, window.y1 - OVERLAP / 2):
            svg.line(x - 3, y, x + 3, y, "join")
            svg.line(x, y - 3, x, y + 3, "join")
    base, long = window.y1 + 5.0, bar(template.units)
    svg.line(window.x0, base, window.x0 + long, base, "check-bar")
    for x in (window.x0, window.x0 + long):
        svg.line(x, base - 1.5, x, base + 1.5, "check-bar")
    svg.line(window.x0 - 3.0, window.y0, window.x0 - 3.0, window.y0 + long, "check-bar")
    for y in (window.y0, window.y0 + long):
        svg.line(window.x0 - 4.5, y, window.x0 - 1.5, y, "check-bar")
    words = f"{mm(long):g~} +/- {mm(BAR_TOLERANCE):.1f}  {name}"
    svg.text(window.x0 + long + 3, base + 1.0, words, size=3.0)
    return template.units.text(svg.render())
