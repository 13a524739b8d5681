"""The plan: the view of the operator from above, with the cuts of one operation over it.

All geometry is in the bed frame of the set-up, mm, inside a group whose transform scales it and
turns Y upwards; marks and labels are set outside that group, in sheet mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Polygon, get_parts

from corepath.board.deck.surface import DeckSurface
from corepath.motion.program import Corner
from corepath.views.drawings.cuts import Bands, Strokes, arrows, banded_paths, entries, nice_step
from corepath.views.drawings.hardware import draw_dowel, draw_insert
from corepath.views.drawings.scene import Scene
from corepath.views.maps.contours import contour, inner_levels
from corepath.views.svg import Box, Document, number, polygon_path, polyline_path, shown
from corepath.work.keepoff import frame_of
from corepath.work.works import Work

__all__ = [
    "PlanView",
    "draw_blank",
    "draw_castings",
    "draw_contours",
    "draw_corners",
    "draw_cuts",
    "draw_depths",
    "draw_features",
    "draw_obstacles",
    "draw_spared",
    "draw_template",
    "draw_work",
]


_MOST_RAPIDS = 400


@dataclass(frozen=True, slots=True)
class PlanView:
    """The mapping of model (x, y) to the sheet: `scale` in sheet mm per model mm, `ox`, `oy` the
    model's origin on the sheet."""

    svg: Document
    scale: float
    ox: float
    oy: float
    extent: Box
    """the model's extent on the sheet"""

    @staticmethod
    def fitted(
        svg: Document, bounds: tuple[float, float, float, float], room: Box, scale: float
    ) -> PlanView:
        """Return the view with model `bounds` (x0, y0, x1, y1) in the middle of `room`."""
        x0, y0, x1, y1 = bounds
        ox = (room.x0 + room.x1) / 2 - scale * (x0 + x1) / 2
        oy = (room.y0 + room.y1) / 2 + scale * (y0 + y1) / 2
        return PlanView(
            svg,
            scale,
            ox,
            oy,
            Box(ox + x0 * scale, oy - y1 * scale, ox + x1 * scale, oy - y0 * scale),
        )

    def sheet(self, x: float, y: float) -> tuple[float, float]:
        """Return where (x, y), mm of the model, lies on the sheet, mm."""
        return self.ox + x * self.scale, self.oy - y * self.scale

    @property
    def transform(self) -> str:
        k = number(self.scale, 6)
        return f"matrix({k} 0 0 -{k} {number(self.ox, 3)} {number(self.oy, 3)})"

    @property
    def places(self) -> int:
        """Decimals of model coordinates: at most 0.05 mm on the sheet."""
        return 2 if self.scale >= 0.5 else 1

    @property
    def unit(self) -> float:
        return 1 / self.scale


def draw_blank(
    svg: Document, bounds: tuple[float, float, float, float], kind: str = "blank wood wide",
    id: str | None = "blank",
) -> None:  # fmt: skip
    """Draw the blank from above: `bounds` (x0, y0, x1, y1) of the model, mm."""
    x0, y0, x1, y1 = bounds
    svg.add("rect", class_=kind, id=id, x=x0, y=y0, width=x1 - x0, height=y1 - y0)


def draw_castings(view: PlanView, scene: Scene, order: int) -> None:
    """Draw groove and plugs: hatched once cast, plain outlines once cut, hidden lines before."""
    svg = view.svg
    cast = scene.is_cast(order)
    for casting in scene.board.castings:
        cut = cast or order > scene.stem_order[casting.kind]
        kind = "resin narrow" if cast else ("void narrow" if cut else "hidden")
        svg.path(
            polygon_path(scene.seen(casting.area), view.places),
            f"{casting.kind} {kind}",
            id=f"casting-{casting.id}",
        )


