"""Marks and labels over a plan, in sheet millimetres: the work zero, names of features, figures on
lines."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from corepath.views.drawing_sheet import SMALL, Labels, arrowhead
from corepath.views.drawings.plan_view import PlanView
from corepath.views.drawings.scene import Scene
from corepath.views.svg import Box, Document, number, text_box, text_width

__all__ = ["lines_to_avoid", "name_features", "set_figures", "touch_mark", "zero_mark"]


def lines_to_avoid(
    view: PlanView, shapes: Iterable[BaseGeometry], runs: Sequence[NDArray[np.float64]]
) -> NDArray[np.float64]:
    """Return places (n, 2) on the sheet, at most 0.8 mm apart, on the boundaries of `shapes` and on
    `runs`, for labels to keep off."""
    lines = [shape.boundary for shape in shapes]
    lines += [
        shapely.LineString(run[:, :2]) for run in runs if np.ptp(run[:, :2], axis=0).max() > 0.5
    ]
    # Places instead of lines, since a label then needs one comparison of arrays: at 0.8 mm no line
    # passes through a box as high as letters unseen. Thinned first, to have few of them.
    coarse = shapely.simplify(np.array(lines, dtype=object), 0.2 * view.unit)
    dense = shapely.segmentize(coarse[shapely.length(coarse) > 0], 0.8 * view.unit)
    points = shapely.get_coordinates(dense)
    return np.stack(
        [view.ox + points[:, 0] * view.scale, view.oy - points[:, 1] * view.scale], axis=1
    )


def zero_mark(svg: Document, labels: Labels, x: float, y: float) -> None:
    """Draw the work zero: an open square with a dot, and the directions of X and Y."""
    reach = 11.0
    with svg.group("zero", id="work-zero"):
        svg.line(x, y, x + reach, y, "wide")
        svg.line(x, y, x, y - reach, "wide")
        arrowhead(svg, x + reach + 1.5, y, 0.0, 3.2)
        arrowhead(svg, x, y - reach - 1.5, -math.pi / 2, 3.2)
        svg.add("rect", class_="mark narrow", x=x - 1.4, y=y - 1.4, width=2.8, height=2.8)
        svg.add("circle", class_="solid", cx=x, cy=y, r=0.5)
        svg.text(x + reach + 2.2, y - 0.8, "X", "label strong halo", size=SMALL)
        svg.text(x + 1.2, y - reach + 0.2, "Y", "label strong halo", size=SMALL)
    labels.block(Box(x - 2, y - 2, x + reach + 5, y + 1.6))
    labels.block(Box(x - 2, y - reach - 2, x + 4, y + 2))


def touch_mark(view: PlanView, labels: Labels, x: float, y: float) -> None:
    """Mark the place where Z is touched: a triangle with its tip on it."""
    sx, sy = view.sheet(x, y)
    with view.svg.group("touch", id="touch"):
        view.svg.path(f"M{number(sx)} {number(sy)}l-1.5 -2.8h3z", "mark narrow")
    labels.block(Box(sx - 2, sy - 3.2, sx + 2, sy + 0.5))
    labels.place(sx, sy, "touch Z here", 2.0, class_="label strong halo")


def name_features(view: PlanView, labels: Labels, scene: Scene, dowels: bool = True) -> None:
    """Set the names of plugs, inserts and (unless `dowels` is off) dowels beside them."""
    spots: list[tuple[str, float, float, float]] = []
    for casting in scene.board.castings:
        if casting.kind == "plug":
            area = scene.seen(casting.area)
            centre = area.centroid
            spots.append(
                (
                    casting.id,
                    centre.x,
                    centre.y,
                    max(area.bounds[3] - area.bounds[1], area.bounds[2] - area.bounds[0]) / 2,
                )
            )
    spots += [(p.id, p.x, p.y, p.seat.reach) for p in scene.places]
    spots += [(d.id, d.x, d.y, d.diameter / 2) for d in scene.dowels if dowels]
    # All features are blocked before the first name is placed, or a name could cover a later one.
    for _, x, y, radius in spots:
        sx, sy = view.sheet(x, y)
        r = radius * view.scale
        labels.block(Box(sx - r, sy - r, sx + r, sy + r))
    for name, x, y, radius in spots:
        sx, sy = view.sheet(x, y)
        labels.place(sx, sy, name, radius * view.scale, class_="label name halo")


def set_figures(view: PlanView, labels: Labels, marks: Sequence[tuple[str, float, float]]) -> None:
    """Set heights on contour lines (figure, x, y), each on its line where there is room."""
    for text, x, y in marks:
        sx, sy = view.sheet(x, y)
        half = text_width(text, SMALL) / 2
        box = text_box(sx, sy + 1.1, text, size=SMALL, anchor="middle")
        if labels.free(box) and half > 0:
            view.svg.text(sx, sy + 1.1, text, "figure halo", size=SMALL, anchor="middle")
            labels.block(box.grown(0.5))
