"""Crossings from one lap to the next at one height, tangent to both where there is room, without
lifting.

Lengths in mm, bed frame; laps are closed (n, 2) polylines that start where the cutter is or is to
begin. Laps of the same sense are joined by changing gradually from one to the other along both:
with w = 3u² − 2u³ (smoothstep) the crossing is A(u) + w (B(u) − A(u)), so the width of cut grows
from nothing. Before a lap of the other sense the cutter makes a half circle in what is cleared.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from corepath.geometry.polylines import Floats, along, place_at, stretch

__all__ = ["blended", "heading", "turn_round"]

_SHARES = (4.0, 2.5, 1.5)
"""Lengths of a crossing as multiples of the distance between the laps, the gentlest first."""
# Segments of a crossing, and below of a half circle; arcs are fitted to them afterwards.
_SAMPLES = 48
_HALF = 96


def heading(lap: Floats) -> Floats:
    """Unit direction (2,) in which a lap begins."""
    stations = along(lap)
    # Over 0.05 mm, since the first segment may be of no length; less on a tiny lap.
    step = place_at(lap, stations, np.array([min(0.05, stations[-1] / 8)]))[0] - lap[0]
    return np.asarray(step / max(math.hypot(*step), 1e-12))


def blended(before: Floats, after: Floats, room: Polygon) -> tuple[Floats, Floats] | None:
    """The crossing (m, 2) from the start of the lap `before` to the lap `after`, and `after`
    (closed) from where it arrives.

    `before` is a closed lap from where the cutter is, `after` any closed one; `room` is where the
    middle may be. None where the laps run against each other, or where the crossing would leave the
    room.
    """
    curve = LineString(after)
    first, second = float(along(before)[-1]), curve.length
    gap = curve.distance(Point(before[0]))
    for share in _SHARES:
        # At most 0.3 of a small lap, where the multiples of a wide gap would lead round too much of
        # it.
        way = min(share * gap, 0.3 * first)
        if way < 1e-3:
            return None
        old = stretch(before, 0.0, way)
        ends = [curve.line_locate_point(Point(old[k])) for k in (0, -1)]
        gone = (ends[1] - ends[0]) % second
        # The second lap must advance about as far as the first. Much more (nearly a whole lap)
        # means it runs the other way, much less that it turns a corner here.
        if not 0.2 * way < gone < min(4.0 * way + gap, 0.6 * second):
            continue
        u = np.linspace(0.0, 1.0, _SAMPLES + 1)
        new = stretch(after, ends[0], gone)
        here, there = (
            place_at(old, along(old), u * along(old)[-1]),
            place_at(new, along(new), u * along(new)[-1]),
        )
        path = here + (u * u * (3.0 - 2.0 * u))[:, None] * (there - here)
        if shapely.covers(room, LineString(path)):
            lap = stretch(after, ends[1], second)
            lap[0] = lap[-1] = path[-1]
            return path, lap
    return None


def turn_round(before: Floats, other: Floats, room: Polygon) -> tuple[Floats, Floats] | None:
    """A half circle (m, 2) from the start of `before` to the closed polyline `other`, which runs
    the other way, and `other` from where it arrives.

    None where there is no `room` or the two do not lie side by side.
    """
    curve = LineString(other)
    place = curve.line_locate_point(Point(before[0]))
    lap = stretch(other, place, curve.length)
    away = lap[0] - before[0]
    width = math.hypot(*away)
    ahead = heading(before)
    # Too near for a circle, not opposite (within 26°), or not square across (within 17°): the half
    # circle would meet one of them at an angle.
    if width < 0.1 or float(ahead @ heading(lap)) > -0.9 or abs(float(ahead @ away)) > 0.3 * width:
        return None
    side = away / width
    # Square to the line between both ends, so that the half circle ends exactly on the other lap.
    ahead = ahead - float(ahead @ side) * side
    ahead /= math.hypot(*ahead)
    angle = np.linspace(0.0, math.pi, _HALF + 1)
    middle = (before[0] + lap[0]) / 2
    path = middle + width / 2 * (np.sin(angle)[:, None] * ahead - np.cos(angle)[:, None] * side)
    # Exactly the ends, which the sines miss by a rounding error.
    path[0], path[-1] = before[0], lap[0]
    return (path, lap) if shapely.covers(room, LineString(path)) else None