def draw_features(view: PlanView, scene: Scene) -> None:
    """Draw the outline of the board, beneath it that of the template, seats and bores, and
    dowels."""
    svg = view.svg
    draw_template(view, scene)
    svg.path(
        polygon_path(scene.seen(scene.board.outline), view.places), "outline uncut", id="outline"
    )
    for place in scene.places:
        draw_insert(svg, place.seat, place.bore, "hidden", view.places)
    for dowel in scene.dowels:
        draw_dowel(svg, (dowel.x, dowel.y), dowel.diameter, cross=1.8 * view.unit)


def draw_template(view: PlanView, scene: Scene) -> None:
    """Draw the outline that the job compares its own with, if there is one."""
    if scene.board.template is not None:
        path = polygon_path(scene.seen(scene.board.template.outline), view.places)
        view.svg.path(path, "template faint", id="template")


def draw_work(view: PlanView, work: Work, ids: bool = True) -> None:
    """Draw what this operation cuts, tinted; `ids` gives each shape its id, which must be unique in
    a document."""
    svg = view.svg
    for pocket in work.pockets:
        svg.path(
            polygon_path(pocket.area, view.places),
            "target tint narrow",
            id=f"target-{pocket.id}" if ids else None,
        )
    for hole in work.holes:
        with svg.group("target", id=f"target-{hole.id}" if ids else None):
            for step in hole.steps:
                svg.add("circle", class_="tint narrow", cx=hole.x, cy=hole.y, r=step.diameter / 2)


def draw_spared(view: PlanView, work: Work) -> bool:
    """Draw what the operation does not cut to depth: a frame, waste beyond the finished deck, and
    what obstacles keep the cutter from; return whether there is any."""
    frame = frame_of(work.deck, work.blank) if work.deck is not None else None
    spare = (
        work.deck.spare
        if work.deck is not None
        else work.facing.spare
        if work.facing is not None
        else None
    )
    waste = None
    if work.deck is not None and work.deck.rough <= 0.0 and work.deck.finished is not None:
        waste = work.deck.area.difference(work.deck.finished)
    areas = [part for area in (frame, spare, waste) if area is not None for part in get_parts(area)]
    if areas:
        with view.svg.group("spared", id="spared"):
            for area in areas:
                view.svg.path(polygon_path(area, view.places), "wood narrow")
    return bool(areas)


def draw_obstacles(view: PlanView, areas: Sequence[Polygon]) -> None:
    """Draw the outlines of obstacles, given in the frame of the set-up."""
    for area in areas:
        view.svg.path(polygon_path(area, view.places), "obstacle narrow")


def draw_depths(view: PlanView, work: Work, bands: Bands) -> None:
    """Draw the depth of the deck as pale areas of the bands' shades, under its lines."""
    if work.deck is None:
        return
    surface: DeckSurface = work.deck.surface
    xs, ys, grid = _coarse(surface)
    x0, y0, x1, y1 = work.blank.bounds
    with view.svg.group("depths", id="depths"):
        view.svg.add(
            "rect", class_=f"t{bands.count - 1}", x=x0, y=y0, width=x1 - x0, height=y1 - y0
        )
        for band in range(bands.count - 2, -1, -1):
            loops = contour(xs, ys, grid, bands.bounds[band + 1])
            view.svg.path("".join(_contour_path(line, view.places) for line in loops), f"t{band}")


