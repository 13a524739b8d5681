"""Corner relief: corners and arms that one lap cannot take are cleared by short arcs, each a
bounded step beyond the one before.

All shapes are places of the cutter's *middle*, mm, bed frame. `inside` is where it may stand
without cutting (all cleared), `target` what it must reach next. A lap along the edge of the target
would meet more than its share wherever that edge lies farther than a stepover from `inside`: at
inward corners and where arms meet. There the cleared part is grown by less than a stepover at a
time, its corners kept round, and the edge of each growth that lies in the open makes one arc. The
round edge keeps the engagement low: on a path of radius R round a cleared disc the width of cut by
area is s(R + r − s/2)/R, more than the step s itself, so a step is `SHARE` of the stepover.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from corepath.geometry.polygons import grow, opening, polygons
from corepath.geometry.polylines import Floats, along, place_at, stretch

__all__ = [
    "SHARE",
    "CornerRelief",
    "NextLap",
    "Zone",
    "corner_reliefs",
    "far_parts",
    "zone_of",
]

SHARE = 0.75
"""Step from arc to arc as a share of the stepover: an arc is a curve, which raises its width of
cut."""
ALLOWED = 1.1
"""Width that a lap may meet, as a share of the stepover, before arcs are put in."""
_TIP = 0.55
"""Share of the stepover that arcs leave in the tip of a corner: a lap that turns there meets wood
ahead and beside."""
# An end to the loop: a part that needs more gets a ramp of its own.
_MOST_ARCS = 80
_NOTHING = 0.01  # of a stepover squared: smaller areas are not worth an arc
_EDGE = 0.02  # mm: nearer to the target's edge than this an arc has arrived


@dataclass(frozen=True, slots=True)
class NextLap:
    """From where the next lap starts and where it goes, as places of the middle: what is cleared is
    `inside`, what must be reached `target`; `stepover` and the cutter's `radius`, mm."""

    inside: BaseGeometry
    target: BaseGeometry
    stepover: float
    radius: float


@dataclass(frozen=True, slots=True)
class Zone:
    """Arcs in the order of cutting, (n, 2) each, mm, and the places of the middle that are cleared
    after them."""

    arcs: tuple[Floats, ...]
    cleared: BaseGeometry


@dataclass(frozen=True, slots=True)
class CornerRelief:
    """A path that leaves a lap `at` mm along it and comes back there: (n, 2) points, first and last
    on the lap.

    It first goes `back` (mm) along what the lap has just cut.
    """

    at: float
    back: float
    path: Floats


def far_parts(inside: BaseGeometry, target: BaseGeometry, stepover: float) -> list[Polygon]:
    """Parts of the target, as polygons, that lie farther from `inside` than a lap may reach, mm."""
    beyond = target.difference(grow(inside, ALLOWED * stepover))
    return [part for part in polygons(beyond) if part.area > _NOTHING * stepover**2]


def zone_of(part: Polygon, lap: NextLap) -> Zone | None:
    """Arcs that clear `part` from what is cleared; None where one arc after the other cannot do
    it."""
    stepover, radius = lap.stepover, lap.radius
    reach = part.buffer(3.0 * stepover)
    # Offsets of a whole groove cost far more than those of a corner; what lies farther off cannot
    # matter.
    window = part.envelope.buffer(6.0 * stepover + 2.0 * radius)
    front, goal = lap.inside.intersection(window), lap.target.intersection(window)
    # Stretches of a growth along the target's edge are left to the lap that follows, so they make
    # no arc.
    edge = goal.boundary.buffer(_EDGE)
    arcs: list[Floats] = []
    for _ in range(_MOST_ARCS):
        # Near enough: the next lap may take what is left.
        if part.difference(grow(front, _TIP * stepover)).area < _NOTHING * stepover**2:
            return Zone(tuple(arcs), front)
        # One step ahead of what is cleared, as far as the target goes.
        ahead = grow(front, SHARE * stepover).intersection(goal)
        grown = _rounded(ahead, front, radius)
        if grown is None:
            return None
        lines = (
            grown.boundary.difference(edge)
            .difference(front.boundary.buffer(_EDGE))
            .intersection(reach)
        )
        found = [line for line in _lines(lines) if line.length > 0.3 * stepover]
        if (
            not found
            # No arc in the open any more, yet the tip is not as near as wished: enough if a lap may
            # take it.
            and part.difference(grow(front, ALLOWED * stepover)).area < _NOTHING * stepover**2
        ):
            return Zone(tuple(arcs), front)
        # Two fronts, or none: they cannot be cut one after the other from one lap.
        if len(found) != 1:
            return None
        arcs.append(_directed(np.asarray(found[0].coords)[:, :2], grown))
        front = grown
    return None


