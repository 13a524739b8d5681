"""Least times of closed areas for `corepath.work.least_time.minutes`: laps along their walls,
layers, and ramps down.

The *edge* is that of the places where the cutter's middle may stand. Lengths in mm, times in
seconds, feeds in mm/min, acceleration in mm/s². Formulas are derived in
`corepath.work.least_time.minutes`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from corepath.geometry.polylines import places_along
from corepath.motion.cutter import Cutter, Cutting

__all__ = [
    "ContourPass", "disc", "edges", "layer_count", "layer_seconds", "ramp_seconds", "ramp_slope",
]  # fmt: skip

Floats = NDArray[np.float64]

_THIN = 0.003  # mm: what paths may be thinned by
_SPACING = 1.0  # mm: turns are measured over pieces of this length
_LEAST_PITCH = 0.05  # mm a turn, also where the ramp angle allows less


@dataclass(frozen=True, slots=True)
class ContourPass:
    """All edges of one closed area: pieces of length `lengths` (n,) mm that turn by `turns` (n,)
    rad.

    `area` is what must be cleared (mm²), `entry` the length of the entry laps of its `pieces`,
    `within` the radius (mm) of a circle that holds every place of the middle, `turn` the length of
    one turn on the way down.
    """

    lengths: Floats
    turns: Floats
    area: float
    entry: float
    within: float
    turn: float
    pieces: int = 1

    @property
    def length(self) -> float:
        return float(self.lengths.sum())

    def slowest(self, way: float, layers: int, feed: float, accel: float) -> float:
        """Seconds of the slowest `way` mm of a path along all edges in each of `layers`: the most
        that is saved where a way down of that length serves as part of it."""
        times = np.maximum(self.lengths / (feed / 60.0), np.sqrt(self.turns * self.lengths / accel))
        order = np.argsort(-times / np.maximum(self.lengths, 1e-12), kind="stable")
        gone = layers * np.append(0.0, np.cumsum(self.lengths[order]))
        spent = layers * np.append(0.0, np.cumsum(times[order]))
        along = float(np.interp(way, gone, spent))
        # Off the edges a path may be slower where it has to turn within little room.
        off = way / _speed(self, feed, accel)
        return max(along, off)

    def seconds(self, feed: float, accel: float) -> float:
        """Seconds along all edges once, at the feed (mm/min) or sqrt(a r), whichever is less."""
        return float(
            np.maximum(
                self.lengths / (feed / 60.0), np.sqrt(self.turns * self.lengths / accel)
            ).sum()
        )


def disc(rho: float, radius: float, *, within: float | None = None) -> ContourPass:
    """The lap of a round hole whose middle circles at `rho` mm, by a cutter of `radius` mm that
    stays `within` (default `rho`) of the centre."""
    length = math.tau * rho
    area = math.pi * (rho + radius) ** 2
    return ContourPass(
        np.array([length]),
        np.array([math.tau]),
        area,
        length,
        rho if within is None else within,
        length,
    )


def edges(
    centre: BaseGeometry,
    radius: float,
    cleared: Polygon | MultiPolygon | None = None,
    wide: BaseGeometry | None = None,
    share: float = 0.5,
) -> ContourPass:
    """The edges of `centre`, the places of the middle of a cutter of `radius` mm, without those
    beside what stands `cleared`.

    Outside of `wide`, where given, edges count by `share`: there one path may serve both walls.
    """
    shape = shapely.simplify(centre, _THIN)
    if wide is not None:
        shapely.prepare(wide)
    parts = [part for part in shapely.get_parts(shape) if not part.is_empty]
    reach = shapely.buffer(shape, radius, quad_segs=32)
    # Places where the cutter would only meet what is cleared; 0.01 mm more, so that edges along it
    # count as inside.
    inside = None if cleared is None else shapely.buffer(cleared, 0.01 - radius)
    lengths, turns, entry = [np.empty(0)], [np.empty(0)], 0.0
    for part in parts:
        rings = [part.exterior, *part.interiors]
        entry += max(ring.length for ring in rings)
        for ring in rings:
            piece, turn, middle = _turning(ring)
            keep = (
                np.ones(len(piece), dtype=bool)
                if inside is None
                else ~shapely.contains_xy(inside, middle)
            )
            part_of = (
                1.0
                if wide is None
                else np.where(shapely.contains_xy(wide, middle), 1.0, share)[keep]
            )
            lengths.append(piece[keep] * part_of)
            turns.append(turn[keep] * part_of)
    area = float(reach.area if cleared is None else reach.difference(cleared).area)
    within = float(shapely.minimum_bounding_radius(shape)) if parts else 0.0
    return ContourPass(
        np.concatenate(lengths), np.concatenate(turns), area, entry, within, entry, len(parts)
    )


def _turning(ring: shapely.LinearRing) -> tuple[Floats, Floats, Floats]:
    """A ring in even pieces: their lengths (n,), by how much each turns (n,) rad, and their middles
    (n, 2)."""
    # At least 64 pieces, so that a small ring still has even turns.
    count = max(64, math.ceil(ring.length / _SPACING))
    apart = ring.length / count
    places = places_along(shapely.get_coordinates(ring), apart * np.arange(count))
    ahead = np.roll(places, -1, axis=0) - places
    heading = np.arctan2(ahead[:, 1], ahead[:, 0])
    # Wrapped to ±pi: headings jump by a full turn once round the ring.
    turn = np.abs((np.diff(heading, prepend=heading[-1:]) + math.pi) % math.tau - math.pi)
    return np.full(count, apart), turn, places


def layer_count(depth: float, height: float) -> int:
    """Least number of layers of at most `depth` mm that `height` mm takes; at least 1."""
    # Never a layer more than the path has, or the bound would be none.
    return max(1, math.ceil(height / depth - 1e-6))


def layer_seconds(
    lap: ContourPass, diameter: float, stepover: float, feed: float, accel: float
) -> float:
    """Seconds of one layer: along all walls, and on until the area is cleared."""
    left = lap.area - lap.pieces * math.pi * diameter**2 / 4.0 - diameter * lap.entry
    way = lap.entry + left / stepover if left > 0.0 else 0.0
    return lap.seconds(feed, accel) + max(way - lap.length, 0.0) / _speed(lap, feed, accel)


def ramp_seconds(
    lap: ContourPass,
    cutter: Cutter,
    cutting: Cutting,
    height: float,
    accel: float,
    *,
    share: float = 1.0,
) -> float:
    """Seconds down by `height` mm into solid wood, at the ramp angle or, where that has no room and
    the cutter may, straight down.

    `share` is that of the usual feeds.
    """
    slope = ramp_slope(lap, cutter)
    level = height / slope
    ramp = max(
        math.hypot(level, height) / (share * cutting.ramp / 60.0),
        level / _speed(lap, math.inf, accel),
    )
    # Straight down only where a ramp has no room, as paths do.
    straight = cutter.centre_cutting and lap.turn * slope <= _LEAST_PITCH * (1.0 + 1e-9)
    return min(ramp, height / (share * cutting.plunge / 60.0)) if straight else ramp


def ramp_slope(lap: ContourPass, cutter: Cutter) -> float:
    """Fall of the steepest way into solid wood along `lap`, mm per mm in the plane.

    A planned helix may fall a least pitch each turn even where that is steeper than the ramp angle.
    """
    return max(math.tan(math.radians(cutter.ramp_angle)), _LEAST_PITCH / max(lap.turn, 1e-9))


def _speed(lap: ContourPass, feed: float, accel: float) -> float:
    """Highest mean speed within the circle that holds all places, mm/s."""
    return min(feed / 60.0, math.sqrt(accel * max(lap.within, 1e-9)))
