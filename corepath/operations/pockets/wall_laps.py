"""Finishing laps: once along each wall, with an arc in and an arc out tangent to it, and a few mm
of overlap.

Lengths in mm, bed frame; places are those of the cutter's middle. The lap meets only what clearing
has left on the wall, so it may run at full depth where the cutting edges are long enough.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from corepath.geometry.polylines import Floats, along, stretch

__all__ = ["OVERLAP", "WallLap", "wall_laps"]

OVERLAP = 3.0
"""mm that a finishing lap continues beyond where it began, so that no mark stays (common practice,
no source)."""
_RADII = (1.0, 0.7, 0.5, 0.35, 0.2)
"""Radii of the arcs in and out as shares of the cutter's radius; the largest that fits is used."""
# Places along a wall at which an arc of one radius is tried.
_TRIES = 32
# Segments of an arc in or out; arcs are fitted to them afterwards.
_SEGMENTS = 48


@dataclass(frozen=True, slots=True)
class WallLap:
    """The way in, once round and out again, (n, 2); `tangent` tells whether it comes and goes by
    arcs."""

    points: Floats
    tangent: bool


def wall_laps(
    centre: Polygon,
    cleared: Polygon,
    radius: float,
    here: tuple[float, float],
    *,
    conventional: bool,
) -> list[WallLap]:
    """One lap for each wall of the centre region, the outer one first, each begun near where the
    last one ended.

    `cleared` is the part of the centre region where the cutter meets nothing any more, `here` where
    it stands, `radius` its radius, mm.
    """
    laps: list[WallLap] = []
    for k, ring in enumerate((centre.exterior, *centre.interiors)):
        points = np.asarray(ring.coords)[:, :2]
        if (ring.is_ccw == (k > 0)) != conventional:
            points = points[::-1].copy()
        lap = _lap(points, centre, cleared, radius, here, -1.0 if conventional else 1.0)
        laps.append(lap)
        here = (float(lap.points[-1, 0]), float(lap.points[-1, 1]))
    return laps


def _lap(
    ring: Floats,
    centre: Polygon,
    cleared: Polygon,
    radius: float,
    here: tuple[float, float],
    side: float,
) -> WallLap:
    length = float(along(ring)[-1])
    near = LineString(ring).line_locate_point(Point(here))
    overlap = min(OVERLAP, 0.25 * length)
    # 0.002 mm: round joins of offsets are polygons that near (error budget).
    room = centre.buffer(0.002)
    shapely.prepare(room)
    for share in _RADII:
        for k in range(_TRIES):
            # Places ever farther away on both sides of the nearest one: 0, 1, −1, 2, −2 …
            begin = near + (k + 1) // 2 * (-1) ** k * length / _TRIES
            body = stretch(ring, begin, length + overlap)
            way_in = _arc(body[0], body[1] - body[0], share * radius, side, -1.0)
            way_out = _arc(body[-1], body[-1] - body[-2], share * radius, side, 1.0)
            # The arcs must begin and end where nothing is left to cut, and stay in the centre
            # region all the way.
            ends = shapely.points([way_in[0], way_out[-1]])
            if all(shapely.covers(cleared, ends)) and all(
                shapely.covers(room, [*map(LineString, (way_in, way_out))])
            ):
                return WallLap(np.concatenate([way_in[:-1], body, way_out[1:]]), True)
    # No arc fits anywhere, as in a slot barely wider than the cutter: straight onto the wall.
    return WallLap(stretch(ring, near, length + overlap), False)


def _arc(touch: Floats, ahead: Floats, radius: float, side: float, way: float) -> Floats:
    """Quarter circle on the left (`side` 1) or right (-1), which ends (`way` -1) or begins (1) at
    `touch`."""
    ahead = ahead / math.hypot(*ahead)
    inward = side * np.array([-ahead[1], ahead[0]])
    angle = np.linspace(0.0, math.pi / 2, _SEGMENTS + 1)
    points = touch + radius * (
        (1.0 - np.cos(angle))[:, None] * inward + way * np.sin(angle)[:, None] * ahead
    )
    return points[::-1] if way < 0 else points