def draw_cuts(
    view: PlanView,
    strokes: Strokes,
    bands: Bands,
    work: Work,
    *,
    lines: Sequence[NDArray[np.float64]] | None = None,
    ids: bool = True,
) -> None:
    """Draw cuts by depth, the deepest on top, rapids, entries, sparse arrows, and the cutter where
    it starts.

    `lines` are the runs to draw instead of all runs of `strokes`.
    """
    svg = view.svg
    unit = view.unit
    shown = strokes.runs if lines is None else lines
    with svg.group("cuts", id="cuts" if ids else None):
        for band, data in enumerate(banded_paths(shown, bands, view.places, unit)):
            svg.path(data, f"{'cut' if work.deck is None else 'fine'} z{band}")
    with svg.group("rapids", id="rapids" if ids else None):
        svg.path(
            "".join(polyline_path(pair, view.places) for pair in strokes.rapids[:_MOST_RAPIDS]),
            "rapid",
        )
    with svg.group("directions", id="directions" if ids else None):
        for x, y, angle in arrows(shown, 26 * unit, 10):
            svg.path(_dart(x, y, angle, 2.6 * unit, view.places), "arrow")
    with svg.group("entries", id="entries" if ids else None):
        for x, y in entries(strokes.runs, 5 * unit, 40):
            svg.path(_diamond(x, y, 0.95 * unit, view.places), "entry")
    if strokes.runs:
        x, y = float(strokes.runs[0][0, 0]), float(strokes.runs[0][0, 1])
        svg.add(
            "circle",
            class_="cutter",
            id="cutter" if ids else None,
            cx=x,
            cy=y,
            r=work.cutter.radius,
        )


def draw_corners(view: PlanView, corners: Sequence[Corner]) -> None:
    """Draw a small cross in a circle at each inside corner that the cutter leaves round."""
    if not corners:
        return
    reach = 1.5 * view.unit
    with view.svg.group("corners", id="corners"):
        for corner in corners:
            view.svg.add("circle", class_="corner", cx=corner.x, cy=corner.y, r=reach)
            for dx, dy in ((0.7, 0.7), (0.7, -0.7)):
                x, y = dx * reach, dy * reach
                view.svg.line(corner.x - x, corner.y - y, corner.x + x, corner.y + y, "corner")


def _dart(x: float, y: float, angle: float, length: float, places: int) -> str:
    half = math.radians(17)
    points = [(x + length / 2 * math.cos(angle), y + length / 2 * math.sin(angle))]
    tip = points[0]
    points += [
        (tip[0] - length * math.cos(angle + t), tip[1] - length * math.sin(angle + t))
        for t in (half, -half)
    ]
    return "M" + "L".join(f"{number(a, places)} {number(b, places)}" for a, b in points) + "z"


def _diamond(x: float, y: float, r: float, places: int) -> str:
    points = ((x + r, y), (x, y + r), (x - r, y), (x, y - r))
    return "M" + "L".join(f"{number(a, places)} {number(b, places)}" for a, b in points) + "z"


def draw_contours(
    view: PlanView, surface: DeckSurface, low: float, high: float
) -> list[tuple[str, float, float]]:
    """Draw contour lines of the deck; return (figure, x, y) for labels, model mm."""
    # mm: a level deck has no contour lines.
    if high - low < 1e-6:
        return []
    step = nice_step((high - low) / 7)
    marks: list[tuple[str, float, float]] = []
    xs, ys, grid = _coarse(surface)
    with view.svg.group("contours", id="contours"):
        for k in inner_levels(low, high, step):
            level = k * step
            lines = [line for line in contour(xs, ys, grid, level) if len(line) > 8]
            if not lines:
                continue
            data = "".join(_contour_path(line, view.places) for line in lines)
            view.svg.path(data, "contour", id=f"contour-{number(level)}")
            line = lines[0]
            # Each level's figure stands farther left on its longest line than the one before, so
            # that they do not pile up. Rounded, for the same place on every machine.
            spot = line[
                int(
                    np.argmin(
                        np.round(
                            np.abs(line[:, 0] - line[:, 0].max() * (0.75 - 0.16 * len(marks))), 3
                        )
                    )
                )
            ]
            marks.append((shown(level), float(spot[0]), float(spot[1])))
    return marks


def _coarse(
    surface: DeckSurface,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the deck's grid, every other node of a large one: still finer than a sheet shows."""
    k = 2 if len(surface.xs) > 700 else 1
    return (
        np.asarray(surface.xs)[::k],
        np.asarray(surface.ys)[::k],
        np.asarray(surface.grid)[::k, ::k],
    )


def _contour_path(line: NDArray[np.float64], places: int) -> str:
    return polyline_path(np.asarray(LineString(line).simplify(0.15).coords), places)
