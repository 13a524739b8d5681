"""One sheet that shows how deep a blank is cut: shades of one hue seen from above, with the deepest
and the thinnest place.

Frame of the blank as it lies, deck or bottom up as in the file; X, Y from its middle, mm; depth
below its raw top.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from corepath.lengths import UNIT, Units, mm
from corepath.views.drawing_sheet import (
    MAIN,
    NORMAL,
    SIDE,
    SMALL,
    Labels,
    best_scale,
    dimension_across,
    dimension_along,
    new_sheet,
    scale_note,
    side_block,
)
from corepath.views.drawings.cuts import Bands
from corepath.views.drawings.legend import below_swatches, swatch
from corepath.views.drawings.marks import zero_mark
from corepath.views.drawings.plan_view import PlanView, draw_blank
from corepath.views.maps.contours import contour
from corepath.views.maps.field import bands_of
from corepath.views.style import stylesheet
from corepath.views.svg import Box, Document, polyline_path, shown, wrapped

__all__ = ["DepthSheet", "depth_sheet"]

_PLAN = Box(MAIN.x0 + 20, MAIN.y0 + 18, MAIN.x1 - 14, MAIN.y1 - 24)
_NODES = 1200
# mm; what is shallower is not drawn as cut.
_LEAST = 0.01
_PITCH = 4.4

Floats = NDArray[np.float64]
Found = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class DepthSheet:
    """The contents of a sheet: `depth` [iy, ix] below the raw top at `xs`, `ys`, and `gone` where
    nothing is left.

    `size` is length, width, thickness; `deepest` and `least` (wood left under a cut) are (value, x,
    y). `rows` are those of the title block, `notes` the findings, `units` those of the figures.
    """

    title: str
    xs: Floats
    ys: Floats
    depth: Floats
    gone: NDArray[np.bool_]
    size: tuple[float, float, float]
    zero: tuple[float, float, float]
    deepest: Found | None
    least: Found | None
    rows: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    units: Units


def depth_sheet(sheet: DepthSheet) -> str:
    """Return the sheet as SVG text."""
    length, width, _ = sheet.size
    bounds = (-length / 2, -width / 2, length / 2, width / 2)
    scale = best_scale(length, width, _PLAN)
    deepest = float(sheet.depth.max(initial=0.0))
    bands = bands_of(-deepest, -_LEAST) if deepest > _LEAST else None
    css = stylesheet({"plan": 1 / scale}, bands.count if bands else 2)
    title, says = f"{sheet.title}: depths", f"depth below the raw top that the file leaves; {UNIT}"
    described = "Depth below the raw top, by shade."
    svg = new_sheet(title, "AS THE FILE LIES", says, css=css, description=described)
    view = PlanView.fitted(svg, bounds, _PLAN, scale)
    _plan(view, sheet, bands)
    _labels(view, sheet)
    _side(svg, sheet, bands)
    return sheet.units.text(svg.render())


def _coarser(sheet: DepthSheet) -> tuple[Floats, Floats, Floats, Floats]:
    """Return x, y, depth and what is gone on at most `_NODES` nodes a side.

    Each node has the deepest value of its block, so that a narrow slot is not lost.
    """
    ny, nx = sheet.depth.shape
    step = max(1, math.ceil(max(nx, ny) / _NODES))
    pad = ((0, -ny % step), (0, -nx % step))
    shape = ((ny + pad[0][1]) // step, step, (nx + pad[1][1]) // step, step)
    depth = np.pad(sheet.depth, pad, mode="edge").reshape(shape).max(axis=(1, 3))
    gone = np.pad(sheet.gone, pad, mode="edge").reshape(shape).max(axis=(1, 3)).astype(np.float64)
    x = sheet.xs[0] + (np.arange(shape[2]) * step + (step - 1) / 2) * (
        sheet.xs[1] - sheet.xs[0] if nx > 1 else 1.0
    )
    y = sheet.ys[0] + (np.arange(shape[0]) * step + (step - 1) / 2) * (
        sheet.ys[1] - sheet.ys[0] if ny > 1 else 1.0
    )
    return x, y, depth, gone


def _plan(view: PlanView, sheet: DepthSheet, bands: Bands | None) -> None:
    svg = view.svg
    length, width, _ = sheet.size
    x, y, depth, gone = _coarser(sheet)
    with svg.group("plan", id="plan", transform=view.transform):
        draw_blank(svg, (-length / 2, -width / 2, length / 2, width / 2))
        if bands is not None:
            with svg.group("depths", id="depths"):
                for k in range(bands.count):
                    level = max(-bands.bounds[k], _LEAST)
                    svg.path(_edges(view, x, y, depth, level), f"f{k}", fill_rule="evenodd")
        svg.path(_edges(view, x, y, gone, 0.5), "void narrow", id="through")


def _edges(view: PlanView, x: Floats, y: Floats, grid: Floats, level: float) -> str:
    """Return path data around what is above `level`, closed along the rim of the blank."""
    if not (grid > level).any():
        return ""
    # 1e-6 mm: of a single column the rim lies apart from it all the same.
    xs = np.concatenate(
        ([2 * x[0] - x[min(1, len(x) - 1)] - 1e-6], x, [2 * x[-1] - x[max(len(x) - 2, 0)] + 1e-6])
    )
    ys = np.concatenate(
        ([2 * y[0] - y[min(1, len(y) - 1)] - 1e-6], y, [2 * y[-1] - y[max(len(y) - 2, 0)] + 1e-6])
    )
    # A rim of zeros one cell outside closes every line; contours of a positive level then lie
    # between it and the last columns, where the blank ends.
    walled = np.pad(grid.T, 1, constant_values=0.0)
    thin = 0.1 / view.scale
    lines = (
        np.asarray(LineString(line).simplify(thin).coords)
        for line in contour(xs, ys, walled, level)
    )
    return "".join(polyline_path(line, view.places, close=True) for line in lines)


def _labels(view: PlanView, sheet: DepthSheet) -> None:
    svg = view.svg
    length, width, _ = sheet.size
    labels = Labels(svg, Box(MAIN.x0 + 1, MAIN.y0 + 1, MAIN.x1 - 1, view.extent.y1 + 6))
    for found, word in ((sheet.deepest, "deep"), (sheet.least, "left")):
        if found is not None:
            sx, sy = view.sheet(found[1], found[2])
            svg.add("circle", class_="wide", cx=sx, cy=sy, r=1.6)
            labels.place(sx, sy, f"{mm(found[0]):.2f} {word}", 2.4, class_="label strong halo")
    sx, sy = view.sheet(sheet.zero[0], sheet.zero[1])
    if _PLAN.grown(10.0).holds(Box(sx, sy, sx, sy)):
        zero_mark(svg, labels, sx, sy)
    box = view.extent
    dimension_along(svg, box.x0, box.x1, box.y0, box.y0 - 8.0, shown(length))
    dimension_across(svg, box.y0, box.y1, box.x0, box.x0 - 8.0, shown(width))
    says = f"from the columns of the read-back; {UNIT}"
    scale_note(svg, MAIN.x0 + 20, box.y1 + 12, view.scale, says)


def _side(svg: Document, sheet: DepthSheet, bands: Bands | None) -> None:
    side_block(svg, sheet.rows)
    y = SIDE.y0 + 4
    with svg.group("legend", id="legend"):
        svg.text(SIDE.x0 + 2, y, f"Depth below the raw top, {UNIT}", "label strong", size=NORMAL)
        if bands is not None:
            y = below_swatches(svg, SIDE, y, bands, _LEAST)
        swatch(svg, SIDE, y + 2.0, "wood narrow", "not cut")
        y += 5.2
        if sheet.gone.any():
            swatch(svg, SIDE, y + 2.0, "void narrow", "cut right through")
            y += 5.2
        y += 10.0
        svg.text(
            SIDE.x0 + 2,
            y,
            "Findings" if sheet.notes else "No findings",
            "label strong",
            size=NORMAL,
        )
        for note in sheet.notes[:12]:
            for text in wrapped(note, SMALL, SIDE.width - 8):
                y += _PITCH
                svg.text(SIDE.x0 + 3, y, text, size=SMALL)
