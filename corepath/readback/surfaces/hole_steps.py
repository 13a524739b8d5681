"""Seats and bores from the motions: diameter and depth of each step of each hole. Bed frame, mm.

The least diameter of a step is twice the least distance from its middle to the edge of what is
swept at its floor. The greatest is twice the reach of any motion that goes below the floor of the
step above.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from corepath.lengths import mm
from corepath.readback.inspection import Inspection
from corepath.readback.surfaces.walls import swept_area
from corepath.stock.material import Stock
from corepath.stock.path import Pieces
from corepath.work.works import Hole

__all__ = ["check_holes", "is_open"]


# mm that columns of a hole stand off its wall: as far as a hole may be narrower than asked, and a
# little off its place (`Allowed.holes` is of the diameter).
_WALL = 0.05
# Decimals of a mm to which motions about two holes must be equal: far below those of a file, far
# above the rounding of a difference.
_PLACES = 8

_Radii = dict[bytes, float]


def _reach(pieces: Pieces, x: float, y: float) -> NDArray[np.float64]:
    """Return the greatest distance of each piece from (x, y), (m,)."""
    ends = [np.hypot(end[:, 0] - x, end[:, 1] - y) for end in (pieces.lower, pieces.upper)]
    return np.asarray(np.maximum(ends[0], ends[1]), dtype=np.float64)


def _hole_mask(stock: Stock, x: float, y: float, radius: float) -> NDArray[np.bool_]:
    """Return a mask of the columns within a radius of a place."""
    return stock.grid.near(x, y, radius)


def is_open(stock: Stock, x: float, y: float, radius: float) -> bool:
    """Tell whether no column of a hole of a radius holds anything.

    A hole so narrow that it may lie between the columns (under 1.6 of them wide) counts as open
    where it does: its motions alone tell its depth.
    """
    mask = _hole_mask(stock, x, y, max(radius - _WALL, 0.0))
    return not bool((stock.solid & mask).any())


def check_holes(holes: tuple[Hole, ...], seen: Inspection) -> None:
    """Check every hole of an operation; report motions below the stock that belong to no hole."""
    pieces = seen.path.pieces
    top = max((hole.top for hole in holes), default=0.0)
    # 0.005 mm: travel over the stock, thinned and rounded, is no cut.
    free = pieces.low < top - 0.005
    along = np.argsort(pieces.lower[:, 0], kind="stable")
    begin = pieces.lower[along, 0]
    known: _Radii = {}
    for hole in holes:
        # 0.5 mm more than the hole's radius, from which a motion's axis stays off by the cutter's
        # radius: a bore cut too wide is still measured as one, and not reported as a stray motion.
        reach = hole.steps[0].diameter / 2.0 + 0.5
        # Only pieces that begin within reach along X (and a little more, for rounding): to measure
        # all pieces for each hole would take the square of their number.
        first, last = np.searchsorted(begin, (hole.x - reach - 1e-6, hole.x + reach + 1e-6))
        some = np.sort(along[first:last])
        some = some[free[some]]
        near = some[_reach(pieces.at(some), hole.x, hole.y) <= reach]
        free[near] = False
        _check_hole(hole, pieces.at(near), seen, known)
    stray = pieces.pick(free)
    for index in range(min(len(stray), seen.findings.keep)):
        x, y, z = (float(value) for value in stray.middle[index])
        line = int(seen.path.line[stray.owner[index]])
        seen.findings.add(
            "outside-area",
            "a motion below the stock that belongs to no hole",
            line=line,
            place=(x, y, z),
        )


def _check_hole(hole: Hole, mine: Pieces, seen: Inspection, known: _Radii) -> None:
    if not len(mine):
        seen.findings.add(
            "not-reached", f"{hole.id}: no motion cuts it", place=(hole.x, hole.y, hole.top)
        )
        return
    single = ("seat",) if hole.steps[0].spring else ("hole",)
    names = ("seat", "bore") if len(hole.steps) == 2 else single if len(hole.steps) == 1 else None
    for number in range(len(hole.steps)):
        name = names[number] if names else f"step {number + 1}"
        _check_diameter(hole, number, name, mine, seen, known)
        _check_depth(hole, number, name, mine, seen)
    if hole.breaks_through is not None and not is_open(
        seen.stock, hole.x, hole.y, hole.steps[-1].diameter / 2.0
    ):
        seen.findings.add(
            "bore-closed",
            f"{hole.id}: it is to pass through and is not open",
            place=(hole.x, hole.y, 0.0),
        )


def _check_diameter(
    hole: Hole, number: int, name: str, mine: Pieces, seen: Inspection, known: _Radii
) -> None:
    wanted, floor = hole.steps[number].diameter, hole.steps[number].floor
    above = hole.steps[number - 1].floor if number else hole.top
    radius = seen.path.cutter.radius
    # 0.01 mm: a lap on the floor of the step above belongs to that step.
    below = mine.pick(mine.low < above - 0.01)
    widest = 2.0 * (float(_reach(below, hole.x, hole.y).max()) + radius) if len(below) else 0.0
    at_floor = mine.below(floor + 0.01)
    narrowest = 2.0 * _least_radius(at_floor, hole.x, hole.y, radius, known)
    worst = widest if abs(widest - wanted) >= abs(narrowest - wanted) else narrowest
    here = (hole.x, hole.y)
    seen.measures.take(
        f"{hole.id} {name} diameter",
        worst,
        wanted,
        f"from {mm(narrowest):.3f} to {mm(widest):.3f}",
        here,
    )
    if abs(worst - wanted) > seen.allowed.holes:
        says = f"{hole.id}: the {name} is {mm(worst):.3f} wide, {mm(wanted):.3f} wanted"
        seen.findings.add("seat", says, place=(*here, floor), depth=abs(worst - wanted))


def _least_radius(pieces: Pieces, x: float, y: float, radius: float, known: _Radii) -> float:
    """Return the least distance from (x, y) to the edge of what is swept; 0 where (x, y) itself is
    not swept.

    `known` are those of the same cutter that were worked out before: a row of inserts has the same
    motions about each, to the last decimal of the text.
    """
    if not len(pieces):
        return 0.0
    # A drilled hole sweeps a disc: no line to buffer.
    if (
        len(pieces) == 1
        or np.ptp(np.vstack((pieces.lower, pieces.upper))[:, :2], axis=0).max() < 1e-9
    ):
        return max(radius - float(_reach(pieces, x, y).max()), 0.0)
    # about the hole's middle, and + 0.0 makes 0 of -0: motions that are alike are then equal
    ends = (np.round(end - (x, y, 0.0), _PLACES) + 0.0 for end in (pieces.lower, pieces.upper))
    lower, upper = ends
    key = lower[:, :2].tobytes() + upper[:, :2].tobytes()
    if key not in known:
        known[key] = _edge_from_middle(swept_area(Pieces(lower, upper, pieces.owner), radius))
    return known[key]


def _edge_from_middle(swept: BaseGeometry) -> float:
    """Return the distance from (0, 0) to the edge of an area; 0 where the area does not hold it."""
    middle = shapely.points(0.0, 0.0)
    for part in shapely.get_parts(swept):
        if isinstance(part, Polygon) and part.intersects(middle):
            return float(shapely.distance(shapely.boundary(part), middle))
    return 0.0


def _check_depth(hole: Hole, number: int, name: str, mine: Pieces, seen: Inspection) -> None:
    """Check the depth of a step: by the lowest motion for the last step, for the steps above it by
    the columns of the ring between its wall and the next step's."""
    floor = hole.steps[number].floor
    here = (hole.x, hole.y)
    if number == len(hole.steps) - 1:
        low = high = float(mine.low.min())
    else:
        outer, inner = (hole.steps[k].diameter / 2.0 for k in (number, number + 1))
        ring = _hole_mask(seen.stock, hole.x, hole.y, outer - _WALL)
        ring &= ~_hole_mask(seen.stock, hole.x, hole.y, inner + _WALL)
        heights = seen.stock.top[ring]
        if not heights.size:
            return
        low, high = float(heights.min()), float(heights.max())
    worst = low if abs(low - floor) >= abs(high - floor) else high
    seen.measures.take(
        f"{hole.id} {name} floor",
        worst,
        floor,
        f"height above the bed, {mm(hole.top - worst):.3f} deep",
        here,
    )
    if abs(worst - floor) > seen.allowed.heights:
        says = f"{hole.id}: the {name} ends at {mm(worst):.3f}, {mm(floor):.3f} wanted"
        line = seen.path.line_near(*here)
        seen.findings.add("seat", says, line=line, place=(*here, worst), depth=abs(worst - floor))