def _rounded(ahead: BaseGeometry, front: BaseGeometry, radius: float) -> BaseGeometry | None:
    """`ahead` with its corners as round as it can be while the front still gains most of what it
    could."""
    gain = ahead.difference(front).area
    # mm²: nothing to gain, the target ends here.
    if gain < 1e-6:
        return None
    # The rounder the front, the lower the engagement; but rounded too much it stays behind in a
    # narrow corner and the arcs never arrive.
    for round_by in (2.0 * radius, radius, 0.5 * radius, 0.25 * radius):
        grown = shapely.union(opening(ahead, round_by), front)
        if grown.difference(front).area > 0.5 * gain:
            return grown
    # Nearly sharp: the front must go on, at whatever engagement, and only slivers are taken off.
    return shapely.union(opening(ahead, 0.05 * radius), front)


def _lines(shape: BaseGeometry) -> list[LineString]:
    merged = shapely.line_merge(shapely.unary_union(shape)) if not shape.is_empty else shape
    lines = [part for part in shapely.get_parts(merged) if isinstance(part, LineString)]
    # Longest first, in an order that does not depend on that of the pieces.
    return sorted(
        lines,
        key=lambda line: (
            -round(line.length, 4),
            round(line.bounds[0], 4),
            round(line.bounds[1], 4),
        ),
    )


def _directed(points: Floats, cleared: BaseGeometry) -> Floats:
    """The arc turned so that what is cleared lies on its left."""
    stations = along(points)
    # Two places about the middle of the arc: its ends may touch walls, where either side can be
    # outside.
    here, there = place_at(points, stations, stations[-1] * np.array([0.499, 0.501]))
    way = (there - here) / max(float(np.hypot(*(there - here))), 1e-12)
    left = (here + there) / 2 + 0.05 * np.array([-way[1], way[0]])
    return points if shapely.intersects_xy(cleared, *left.tolist()) else points[::-1].copy()


def corner_reliefs(
    lap: Floats, parts: Sequence[Polygon], following: NextLap, room: Polygon
) -> tuple[list[CornerRelief], list[Polygon]]:
    """Return detours from `lap` ((n, 2), closed, along the edge of what is cleared) that clear
    `parts`, which the lap `following` it could not take; and the parts that no relief can clear,
    which must be entered by ramps of their own.

    `room` is where the middle may be at all.
    """
    found: list[CornerRelief] = []
    rest: list[Polygon] = []
    for part in parts:
        zone = zone_of(part, following)
        relief = (
            _spliced(lap, zone, following.stepover, room)
            if zone is not None and zone.arcs
            else None
        )
        if relief is None:
            rest.append(part)
        else:
            found.append(relief)
    return found, rest


def _spliced(lap: Floats, zone: Zone, stepover: float, room: Polygon) -> CornerRelief | None:
    """The path from the lap through all arcs of a zone and back to the lap; None where it would
    leave the room."""
    curve = LineString(lap)
    length = curve.length
    start, end = (curve.line_locate_point(Point(zone.arcs[0][k])) for k in (0, -1))
    # The way along the lap from the first arc's start to its end must be the shorter one; otherwise
    # the arc runs against the lap.
    turned = (end - start) % length > (start - end) % length
    arcs = [arc[::-1] if turned else arc for arc in zone.arcs]
    # Leave the lap beyond the last arc and go back to two stepovers before the first, all along
    # what is cleared.
    begin = ((end if turned else start) - 2.0 * stepover) % length
    leave = max((curve.line_locate_point(Point(arc[-1])) - begin) % length for arc in arcs)
    # Not back over more than half a lap: such a part gets a ramp of its own.
    if leave > 0.5 * length:
        return None
    back = stretch(lap, begin, leave)[::-1]
    path: list[Floats] = [back]
    # 0.002 mm: round joins of offsets are polygons that near (error budget).
    free = zone.cleared.intersection(room).buffer(0.002)
    for before, arc in zip((None, *arcs[:-1]), arcs, strict=True):
        if before is not None:
            path.append(_chord_or_back(before, free))
        path.append(arc)
    home = np.array([arcs[-1][-1], back[0]])
    points = np.concatenate(list(_trimmed([*path, home])))
    return (
        CornerRelief((begin + leave) % length, leave, points)
        # 0.002 mm, as above.
        if room.buffer(0.002).covers(LineString(points))
        else None
    )


def _chord_or_back(arc: Floats, free: BaseGeometry) -> Floats:
    """From the end of an arc to its start: straight where all on the way is cleared, otherwise back
    along the arc."""
    chord = arc[[-1, 0]]
    return chord if free.covers(LineString(chord)) else arc[::-1]


def _trimmed(path: list[Floats]) -> Iterator[Floats]:
    """Pieces without the points that repeat the end of the one before."""
    last: Floats | None = None
    for piece in path:
        # 1e-9 mm: the same place, worked out twice.
        yield piece[1:] if last is not None and np.allclose(piece[0], last, atol=1e-9) else piece
        last = piece[-1]
