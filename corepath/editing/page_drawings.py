"""The drawings of the page, as elements of SVG: the board from above, its long section, a cross
section at a place of one's choice, and the stack of heights.

All are made by the parts that the drawings of a plan are made of. Coordinates of a drawing are mm
of the screen, y downwards; `Drawn` tells how those of the board become these. Heights count from
the finished bottom at the planned stop, mm, upwards.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from corepath.lengths import mm
from corepath.views.drawing_sheet import SMALL, Labels
from corepath.views.drawings.marks import lines_to_avoid, name_features
from corepath.views.drawings.overview import draw_board
from corepath.views.drawings.plan_view import PlanView
from corepath.views.drawings.scene import Scene
from corepath.views.drawings.section import HeightScale, Level, crossing, name_levels, spread_out
from corepath.views.drawings.stack_view import StackHeights
from corepath.views.svg import Box, Document, number, polygon_path, shown

__all__ = [
    "Drawn",
    "cross_drawing",
    "cross_halves",
    "long_drawing",
    "plan_drawing",
    "stack_drawing",
]

_MARGIN = 5.0
_SECTION = 34.0
"""Height of a section on the screen, mm, heights stretched to fill it."""

_STACK = 66.0
_FIGURES = 100.0
"""Width from which on the heights have their second figures beside them, mm."""

_NAMES = 150.0
"""Width from which on the names of plugs and inserts find room beside them, mm."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing of `width` × `height` mm as `svg`, elements only.

    A place (u, v) of the model, mm, lies at x = `across[0]` + `across[1]`·u and y = `up[0]` −
    `up[1]`·v: u, v are x, y of the board in the plan, x or y and a height in sections.
    """

    width: float
    height: float
    svg: str
    across: tuple[float, float]
    up: tuple[float, float]
    title: str
    columns: Mapping[str, float] = field(default_factory=dict)
    """Where the parts of the stack lie: x of the middle of each."""


def plan_drawing(scene: Scene, width: float) -> Drawn:
    """Return the board from above, deck up, in a drawing `width` mm wide."""
    x0, y0, x1, y1 = scene.board.blank.bounds
    scale = (width - 2 * _MARGIN) / (x1 - x0)
    height = (y1 - y0) * scale + 2 * _MARGIN
    svg = Document(width, height, "plan", "", fitted=False)
    with svg.defs(), svg.group("plan"):
        svg.hatch("resin-plan", 1.6 / scale, "hatching", up=True)
    view = PlanView.fitted(svg, scene.board.blank.bounds, Box(0.0, 0.0, width, height), scale)
    draw_board(view, scene)
    if width >= _NAMES:
        labels = Labels(svg, view.extent)
        shapes = [scene.board.outline, *(c.area for c in scene.board.castings)]
        labels.lines = lines_to_avoid(view, shapes, [])
        name_features(view, labels, scene)
    ox0, oy0, ox1, oy1 = scene.board.outline.bounds
    title = (
        f"From above: board {shown(ox1 - ox0, 1)} × {shown(oy1 - oy0, 1)}, "
        f"blank {shown(x1 - x0, 1)} × {shown(y1 - y0, 1)}"
    )
    return Drawn(width, height, svg.inner(), (view.ox, scale), (view.oy, scale), title)


def long_drawing(scene: Scene, width: float) -> Drawn:
    """Return the section along the X axis, under the plan and to its scale in X."""
    x0, _, x1, _ = scene.board.blank.bounds
    scale = (width - 2 * _MARGIN) / (x1 - x0)
    return _section(scene, "long", width, (_MARGIN - x0 * scale, scale), (x0, x1), 0.0)


def cross_drawing(scene: Scene, width: float, x: float) -> Drawn:
    """Return the section across the board at `x`, mm."""
    _, y0, _, y1 = scene.board.blank.bounds
    scale = (width - 2 * _MARGIN) / (y1 - y0)
    return _section(scene, "cross", width, (_MARGIN - y0 * scale, scale), (y0, y1), x)


def cross_halves(scene: Scene, x: float) -> tuple[float, float] | None:
    """Return from which to which Y the board reaches at `x`, mm; None beyond its ends."""
    found = _within(scene.board.outline, "cross", x)
    return (found[0][0], found[-1][1]) if found else None


def _section(
    scene: Scene,
    name: str,
    width: float,
    across: tuple[float, float],
    span: tuple[float, float],
    at: float,
) -> Drawn:
    heights = StackHeights(scene)
    factor = (_SECTION - 6.0) / (heights.raw_top - heights.raw_bottom)
    up = 4.0 + heights.raw_top * factor, factor
    svg = Document(width, _SECTION, name, "", fitted=False)

    def placed(shape: BaseGeometry) -> str:
        flat = shapely.transform(
            shape,
            lambda p: np.stack([across[0] + across[1] * p[:, 0], up[0] - factor * p[:, 1]], 1),
        )
        parts = [p for p in shapely.get_parts(flat) if isinstance(p, Polygon) and p.area > 1e-6]
        return polygon_path(MultiPolygon(parts))

    with svg.defs(), svg.group(name):
        svg.hatch(f"resin-{name}", 1.6, "hatching")
    deck = _deck(scene, name, at, span)
    with svg.group(name):
        blank = box(span[0], heights.raw_bottom, span[1], heights.raw_top)
        svg.path(placed(blank), "uncut")
        core = Polygon([*deck.tolist(), (span[1], 0.0), (span[0], 0.0)]).buffer(0)
        resin = shapely.union_all(_cast(scene, name, at, heights)).intersection(core)
        gone = shapely.union_all(_bored(scene, name, at))
        svg.path(placed(core.difference(resin).difference(gone)), "wood narrow")
        svg.path(placed(resin), "resin narrow")
        line = np.stack([across[0] + across[1] * deck[:, 0], up[0] - factor * deck[:, 1]], 1)
        svg.path("M" + "L".join(f"{number(u)} {number(v)}" for u, v in line), "deck wide")
        low = up[0] - factor * (heights.stop - heights.lowest)
        svg.line(
            across[0] + across[1] * span[0], low, across[0] + across[1] * span[1], low, "hidden"
        )
    stretch = f"heights {factor / across[1]:.0f} × the length"
    where = "along the middle" if name == "long" else f"across at X {shown(at, 1)}"
    return Drawn(width, _SECTION, svg.inner(), across, up, f"Section {where}, {stretch}")


def _deck(scene: Scene, name: str, at: float, span: tuple[float, float]) -> NDArray[np.float64]:
    """Return places (n, 2) on the deck along a section: along it, height."""
    along = np.linspace(*span, 361)
    there = np.full_like(along, at)
    xs, ys = (along, there) if name == "long" else (there, along)
    return np.stack([along, np.asarray(scene.board.deck.height(xs, ys))], axis=1)


def _within(area: Polygon, name: str, at: float) -> list[tuple[float, float]]:
    """Return the intervals in which a section runs inside an area."""
    if name == "long":
        return crossing(area, at)
    turned = shapely.transform(area, lambda p: np.stack([p[:, 1], p[:, 0]], 1))
    return crossing(turned, at)


def _cast(scene: Scene, name: str, at: float, heights: StackHeights) -> list[Polygon]:
    found = []
    for casting in scene.board.castings:
        column = scene.table.column("C", casting.id)
        low, high = max(column.floor.nominal, 0.0), column.resin.nominal
        found += [box(a, low, b, high) for a, b in _within(casting.area, name, at) if high > low]
    return found


def _bored(scene: Scene, name: str, at: float) -> list[Polygon]:
    """Return seats and bores of inserts, which open to the finished bottom."""
    found = []
    for place in scene.board.places:
        seat, bore = scene.insert_depths(place.id)
        found += [box(a, 0.0, b, seat) for a, b in _within(place.seat.area, name, at)]
        found += [box(a, 0.0, b, bore) for a, b in _within(place.bore_area, name, at)]
    return found


def stack_drawing(scene: Scene, width: float) -> Drawn:
    """Return the stack of heights, to one scale in Z: rim, casting, plug, insert, deck."""
    heights = StackHeights(scene)
    # a narrow page has room for the names of heights alone
    names, end = (58.0, ";") if width >= _FIGURES else (47.0, "[;,]")
    room = Box(_MARGIN, 8.0, max(width - names, 30.0), _STACK - 4.0)
    factor = room.height / (heights.raw_top - heights.raw_bottom)
    up = room.y0 + heights.raw_top * factor, factor
    svg = Document(width, _STACK, "stack", "", fitted=False)
    with svg.defs(), svg.group("stack"):
        svg.hatch("resin-stack", 1.6, "hatching")
    with svg.group("stack"):
        columns = _stacked(svg, scene, heights, room, up)
        # beside the figure of a height there is no room for what else the drawings say of it
        levels = [Level(one.z, re.split(end, one.words)[0], one.strong) for one in heights.levels()]
        if width > names + 30.0:
            scale = HeightScale(*up)
            beside = Box(0.0, 2.0, width, _STACK)
            name_levels(svg, levels, room.x1, room.x0, beside, scale)
        else:
            _figures(svg, levels, room, up)
    return Drawn(width, _STACK, svg.inner(), (0.0, 1.0), up, f"Heights, {factor:.1f}:1", columns)


def _figures(svg: Document, levels: Sequence[Level], room: Box, up: tuple[float, float]) -> None:
    """Set heights alone where words find no room."""
    ordered = sorted(levels, key=lambda level: (-level.z, level.text))
    places = spread_out([up[0] - up[1] * one.z for one in ordered], 4.4, room.y0, room.y1)
    for level, y in zip(ordered, places, strict=True):
        svg.text(room.x1 + 2, y + 1.1, f"{mm(level.z):.2f}", "level", size=SMALL)


def _stacked(
    svg: Document, scene: Scene, heights: StackHeights, room: Box, up: tuple[float, float]
) -> dict[str, float]:
    """Draw the parts side by side; return where the middle of each lies."""
    parts = ["rim", "groove", "deck"]
    parts += ["plug"] if any(c.kind == "plug" for c in scene.board.castings) else []
    parts += ["insert"] if heights.seat is not None else []
    wide = room.width / len(parts)

    def y(z: float) -> float:
        return up[0] - up[1] * z

    def block(kind: str, left: float, right: float, low: float, high: float) -> None:
        if high > low:
            svg.add(
                "rect", class_=f"{kind} narrow", x=left, y=y(high), width=right - left,
                height=y(low) - y(high),
            )  # fmt: skip

    block("wood", room.x0, room.x1, heights.raw_bottom, heights.raw_top)
    for number_, part in enumerate(parts):
        left, right = room.x0 + number_ * wide, room.x0 + (number_ + 1) * wide
        inner = left + 0.2 * wide, right - 0.2 * wide
        if part in ("groove", "plug"):
            block("void", *inner, heights.resin, heights.raw_top)
            block("resin", *inner, heights.floor, heights.resin)
        elif part == "insert" and heights.seat is not None and heights.barrel is not None:
            block("void", *inner, 0.0, heights.seat)
            middle = (left + right) / 2
            block("void", middle - 0.12 * wide, middle + 0.12 * wide, 0.0, heights.barrel)
        top = heights.edge if part in ("rim", "groove") else heights.deck
        svg.line(left, y(top), right, y(top), "deck wide")
        size = min(SMALL, 0.3 * wide)  # the longest, groove, needs some 3.2 of its size
        svg.text((left + right) / 2, room.y0 - 2.0, part, "label", size=size, anchor="middle")
    svg.line(room.x0, y(0.0), room.x1, y(0.0), "wide")
    lowest = y(heights.stop - heights.lowest)
    svg.line(room.x0, lowest, room.x1, lowest, "hidden")
    return {part: room.x0 + (k + 0.5) * wide for k, part in enumerate(parts)}
