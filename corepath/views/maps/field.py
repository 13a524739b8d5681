"""A height field over the blank prepared for drawing: on a grid, in bands of one hue, with contour
lines. mm.

`Field.grid[ix, iy]` is the value at `xs`, `ys`, in the frame of the set-up that is drawn. Bands run
from the highest value down.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from corepath.lengths import mm
from corepath.views.drawings.cuts import Bands, nice_step
from corepath.views.drawings.plan_view import PlanView
from corepath.views.maps.contours import contour, inner_levels
from corepath.views.svg import number, polyline_path

__all__ = ["Field", "bands_of", "draw_bands", "draw_lines", "laid_over"]

Floats = NDArray[np.float64]

_NODES = 260
_LEAST_RANGE = 0.05
"""mm: a flatter map is drawn with bands over this range, so that noise makes no pattern"""


@dataclass(frozen=True, slots=True)
class Field:
    xs: Floats
    ys: Floats
    grid: Floats


def laid_over(length: float, width: float, over: Callable[[Floats, Floats], Floats]) -> Field:
    """Return the field `over(x, y)` on a grid over a blank of this size (mm), about 260 nodes along
    its longer side."""
    step = max(length, width) / _NODES
    xs, ys = (
        np.linspace(-size / 2, size / 2, max(3, math.ceil(size / step) + 1))
        for size in (length, width)
    )
    gx, gy = np.meshgrid(xs, ys, indexing="ij")
    return Field(xs, ys, over(gx.ravel(), gy.ravel()).reshape(gx.shape))


def bands_of(low: float, high: float) -> Bands:
    """Return bands of a round size from `high` down to `low`, over at least `_LEAST_RANGE`."""
    if high - low < _LEAST_RANGE:
        middle = round((low + high) / 2, 2)
        low, high = min(low, middle - _LEAST_RANGE / 2), max(high, middle + _LEAST_RANGE / 2)
    return Bands.between(high, low)


def draw_bands(view: PlanView, field: Field, bands: Bands, rising: bool, shades: str = "f") -> None:
    """Draw the areas between the bounds of the bands; the highest is the darkest where `rising`,
    otherwise the lowest.

    `shades` "t" are the pale ones, for areas under lines.
    """
    # From the lowest band up, each area over the ones below it: then neighbours share no edge with
    # a gap, and only one contour is needed for each bound.
    x0, x1, y0, y1 = field.xs[0], field.xs[-1], field.ys[0], field.ys[-1]
    closed = _walled(field, bands.bounds[-1] - 1.0)
    last = bands.count - 1

    def kind(band: int) -> str:
        return f"{shades}{last - band if rising else band}"

    view.svg.add(
        "rect",
        class_=kind(last),
        x=float(x0),
        y=float(y0),
        width=float(x1 - x0),
        height=float(y1 - y0),
    )
    for band in range(last - 1, -1, -1):
        loops = contour(closed.xs, closed.ys, closed.grid, bands.bounds[band + 1])
        data = "".join(_path(line, view.places, close=True) for line in loops)
        view.svg.path(data, kind(band), fill_rule="evenodd")


def _walled(field: Field, low: float) -> Field:
    """Return the field with a rim of low values just outside, so that all contour lines close."""
    thin = 1e-3  # mm: less than the last digit of a drawing, so that areas end at the edge
    xs = np.concatenate([[field.xs[0] - thin], field.xs, [field.xs[-1] + thin]])
    ys = np.concatenate([[field.ys[0] - thin], field.ys, [field.ys[-1] + thin]])
    return Field(xs, ys, np.pad(field.grid, 1, constant_values=low))


def draw_lines(view: PlanView, field: Field) -> list[tuple[str, float, float]]:
    """Draw contour lines over the whole field; return (figure, x, y) for labels, at most two for
    each level."""
    low, high = float(field.grid.min()), float(field.grid.max())
    marks: list[tuple[str, float, float]] = []
    if high - low < _LEAST_RANGE:
        return marks
    step = nice_step((high - low) / 8)
    with view.svg.group("contours", id="contours"):
        for k in inner_levels(low, high, step):
            level = k * step
            # A loop of a few points is noise on a nearly level place, or too small to be seen.
            lines = [
                line for line in contour(field.xs, field.ys, field.grid, level) if len(line) > 4
            ]
            data = "".join(_path(line, view.places, close=False) for line in lines)
            if not data:
                continue
            view.svg.path(data, "contour", id=f"contour-{number(level, 3)}")
            for line in lines[:2]:
                # Alternately at a half and a third of the line, so that figures of neighbouring
                # levels do not stand side by side.
                spot = line[len(line) // 2 if len(marks) % 2 else len(line) // 3]
                marks.append((f"{mm(level):.2f}", float(spot[0]), float(spot[1])))
    return marks


def _path(line: Floats, places: int, close: bool) -> str:
    return polyline_path(np.asarray(LineString(line).simplify(0.15).coords), places, close=close)
