"""The lengthwise section of set-up D: the board in its cradle, X along the chord, Z over the rise
0, mm."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from corepath.layup.laid import LaidUp, laid_up
from corepath.lengths import mm
from corepath.views.drawings.scene import Scene
from corepath.views.drawings.section import Level, Slice, crossing
from corepath.work.works import Work

__all__ = ["laid_slice"]

Floats = NDArray[np.float64]
# mm between vertices: a rocker has a radius of metres, so a chord lies off it by less than a line.
_STEP = 2.0
_FOOT = 4.0  # mm of the cradle that are drawn below its lowest


def laid_slice(scene: Scene, work: Work, y: float) -> Slice:
    """Return the section at `y` (mm, bed frame of D): laminates and core as wood, the castings in
    the core, and what this operation removes."""
    laid = laid_up(scene.job, scene.board)
    start, end = laid.ends
    span = [(start, end)]
    whole = _strip(laid, span, y)
    plugs = [c.area for c in scene.board.castings if c.kind == "plug"]
    cast = [crossing(scene.seen(area), y) for area in (*plugs, scene.board.ring)]
    skin = _between(laid, span, lambda x: laid.bottom(x) + laid.below)
    resin = _strip(laid, [pair for pairs in cast for pair in pairs], y, off=laid.above).difference(
        skin
    )
    cut = _removed(work, laid, y)
    removed = cut.intersection(whole)
    low, high = float(whole.bounds[1]), float(whole.bounds[3])
    levels = (
        Level(0.0, "rise 0 of the form"),
        Level(round(high, 4), "laminate, highest"),
        Level(round(float(laid.bottom(start)), 4), "cradle, left end"),
        Level(round(float(laid.bottom(end)), 4), "cradle, right end"),
        *_cut_levels(work),
    )
    wood = whole.difference(shapely.union_all([resin, removed]))
    foot = min(low, work.lowest) - _FOOT
    cradle = _between(laid, span, lambda x: np.full_like(x, foot)).difference(cut)
    note = f"; the bed under the cradle lies {mm(-laid.bed):.2f} below rise 0, not drawn"
    return Slice(
        y, wood, resin.difference(removed), removed, levels, (start, end), foot, high, cradle, note
    )


def _strip(
    laid: LaidUp, spans: Sequence[tuple[float, float]], y: float, off: float = 0.0
) -> BaseGeometry:
    """Return the area from the form up to the laminate's top, or to the face `off` mm below it."""
    return _between(laid, spans, lambda x: laid.top(x, np.full_like(x, y), off=off))


def _between(
    laid: LaidUp, spans: Sequence[tuple[float, float]], over: Callable[[Floats], Floats]
) -> BaseGeometry:
    parts = []
    for start, end in spans:
        x = np.linspace(start, end, max(2, int((end - start) / _STEP) + 2))
        ring = np.vstack(
            [np.column_stack([x, laid.bottom(x)]), np.column_stack([x, over(x)])[::-1]]
        )
        # `buffer(0)` repairs a ring that touches itself, as where the height between is 0.
        parts.append(Polygon(ring).buffer(0))
    return shapely.union_all(parts) if parts else Polygon()


def _removed(work: Work, laid: LaidUp, y: float) -> BaseGeometry:
    found: list[BaseGeometry] = []
    far = work.clear
    if work.trim is not None:
        radius = work.cutter.radius
        slot = work.trim.area.buffer(2.0 * radius).difference(work.trim.area)
        for part in shapely.get_parts(slot):
            for start, end in crossing(part, y):
                x = np.linspace(start, end, 41)
                floor = laid.bottom(x) + work.trim.web
                found.append(
                    Polygon([*np.column_stack([x, floor]).tolist(), (end, far), (start, far)])
                )
    for hole in work.holes:
        for step in hole.steps:
            rest = (step.diameter / 2.0) ** 2 - (hole.y - y) ** 2
            # A section that just touches a hole shows none.
            if rest > 1e-9:
                found.append(box(hole.x - rest**0.5, step.floor, hole.x + rest**0.5, far))
    return shapely.union_all(found) if found else Polygon()


def _cut_levels(work: Work) -> list[Level]:
    if work.trim is not None:
        return [Level(round(work.lowest, 3), "lowest cut", True)]
    floors = sorted({round(hole.steps[-1].floor, 3): hole for hole in work.holes}.items())
    shown = floors if len(floors) <= 4 else [*floors[:2], floors[-1]]
    return [
        Level(floor, f"{hole.id}, {mm(hole.top - floor):.2f} deep", True) for floor, hole in shown
    ]
