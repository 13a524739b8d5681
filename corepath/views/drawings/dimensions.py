"""Dimensions of a plan: the blank overall, places of hardware from the middle, the groove's width
and its rim.

Places are running dimensions (ISO 129-1, from memory) in the bed frame of the set-up, mm from the
middle of the blank as it lies; in B they are mirrored with it. Everything is drawn in sheet mm, y
down.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from shapely import Polygon

from corepath.lengths import UNIT
from corepath.views.drawing_sheet import (
    MAIN,
    NORMAL,
    SMALL,
    Labels,
    arrowhead,
    dimension_across,
    dimension_along,
    scale_note,
)
from corepath.views.drawings.overview_tables import measure_lines
from corepath.views.drawings.plan_view import PlanView
from corepath.views.drawings.scene import Scene
from corepath.views.drawings.section import spread_out
from corepath.views.svg import Box, number, shown, text_box, wrapped
from corepath.work.works import Work

__all__ = ["BELOW", "BESIDE", "distinct_places", "draw_dimensions", "has_places", "running"]

BELOW = 11.5
"""sheet mm that dimensions of places and of the rim take below a plan, over those of the blank
alone"""
BESIDE = 14.0
"""sheet mm that running dimensions take at the right of a plan"""

_KINDS = {"dowels": "dowel", "plug-pockets": "plug", "groove": "groove", "inserts": "insert"}
_APART = 4.2


def has_places(work: Work) -> bool:
    """Whether an operation has places or walls that are dimensioned beside the blank itself."""
    return work.name in _KINDS and bool(work.holes or work.pockets)


def draw_dimensions(view: PlanView, scene: Scene, work: Work, labels: Labels) -> None:
    """Draw the dimensions of the blank and of this operation's places and walls, the scale bar and,
    where there is room, measures in words; keep `labels` off them."""
    svg = view.svg
    x0, y0, x1, y1 = work.blank.bounds
    left, bottom = view.sheet(x0, y0)
    right, top = view.sheet(x1, y1)
    places = has_places(work)
    below = view.extent.y1 + 8 + (BELOW if places else 0.0)
    with svg.group("dimensions", id="dimensions"):
        dimension_along(svg, left, right, bottom, below, shown(x1 - x0))
        dimension_across(svg, top, bottom, left, view.extent.x0 - 10, shown(y1 - y0))
        if work.name == "groove" and places:
            _walls(view, scene, work, labels)
        elif places:
            spots = [(hole.x, hole.y) for hole in work.holes]
            spots += [(pocket.area.centroid.x, pocket.area.centroid.y) for pocket in work.pockets]
            running(view, spots, view.extent.y1, view.extent.x1 + 5.0)
    from_middle = (
        "; places from the middle of the blank" if places and work.name != "groove" else ""
    )
    says = f"the operator stands at the lower edge; figures in {UNIT}{from_middle}"
    scale_note(svg, MAIN.x0 + 19, below + 7.5, view.scale, says)
    if places:
        _words(view, scene, work, below + 17.0)
    labels.block(Box(MAIN.x0, view.extent.y1 + (0.5 if places else 4.0), MAIN.x1, below + 12))
    labels.block(Box(view.extent.x0 - 15, top, view.extent.x0 - 8, bottom))
    if places and work.name != "groove":
        labels.block(Box(view.extent.x1 + 5, view.extent.y0 - 3, MAIN.x1, view.extent.y1))


def distinct_places(values: Iterable[float]) -> list[float]:
    """Values and 0 in order, one of those that agree in a tenth of a mm."""
    # Each as it is, not rounded to a tenth: 1.95 in would read 1.949.
    kept = {round(value, 1) + 0.0: value for value in sorted(values, reverse=True)}
    return [value for _, value in sorted({**kept, 0.0: 0.0}.items())]


def running(
    view: PlanView, spots: Sequence[tuple[float, float]], bottom: float, right: float
) -> None:
    """Draw running dimensions from the middle to `spots` (x, y), model mm: X below `bottom`, Y
    right of `right` (sheet mm)."""
    svg = view.svg
    xs = distinct_places(x for x, _ in spots)
    ys = distinct_places(y for _, y in spots)[::-1]
    wanted = [view.sheet(x, 0.0)[0] for x in xs]
    spread = spread_out(wanted, _APART, view.extent.x0 - 20, view.extent.x1 + 4)
    for x, at, value in zip(wanted, spread, xs, strict=True):
        svg.path(
            f"M{number(x)} {number(bottom + 1)}V{number(bottom + 2.5)}L{number(at)} "
            f"{number(bottom + 5)}",
            "faint",
        )
        svg.upward_text(
            at + 1.1,
            bottom + 6,
            shown(value, 1),
            "dimension",
            size=SMALL,
            anchor="end",
        )
    wanted = [view.sheet(0.0, y)[1] for y in ys]
    for y, at, value in zip(
        wanted, spread_out(wanted, _APART, view.extent.y0, view.extent.y1), ys, strict=True
    ):
        svg.path(
            f"M{number(right + 1)} {number(y)}H{number(right + 2.5)}L{number(right + 5)} "
            f"{number(at)}",
            "faint",
        )
        svg.text(right + 6, at + 1.1, shown(value, 1), "dimension", size=SMALL)


def _walls(view: PlanView, scene: Scene, work: Work, labels: Labels) -> None:
    """Draw the groove's width, and what is left of the blank outside it at the back and at both
    ends."""
    ring = work.pockets[0].area
    groove = scene.job.groove
    x0, _, x1, y1 = work.blank.bounds
    gx0, _, gx1, gy1 = ring.bounds
    below, svg = view.extent.y1, view.svg
    # from the blank's end inwards: a figure that does not fit is set over the board
    for end, wall in ((x0, gx0), (x1, gx1)):
        outer, inner = view.sheet(end, 0.0)[0], view.sheet(wall, 0.0)[0]
        dimension_along(svg, outer, inner, below - 1.0, below + 8.0, shown(abs(wall - end), 1))
    x, walls = _straight(ring)
    width = f"{shown(groove.width, 2)} wide"
    _pinched(view, labels, x, (walls[1], walls[0]), width, under=True)
    aside = x + 34.0 * view.unit
    svg.line(*view.sheet(x, gy1), *view.sheet(aside, gy1), "faint")
    _pinched(view, labels, aside, (gy1, y1), f"{shown(y1 - gy1, 1)} to the edge", under=False)


def _straight(ring: Polygon) -> tuple[float, tuple[float, float]]:
    """Return X where a ring reaches farthest back, and the Y of its outer and inner wall there: at
    that place it runs along X."""
    # Rounded, and nearest the middle among equals: the back of many boards is straight.
    outer = max(ring.exterior.coords, key=lambda p: (round(p[1], 4), -round(abs(p[0]), 4)))
    inner = max((p for hole in ring.interiors for p in hole.coords), key=lambda p: round(p[1], 4))
    return outer[0], (outer[1], inner[1])


def _pinched(
    view: PlanView, labels: Labels, x: float, walls: tuple[float, float], text: str, *, under: bool
) -> None:
    """Draw a short vertical dimension between two walls (Y), its arrows from outside, the words at
    the free end."""
    svg = view.svg
    sx, low = view.sheet(x, walls[0])
    high = view.sheet(x, walls[1])[1]
    svg.line(sx, high - 5, sx, low + 5, "faint")
    arrowhead(svg, sx, high, math.pi / 2)
    arrowhead(svg, sx, low, -math.pi / 2)
    y = low + 5.0 if under else high - 2.6
    svg.text(sx + 1.2, y, text, "dimension halo", size=NORMAL)
    labels.block(text_box(sx + 1.2, y, text, size=NORMAL, anchor="start").grown(0.5))
    labels.block(Box(sx - 1, high - 5, sx + 1, low + 5))


def _words(view: PlanView, scene: Scene, work: Work, y: float) -> None:
    """Set the measures of what this operation cuts in two columns, as many lines as fit above the
    section."""
    rows = int((MAIN.y0 + 144.5 - y) // _APART) + 1
    width = (MAIN.width - 14) / 2
    lines = [
        text
        for line in measure_lines(scene, _KINDS[work.name])
        for text in wrapped(line, SMALL, width)
    ]
    with view.svg.group("measures", id="measures"):
        for k, line in enumerate(lines[: 2 * max(rows, 0)]):
            column, row = divmod(k, rows)
            view.svg.text(MAIN.x0 + 4 + column * (width + 6), y + row * _APART, line, size=SMALL)
