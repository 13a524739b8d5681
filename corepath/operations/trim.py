"""Trim of the laid-up board: laps round its outline that follow the rocker, down to a web over the
cradle.

Frame of D, mm. Roughing laps run `finish` outside the finished wall, full width, in layers parallel
to the cradle; a finishing lap at full depth follows, led in and out along the wall. Clockwise seen
from above, the board is on the right: climb. The cutter ramps in along the lap. The tip follows the
highest ground under its disc, so that the web is nowhere thinner than asked for.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, Polygon

from corepath.errors import CorepathError
from corepath.geometry.polylines import along, begun_at, place_at
from corepath.geometry.step_counts import fewest_steps
from corepath.lengths import mm, square_mm
from corepath.motion.fit import TOLERANCE
from corepath.motion.program import Program
from corepath.operations.entries import ABOVE, ToolpathBuilder
from corepath.operations.facing.facing_paths import program
from corepath.work.works import Trim, Work

__all__ = ["lap_ring", "reachable", "trim_programs"]

Floats = NDArray[np.float64]

_LEAD = 12.0
"""mm along which the finishing lap approaches the wall, and along which it leaves it."""
# mm between the places of a lap at which its height is worked out.
_STEP = 1.0
# mm between the round joins of an offset and their chords.
_JOIN = 0.0005
_LEFT = 0.05  # mm²: smaller corners are not told


def trim_programs(work: Work) -> tuple[Program, ...]:
    """The program of the trim, one pass.

    Raises `CorepathError` where the cutter cannot pass round the board, or where it is not a flat
    one.
    """
    trim = work.trim
    if trim is None:
        raise CorepathError(f"{work.stem}: nothing to trim")
    if work.cutter.shape != "flat":
        raise CorepathError(
            f"{work.stem}: {work.cutter.describe()} leaves no even web; list a flat cutter"
        )
    lay = _TrimLayer(work, trim)
    trail = ToolpathBuilder(work)
    count = max(1, fewest_steps(trim.depth, work.cutting.depth))
    rough = lap_ring(trim.area, work.cutter.radius + trim.finish, work.milling.conventional)
    above = trim.depth + ABOVE
    # Clear of the stock under the whole disc, and no lower than where the ramp begins.
    over = max(float(lay.over(rough[:1])[0]) + ABOVE, float(lay.ground(rough[:1])[0]) + above)
    trail.hop(float(rough[0, 0]), float(rough[0, 1]), over)
    ring = rough
    for k in range(1, count + 1):
        level = trim.depth * (1.0 - k / count)
        ring = _down(lay, trail, ring, above, level)
        above = level
    if trim.finish > 0.0:
        _finish(lay, trail, ring)
    return (program(work, [trail.finish()], watch=tuple(_watch(work, trim))),)


def lap_ring(area: Polygon, by: float, conventional: bool = False) -> Floats:
    """The (n, 2) ring `by` mm outside the area, first point repeated, dense; clockwise unless
    `conventional`.

    It begins at its place nearest to the middle of the far side (highest Y), where the outline runs
    along X. Raises `CorepathError` if the grown area falls into pieces.
    """
    step = 2.0 * math.acos(max(1.0 - _JOIN / by, 0.0)) if by > 0.0 else 0.1
    grown = shapely.buffer(area, by, quad_segs=max(16, math.ceil(math.pi / 2.0 / step)))
    if not isinstance(grown, Polygon):
        raise CorepathError("the trim falls into pieces")
    ring = LinearRing(grown.exterior).segmentize(_STEP)
    points = np.asarray(ring.coords)[:, :2]
    if ring.is_ccw != conventional:
        points = points[::-1]
    middle = (points[:, 0].min() + points[:, 0].max()) / 2.0
    # Highest Y wins; 0.01 per mm of distance in X breaks ties on a straight side towards its
    # middle.
    far = np.round(points[:-1, 1] - 0.01 * np.abs(points[:-1, 0] - middle), 6)
    return _rolled(points, int(np.argmax(far)))


def _rolled(ring: Floats, first: int) -> Floats:
    open_ring = np.roll(ring[:-1], -first, axis=0)
    return np.concatenate([open_ring, open_ring[:1]])


def reachable(area: Polygon, radius: float) -> Polygon:
    """What is left standing when a cutter of this `radius` (mm) has passed round `area`: its tight
    bays stay filled (a morphological closing)."""
    return area.buffer(radius, quad_segs=64).buffer(-radius, quad_segs=64)


class _TrimLayer:
    """Heights along the path: of the web's top under the cutter, and of the stock over it."""

    def __init__(self, work: Work, trim: Trim) -> None:
        self.work, self.trim = work, trim

    def ground(self, points: Floats) -> Floats:
        """Z of the tip, (n,), when it stands on the web at the places (n, 2)."""
        return self.trim.laid.tip(points[:, 0], self.work.cutter.radius, self.trim.web)

    def over(self, points: Floats) -> Floats:
        """The highest of the stock under the cutter's disc at (n, 2) places: at its middle and both
        ends along X."""
        reach = self.work.cutter.radius
        tops = [self.trim.laid.top(points[:, 0] + by, points[:, 1]) for by in (-reach, 0.0, reach)]
        return np.asarray(np.max(tops, axis=0), dtype=np.float64)

    def follow(self, trail: ToolpathBuilder, points: Floats, feed: float) -> None:
        """Along (n, 3) points; where the path falls more steeply than the cutter's ramp angle, at
        the ramp feed."""
        fall = np.diff(points, axis=0)
        limit = math.tan(math.radians(self.work.cutter.ramp_angle))
        # 1e-9 mm: a piece of just the ramp angle is not steep.
        steep = -fall[:, 2] > limit * np.hypot(fall[:, 0], fall[:, 1]) + 1e-9
        cuts = [0, *(np.flatnonzero(np.diff(steep.astype(np.int8))) + 1).tolist(), len(steep)]
        for a, b in itertools.pairwise(cuts):
            slow = min(feed, self.work.cutting.ramp) if steep[a] else feed
            trail.follow(points[a : b + 1], slow, TOLERANCE)


