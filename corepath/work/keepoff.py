"""Where the cutter's axis may go beside obstacles, and what they keep it from cutting. No path
here.

*Zone*: an obstacle grown by the cutter's radius and `CLEARANCE`, wherever the tip comes lower than
its top plus `CLEARANCE`; where even the collet (the widest part that turns, from the cutter's
stick-out upwards) comes as low, grown by the collet's radius instead. *Room*: where the axis may
go: the blank with a strip round it in which to stand beside the wood, or the inside of a frame less
the cutter's radius; in both cases without the zones. *Flat*: the flat part of the cutter's end, by
which what is cut to full depth reaches beyond its axis. *Opened*: where a wider cutter has left no
more than a layer; in the corners between clamps and a frame there stands more. Bed frame of the
set-up, mm.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from corepath.geometry.morphology import dilated, eroded, widened
from corepath.geometry.polygons import Rings, rings_of
from corepath.motion.cutter import Cutter
from corepath.motion.cutter_profile import contact_reach, footprint
from corepath.motion.feeds.chips import effective_diameter
from corepath.reported import Key, report_keys
from corepath.work.works import Deck, Obstacle, Work

__all__ = [
    "BESIDE",
    "CLEARANCE",
    "Area",
    "Uncut",
    "field_of",
    "frame_of",
    "opened_by",
    "park_clear",
    "room_of",
    "spared",
    "stand_off",
    "uncut",
    "zone",
    "zone_of",
]

CLEARANCE = 0.5
"""mm between cutter or collet and an obstacle, sideways and above: clamps are placed by hand
(common practice, no source)."""

BESIDE = 2.0
"""mm beyond touching the blank's edge that the cutter may stand beside it."""

_HAND = 30.0
"""mm beside what turns for the hand that changes the cutter (common practice, no source)."""

_SPECK = 0.01  # mm²: smaller pieces come from rounding
# Segments of a quarter turn of zones: at a radius of 20 mm chords are 0.02 mm inside the circle,
# little beside CLEARANCE.
_QUADS = 16
# mm; regions that share an edge must overlap by a hair before they are intersected.
_TOUCH = 1e-6
_PROPPED = 1.0  # mm between the nodes asked whether a slope beside them holds the cutter up

Area: TypeAlias = Polygon | MultiPolygon