def _down(
    lay: _TrimLayer, trail: ToolpathBuilder, ring: Floats, above: float, level: float
) -> Floats:
    """A ramp along the ring from `above` to `level` (mm over the web), then a lap there; returns
    the ring begun where that ends."""
    long = along(ring)
    slope = math.tan(math.radians(lay.work.cutter.ramp_angle))
    way = (above - level) / slope
    laps = fewest_steps(way, float(long[-1]))
    stations = np.concatenate([*(long[:-1] + k * long[-1] for k in range(laps)), [laps * long[-1]]])
    # 1e-9 mm: no station twice, which would be a move without length.
    stations = np.concatenate([stations[stations < way - 1e-9], [way]])
    place = stations - long[-1] * np.floor(stations / long[-1])
    points = place_at(ring, long, place)
    heights = lay.ground(points) + above - (above - level) * stations / way
    ramp = np.column_stack([points, heights])
    trail.to(trail.x, trail.y, float(heights[0]), lay.work.cutting.plunge)
    # Exactly where the cutter is, so that no tiny move comes first.
    ramp[0] = trail.x, trail.y, trail.z
    trail.follow(ramp, lay.work.cutting.ramp, TOLERANCE)
    turned = begun_at(ring, float(place[-1]))
    lay.follow(trail, np.column_stack([turned, lay.ground(turned) + level]), lay.work.cutting.feed)
    return turned


def _finish(lay: _TrimLayer, trail: ToolpathBuilder, rough: Floats) -> None:
    """The finishing lap: from the rough lap to the wall within `_LEAD`, once round and `_LEAD`
    further, and off it within `_LEAD`."""
    work, trim = lay.work, lay.trim
    wall = lap_ring(trim.area, work.cutter.radius, work.milling.conventional)
    nearest = int(np.argmin(np.round(np.hypot(*(wall[:-1] - rough[0]).T), 6)))
    wall = _rolled(wall, nearest)
    long = along(wall)
    total = long[-1] + 3.0 * _LEAD
    ways = np.concatenate(
        [long[:-1] + k * long[-1] for k in range(math.ceil(total / long[-1]) + 1)]
    )
    # 1e-9 mm: no station twice, which would be a move without length.
    ways = np.concatenate([ways[ways < total - 1e-9], [total]])
    place = ways % long[-1]
    points = place_at(wall, long, place)
    share = np.minimum(ways / _LEAD, (total - ways) / _LEAD).clip(0.0, 1.0)
    # A smoothstep from the rough lap to the wall and back: tangent to the wall at both ends.
    off = trim.finish * (1.0 - share * share * (3.0 - 2.0 * share))
    points = points + off[:, None] * _outward(wall, long, place, work.milling.conventional)
    way = np.column_stack([points, lay.ground(points)])
    trail.to(float(way[0, 0]), float(way[0, 1]), float(way[0, 2]), work.cutting.feed)
    lay.follow(trail, way, trim.feed)


def _outward(ring: Floats, long: Floats, place: Floats, conventional: bool) -> Floats:
    """Unit normals (m, 2) away from the board at places along the ring: to the left where it runs
    clockwise."""
    # mm to either side, since a vertex has no direction of its own.
    step = 0.25
    ahead, behind = ((place + by) % long[-1] for by in (step, -step))
    way = place_at(ring, long, ahead) - place_at(ring, long, behind)
    left = np.column_stack([-way[:, 1], way[:, 0]]) / np.hypot(*way.T)[:, None]
    return np.asarray(-left if conventional else left, dtype=np.float64)


def _watch(work: Work, trim: Trim) -> list[str]:
    said = []
    cutter = work.cutter
    ring = lap_ring(trim.area, cutter.radius)
    fall = float(np.abs(trim.laid.rocker.angle(ring[:, 0])).max())
    if math.degrees(fall) > cutter.ramp_angle and not cutter.centre_cutting:
        said.append(
            f"the path falls by up to {math.degrees(fall):.1f} degrees: use a cutter that "
            "cuts to its centre"
        )
    left = reachable(trim.area, cutter.radius).difference(trim.area)
    corners = [part for part in shapely.get_parts(left) if part.area > _LEFT]
    if corners:
        most = max(corners, key=lambda part: round(part.area, 6))
        x, y = most.centroid.x, most.centroid.y
        said.append(
            f"bays stay round, {square_mm(left.area):.1f~} left in {len(corners)}, most at "
            f"X{mm(x):.1f} Y{mm(y):.1f}"
        )
    return said