@report_keys(
    Key("beside", "names"), Key("area", "area.area", 2), "sawn_off", Key("outer", "rings.outer", 3),
    Key("holes", "rings.holes", 3),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Uncut:
    """One piece that an operation does not reach: its area and the names of what keeps the cutter
    off.

    `sawn_off`: all of these say that it is sawn off before the next set-up.
    """

    area: Polygon
    names: tuple[str, ...]
    sawn_off: bool

    @property
    def rings(self) -> Rings:
        """Its rings in the bed frame of the set-up, thinned within 0.002 mm."""
        return rings_of(self.area, 0.002)


def zone(
    obstacle: Obstacle, cutter: Cutter, collet: float, lowest: Callable[[Polygon], float]
) -> Polygon | None:
    """The keep-off zone of one obstacle, or None where the path passes above it.

    `lowest` gives the lowest height of the tip over an area, `collet` is a diameter; mm.
    """
    top = obstacle.height + CLEARANCE
    wide = _grown(obstacle.area, collet / 2.0)
    # The collet matters only where it is wider than the cutter; then its zone holds the cutter's.
    if collet > 2.0 * cutter.radius and lowest(wide) + cutter.stick_out < top:
        return wide
    near = _grown(obstacle.area, cutter.radius)
    return near if lowest(near) < top else None


def _grown(area: Polygon, radius: float) -> Polygon:
    grown: Polygon = area.buffer(radius + CLEARANCE, quad_segs=_QUADS)
    return grown


def zone_of(work: Work, plane: float | None = None) -> Area | None:
    """All zones of a work that planes to `plane` (by default its lowest) or surfaces the deck; None
    if there are none."""
    zones = [found for _, found in _zones(work, plane)]
    return _area(shapely.union_all(zones)) if zones else None


def park_clear(
    obstacles: Sequence[Obstacle], half_length: float, half_width: float, collet: float
) -> tuple[float, float]:
    """The place (x, y) where the cutter is changed: the corner of the blank at the back left, or
    the first of the others that is clear.

    Clear is `_HAND` mm beside what turns; where no corner is, the one with the most room.
    """
    corners = [
        (-half_length, half_width),
        (half_length, half_width),
        (-half_length, -half_width),
        (half_length, -half_width),
    ]
    rooms = [
        min(
            (shapely.Point(corner).distance(obstacle.area) for obstacle in obstacles),
            default=math.inf,
        )
        - collet / 2.0
        for corner in corners
    ]
    clear = [corner for corner, room in zip(corners, rooms, strict=True) if room >= _HAND]
    return clear[0] if clear else corners[rooms.index(max(rooms))]


def _zones(work: Work, plane: float | None) -> list[tuple[Obstacle, Polygon]]:
    deck = work.deck
    if deck is None:
        # Facing: one level everywhere. Over a deck the tip comes as low as the surface does there.
        level = work.lowest if plane is None else plane

        def lowest(area: Polygon) -> float:
            return level
    else:
        finished = deck

        def lowest(area: Polygon) -> float:
            return _lowest_node(finished.surface, area.bounds) + finished.rough

    found = [
        (obstacle, zone(obstacle, work.cutter, work.collet, lowest)) for obstacle in work.obstacles
    ]
    field = field_of(work)
    return [
        (obstacle, area) for obstacle, area in found if area is not None and area.intersects(field)
    ]


def _lowest_node(surface: Any, bounds: tuple[float, float, float, float]) -> float:
    """The lowest of the surface's nodes in and next to `bounds`, mm, and its edge height if they
    reach beyond the nodes."""
    left, low, right, high = bounds
    xs, ys = np.asarray(surface.xs), np.asarray(surface.ys)
    step = float(xs[1] - xs[0])
    columns = (xs >= left - step) & (xs <= right + step)
    rows = (ys >= low - step) & (ys <= high + step)
    beyond = left < xs[0] or right > xs[-1] or low < ys[0] or high > ys[-1]
    part = np.asarray(surface.grid)[np.ix_(columns, rows)]
    return min(
        float(part.min(initial=np.inf)), float(surface.edge) if beyond or part.size == 0 else np.inf
    )


def field_of(work: Work) -> Polygon:
    """Where the axis may go if nothing stands on the bed: to `BESIDE` beyond the blank's edges, or
    inside the frame."""
    deck = work.deck
    if deck is not None and deck.framed:
        return _boxed(deck.area, -work.cutter.radius)
    return _boxed(work.blank, stand_off(work))


def stand_off(work: Work) -> float:
    """Return how far beyond the blank's edge the cutter's axis stands beside the wood, mm."""
    # Less 0.001 mm: the room that travel is checked for is BESIDE, and a path that stands out must
    # lie within it, whatever its rounding.
    return work.cutter.radius + BESIDE - 1e-3


def _boxed(area: Polygon, by: float) -> Polygon:
    grown: Polygon = area.buffer(by, join_style="mitre")
    return grown


def room_of(work: Work, plane: float | None = None) -> Area | None:
    """Where the axis may go; None where neither obstacle nor frame restricts it, empty where
    nothing is left."""
    zones, deck = zone_of(work, plane), work.deck
    room: BaseGeometry = field_of(work)
    if deck is not None and deck.opened is not None:
        room = room.intersection(
            deck.opened.buffer(_TOUCH - work.cutter.radius, quad_segs=4 * _QUADS)
        )
    elif zones is None and not (deck is not None and deck.framed):
        return None
    return _area(room if zones is None else room.difference(zones)) or Polygon()


def opened_by(work: Work, above: float) -> Area | None:
    """The area that a work cuts to within `above` mm of the heights of its tip; None where nothing
    keeps it off."""
    room = room_of(work)
    return (
        None
        if room is None
        else _area(room.buffer(effective_diameter(work.cutter, above) / 2.0, quad_segs=_QUADS))
    )


def spared(work: Work, core: Polygon | None = None) -> Work:
    """The work with the area that it does not reach, and what of that is sawn off, set in its
    facing or deck.

    `core` is the board with its casting; what lies outside it in C is waste.
    """
    if work.facing is None and work.deck is None:
        return work
    room = room_of(work)
    if room is None:
        return work
    cutter = work.cutter
    flat = cutter.flat_radius
    reached = room.buffer(flat, quad_segs=4 * _QUADS) if flat > 0.0 else room
    asked = work.blank
    if work.deck is not None:
        asked = work.deck.asked if work.deck.rough <= 0.0 else work.deck.area
    spare = _area(asked.difference(reached))
    if work.deck is not None:
        # A flat end touches a slope beside its axis: ground can be out of reach although the axis
        # has room above it.
        beyond = _tilted(work.deck, cutter, room)
        # What roughing misses there is left to the finishing cutter.
        if work.deck.rough <= 0.0:
            beyond += _propped(work.deck, cutter, room, core)
        return replace(
            work, deck=replace(work.deck, spare=_area(_union([spare, *beyond]).intersection(asked)))
        )
    assert work.facing is not None
    facing = replace(work.facing, spare=spare)
    told = replace(work, facing=facing)
    sawn = [piece.area for piece in uncut(told) if piece.sawn_off and work.name == "skim"]
    return (
        replace(told, facing=replace(facing, sawn=_area(shapely.union_all(sawn)))) if sawn else told
    )


def _tilted(deck: Deck, cutter: Cutter, room: Area) -> list[BaseGeometry]:
    """Squares about the nodes of sloping ground that the cutter could touch only from outside the
    room.

    Ground with the gradient g is touched by the cutter whose axis stands flat·g/|g| +
    corner·g/sqrt(1 + g²) down the slope from it. Ground so level that a whole width of the cutter
    leaves less than half a ridge there counts as level.
    """
    surface: Any = deck.surface
    xs, ys = np.asarray(surface.xs), np.asarray(surface.ys)
    step = float(xs[1] - xs[0])
    hx, hy = np.gradient(np.asarray(surface.grid, dtype=np.float64), step)
    slope = np.hypot(hx, hy)
    reach = contact_reach(slope, cutter.profile)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    # Over its diameter level ground rises less than half a ridge.
    steep = slope * cutter.diameter > 0.5 * deck.scallop
    near = steep & shapely.contains_xy(deck.asked.buffer(step), x, y)
    x, y = x[near], y[near]
    beyond = ~shapely.contains_xy(room.buffer(1e-6), x - (reach * hx)[near], y - (reach * hy)[near])
    return _squares(x[beyond], y[beyond], step)


def _propped(deck: Deck, cutter: Cutter, room: Area, core: Polygon | None) -> list[BaseGeometry]:
    """Squares about the nodes beside the room over which a slope within the cutter's width holds
    its end too high.

    The least that can be left over a node is a dilation of the ground by the cutter's shape, then
    an erosion from the axis places of the room alone (mathematical morphology). On the nodes alone
    it is accurate to what the ground rises from one to the next: in the waste outside `core` a
    doubtful node is spared, in the core only a sure one.
    """
    surface: Any = deck.surface
    step = float(surface.xs[1] - surface.xs[0])
    every = max(1, round(_PROPPED / step))
    xs, ys, cell = np.asarray(surface.xs)[::every], np.asarray(surface.ys)[::every], every * step
    field = deck.asked.buffer(cutter.radius)
    end = footprint(cutter.profile, cell)
    squares: list[BaseGeometry] = []
    for part in shapely.get_parts(field.difference(room)):
        left, low, right, high = part.buffer(4.0 * cutter.radius).bounds
        columns, rows = (
            np.flatnonzero((xs >= left) & (xs <= right)),
            np.flatnonzero((ys >= low) & (ys <= high)),
        )
        if len(columns) < 2 or len(rows) < 2:
            continue
        ground = np.asarray(surface.grid, dtype=np.float64)[::every, ::every][np.ix_(columns, rows)]
        # Level ground holds up nothing, and most of the ground beside clamps is level.
        if np.ptp(ground) < 0.1 * deck.scallop:
            continue
        x, y = np.meshgrid(xs[columns], ys[rows], indexing="ij")
        tips = dilated(ground, end)
        # Places where the axis may not go: so high that the erosion never takes them.
        tips[~shapely.contains_xy(room.buffer(1e-6), x, y)] = deck.top + 100.0
        over = eroded(tips, end) - ground
        slope = widened(np.hypot(*np.gradient(ground, cell)), len(end) // 2)
        waste = (
            np.zeros_like(x, dtype=np.bool_) if core is None else ~shapely.contains_xy(core, x, y)
        )
        near = shapely.contains_xy(part.buffer(2.0 * cutter.radius), x, y)
        sure = near & ~waste & (over > deck.scallop + slope * cell)
        doubtful = near & waste & (over > 0.3 * deck.scallop)
        squares += _squares(x[sure], y[sure], cell)
        loose = _union(_squares(x[doubtful], y[doubtful], cell))
        squares.append(loose if core is None else loose.difference(core))
    return squares


def _squares(x: Any, y: Any, size: float) -> list[BaseGeometry]:
    """Squares about places (n,) that overlap where these are `size` mm apart."""
    half = 0.75 * size
    return [shapely.box(a - half, b - half, a + half, b + half) for a, b in zip(x, y, strict=True)]


def _union(areas: Sequence[BaseGeometry | None]) -> BaseGeometry:
    found: BaseGeometry = shapely.union_all([area for area in areas if area is not None])
    return found


def uncut(work: Work) -> tuple[Uncut, ...]:
    """The pieces that the work does not reach, in order of X and Y."""
    spare = _spare(work)
    if spare is None:
        return ()
    zones = _zones(work, None)
    found = []
    for piece in _ordered(spare):
        # A slope is finished from beside it, so what keeps the cutter off may be a width away.
        reach = 2.0 * work.cutter.radius if work.deck is not None else 0.0
        near = [obstacle for obstacle, area in zones if area.distance(piece) <= reach]
        names = tuple(dict.fromkeys(obstacle.name for obstacle in near)) or ("the frame",)
        found.append(
            Uncut(piece, names, bool(near) and all(obstacle.sawn_off for obstacle in near))
        )
    return tuple(found)


def _spare(work: Work) -> Area | None:
    if work.deck is not None:
        return work.deck.spare
    return work.facing.spare if work.facing is not None else None


def _ordered(area: Area) -> Sequence[Polygon]:
    parts = [part for part in shapely.get_parts(area) if isinstance(part, Polygon)]
    return sorted(parts, key=lambda part: (round(part.bounds[0], 3), round(part.bounds[1], 3)))


def _area(found: BaseGeometry) -> Area | None:
    """The polygons of a shape without specks; None if nothing is left."""
    parts = [
        part
        for part in shapely.get_parts(found)
        if isinstance(part, Polygon) and part.area > _SPECK
    ]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def frame_of(deck: Deck, blank: Polygon) -> Area | None:
    """The frame that is left at full height around the deck; None without one."""
    return _area(blank.difference(deck.area)) if deck.framed else None
