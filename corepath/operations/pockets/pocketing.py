"""Groove and plug pockets: closed areas cleared in level layers to a level floor.

Bed frame of the set-up, mm. Each layer is entered by a ramp along its first ring, which then makes
a level lap at full width; all rings after it take at most the stepover, until both walls stand but
for the finishing allowance. Crossings tangent to both join lap to lap, and the next layer begins
without lifting. Over a thin floor the last layer is a light one. Where a groove's layers left a
strip along a wall (`wall_strips`), one lap at full depth takes it. Then one lap along each wall
takes the allowance off, at full depth where the cutting edges are long enough, else layer by layer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from corepath.errors import CorepathError
from corepath.geometry.polygons import grow
from corepath.geometry.polylines import Floats, along, stretch, turned_to
from corepath.lengths import mm
from corepath.motion.fit import TOLERANCE
from corepath.motion.program import Corner, Program
from corepath.operations.entries import ToolpathBuilder, ramp_along, ramp_fits, slope_of
from corepath.operations.facing.facing_paths import program
from corepath.operations.order import short_order
from corepath.operations.pockets.crossings import blended, turn_round
from corepath.operations.pockets.inset_contours import (
    ContourPlan,
    InsetContour,
    Layer,
    inset_region,
    plan_contours,
    region_contours,
)
from corepath.operations.pockets.inside_corners import corners_left, corners_words
from corepath.operations.pockets.remaining_stock import RemainingStock, remaining_stock
from corepath.operations.pockets.wall_laps import WallLap, wall_laps
from corepath.work.cutting.wall_strips import (
    NO_STRIPS,
    layers,
    left_to_layers,
    may_be_light,
    strip_feed,
    wall_strips,
)
from corepath.work.works import Pocket, Work

__all__ = ["pocket_programs"]

WALL_TOLERANCE = 0.002
"""mm; how closely arcs and lines follow a ring that makes a wall."""
RAMP_ABOVE = 0.5
"""mm above the stock where a ramp begins: a blank thicker than measured is still met by the ramp
and not by the plunge."""
LEAST_ROOM = 0.1
"""Room to either side, as a share of the cutter's radius, that must remain if clearing is to leave
anything on the walls."""


def pocket_programs(work: Work) -> tuple[Program, ...]:
    """The program that cuts all pockets of `work`, in a short order, in one pass.

    Raises `CorepathError` where the cutter does not fit or pass, has no room for its ramp, or would
    meet an obstacle.
    """
    _refuse(work)
    trail, corners = ToolpathBuilder(work), list[Corner]()
    places = [pocket.area.centroid.coords[0] for pocket in work.pockets]
    for k in short_order(places, work.park):
        pocket = work.pockets[k]
        corners += _Cut(trail, pocket).run()
    # Cut in a short order, listed in that of the job.
    corners.sort(key=lambda corner: [pocket.id for pocket in work.pockets].index(corner.feature))
    return (program(work, [trail.finish()], watch=corners_words(corners), corners=tuple(corners)),)


def _refuse(work: Work) -> None:
    if not work.pockets:
        raise CorepathError(f"{work.stem}: no pockets to cut")
    if work.cutter.shape != "flat":
        raise CorepathError(
            f"{work.stem}: {work.cutter.describe()} leaves no level floor; list a flat cutter"
        )
    for pocket in work.pockets:
        if pocket.floor >= pocket.top or pocket.area.is_empty:
            raise CorepathError(
                f"{work.stem}, {pocket.id}: nothing to cut between {mm(pocket.top):g} and "
                f"{mm(pocket.floor):g}"
            )


@dataclass(slots=True)
class _Lap:
    """The closed polyline along which the cutter ran last, from where it stands, and the last fresh
    one."""

    points: Floats
    fresh: Floats


class _Cut:
    """Cuts one pocket on a trail."""

    def __init__(self, trail: ToolpathBuilder, pocket: Pocket) -> None:
        self.trail, self.pocket, self.work = trail, pocket, trail.work
        self.name = f"{self.work.stem}, {pocket.id}"
        self.cutting, self.cutter = self.work.cutting, self.work.cutter
        self.last: _Lap | None = None
        self.strips, self._layered = NO_STRIPS, pocket.area
        self._light: tuple[InsetContour, ...] | None = None

    def run(self) -> list[Corner]:
        """All layers and the finishing laps; the corners that stay."""
        if self.pocket.cleared is not None:
            return self._rest(self.pocket.cleared)
        self._leave_strips()
        rings, leave = self._rings()
        # 0.001 mm: paths lie on its very edge, and rounding must not put them outside.
        self.room = rings.centre.buffer(0.001)
        shapely.prepare(self.room)
        heights = self._heights(rings, leave)
        whole = self.cutter.reaches(self.pocket.top - self.pocket.floor)
        high: float | None = None
        if self._bored(rings, heights):
            # The last layer (a light one over a thin floor) is left to the rings.
            done = heights[:-1] or heights
            self._bore(rings, done)
            high, heights = done[-1], heights[len(done) :]
            if leave and not heights:
                self._walls(rings.centre, high)
        for z in heights:
            for ring in self._layer_rings(rings, leave, high, z):
                self._ring(ring, high, z)
            high = z
            # Edges too short for the full depth: finish at each layer, before its walls are out of
            # reach.
            if leave and (not whole or z == heights[-1]):
                self._walls(self._stripped(rings.centre, z), z)
        if leave:
            return corners_left(
                self.pocket.id, self.pocket.area, grow(self._centre, self.cutter.radius)
            )
        return corners_left(self.pocket.id, self.pocket.area, rings.reach)

    def _rest(self, cleared: BaseGeometry) -> list[Corner]:
        """What a larger cutter left, piece by piece."""
        conventional = self.work.milling.conventional
        centre = inset_region(self.pocket.area, self.cutter.radius, self.name)
        left = remaining_stock(
            centre,
            cleared,
            self.cutter.radius,
            self.cutting.stepover,
            conventional=conventional,
            name=self.name,
        )
        # 0.001 mm: paths lie on its very edge, and rounding must not put them outside.
        self.room = centre.buffer(0.001)
        shapely.prepare(self.room)
        heights = layers(self.pocket, self.cutting.depth, self.work.milling.light_layer)
        for k in short_order([remainder.start for remainder in left], self.work.park):
            if left[k].own is not None:
                self._own(left[k].own, heights)
            else:
                self._pieces(left[k], heights)
        return corners_left(self.pocket.id, self.pocket.area, grow(centre, self.cutter.radius))

    def _own(self, region: Polygon | None, heights: list[float]) -> None:
        """A piece that is entered by a ramp of its own."""
        assert region is not None
        rings = region_contours(
            region,
            self.cutter.radius,
            self.cutting.stepover,
            conventional=self.work.milling.conventional,
        )
        high: float | None = None
        for z in heights:
            for ring in rings:
                self._ring(ring, high, z)
            high = z

    def _pieces(self, remainder: RemainingStock, heights: list[float]) -> None:
        """The cuts of one piece at each height, from what is cleared beside it."""
        trail, cutting = self.trail, self.cutting
        above, before = trail.above(self.pocket.top), np.array([remainder.start])
        self.last = None
        trail.hop(*remainder.start, above)
        for z in heights:
            self._over(before, remainder.start, z)
            trail.to(*trail.place, z, cutting.plunge)
            for cut in remainder.cuts:
                self._over(before, (float(cut[0, 0]), float(cut[0, 1])), z)
                self._follow(cut, z, cutting.feed, WALL_TOLERANCE)
                before = cut

    def _over(self, before: Floats, place: tuple[float, float], z: float) -> None:
        """From the end of the cut `before` to a place: straight, or back along that cut, or over
        the top and down to `z`."""
        trail, feed = self.trail, self.cutting.feed
        # A cut that ended in a corner may have no straight way out: first go back along it.
        if not self._linked(*place) and trail.z <= self.pocket.top:
            self._follow(before[::-1], trail.z, feed, WALL_TOLERANCE)
        if self._linked(*place):
            trail.to(*place, trail.z, feed)
        elif trail.place != place:
            trail.hop(*place, trail.above(self.pocket.top))
            trail.to(*place, z, self.cutting.plunge)

    def _bored(self, rings: ContourPlan, heights: list[float]) -> bool:
        """Whether one helix enters all deep layers: where its turns are short beside the ramp of a
        layer.

        No turn may gain more than a layer's depth, since the next one meets what it leaves.
        """
        first, others = rings.rings[0], rings.rings[1:]
        turn = float(along(first.points)[-1]) * slope_of(self.cutter.ramp_angle)
        whole = self.cutter.reaches(self.pocket.top - self.pocket.floor)
        plain = not first.reliefs and not any(ring.fresh for ring in others)
        most = (self.pocket.top - heights[0]) / 1.5 if others else self.cutting.depth
        return (
            whole and plain and len(heights) > 2 and turn < most and not self.pocket.area.interiors
        )

    def _bore(self, rings: ContourPlan, heights: list[float]) -> None:
        """A helix to the lowest of `heights`, then the other rings layer by layer from the top."""
        trail, cutting, first = self.trail, self.cutting, rings.rings[0]
        self._fresh(first, None, heights[-1])
        for z in heights if len(rings.rings) > 1 else ():
            # Each layer from the top: along the bored slot to where the first ring begins, down in
            # air, and outwards.
            lap = turned_to(first.points, trail.place)
            x, y = float(lap[0, 0]), float(lap[0, 1])
            trail.to(x, y, trail.z, cutting.feed)
            trail.to(x, y, z, cutting.feed if z > trail.z else cutting.plunge)
            self.last = _Lap(lap, lap)
            for ring in rings.rings[1:]:
                self._ring(ring, None, z)

    def _rings(self) -> tuple[ContourPlan, float]:
        """The rings, and the allowance (mm) that they leave on the walls: 0 where the cutter barely
        fits."""
        area, radius, stepover = self._layered, self.cutter.radius, self.cutting.stepover
        conventional, leave = self.work.milling.conventional, self.work.milling.finish_allowance
        self._centre = inset_region(self.pocket.area, radius, self.name)
        if self.strips or (
            leave > 0.0
            and not self.pocket.proud
            and _passes(self._centre, leave + LEAST_ROOM * radius)
        ):
            layer = Layer(leave, conventional)
            return plan_contours(area, radius, stepover, self.name, layer), leave
        layer = Layer(conventional=conventional)
        return plan_contours(area, radius, stepover, self.name, layer), 0.0

    def _leave_strips(self) -> None:
        """What the layers leave along the walls of a groove, and the area that is left to them."""
        self.strips = wall_strips(self.work, self.pocket)
        if self.strips:
            self._layered = left_to_layers(self.pocket.area, self.strips)

    def _layer_rings(
        self, rings: ContourPlan, leave: float, high: float | None, z: float
    ) -> tuple[InsetContour, ...]:
        """The rings of the layer from `high` down to `z`: fewer round an island where it is light
        and so no more is taken at once than in a deep one."""
        depth = (self.pocket.top if high is None else high) - z
        light = depth <= self.work.milling.light_layer + 1e-9 and self._wider(depth)
        return self._light_rings(leave) if light else rings.rings

    def _wider(self, depth: float) -> bool:
        return bool(self.pocket.area.interiors) and may_be_light(self.work, depth)

    def _light_rings(self, leave: float) -> tuple[InsetContour, ...]:
        """The rings of a light layer, found once."""
        if self._light is None:
            area, stepover = self._layered, self.cutting.stepover
            layer = Layer(leave, self.work.milling.conventional, light=True)
            made = plan_contours(area, self.cutter.radius, stepover, self.name, layer)
            self._light = made.rings
        return self._light

    def _heights(self, rings: ContourPlan, leave: float) -> list[float]:
        """The heights of the layers; with one more light one where that saves way: board-1280's
        groove is 12.3 deep without its last layer, 3 times 4 and 0.3."""
        light, depth = self.work.milling.light_layer, self.cutting.depth
        even = layers(self.pocket, depth, light)
        if not self._wider(light):
            return even
        saves = _way(self._light_rings(leave)) < _way(rings.rings)
        return layers(self.pocket, depth, light, remainder=True) if saves else even

    def _ring(self, ring: InsetContour, high: float | None, z: float) -> None:
        """One ring at `z`; `high` is the height of the layer above, which is all cleared, None on
        the first one."""
        if ring.fresh:
            self._fresh(ring, high, z)
            return
        tolerance = WALL_TOLERANCE if ring.wall else TOLERANCE
        # A crossing first, which leaves no mark; else straight or over the top.
        points = self._cross(ring, z)
        if points is None:
            points = self._straight_to(ring, z)
        points = self._lap(points, ring, z, tolerance)
        self.last = _Lap(points, self.last.fresh if self.last else points)

    def _cross(self, ring: InsetContour, z: float) -> Floats | None:
        """Crosses over to the ring at `z`, tangent to both laps, and returns the lap to follow
        then; None where that cannot be."""
        if self.last is None or self.trail.z != z:
            return None
        before = self.last.points
        way = blended(before, ring.points, self.room)
        if way is None:
            # A lap of the other sense (towards an island): turn round beside the last fresh ring,
            # whose slot is cleared at full width, and follow that backwards until the crossing.
            turn = turn_round(before, self.last.fresh[::-1], self.room)
            if turn is None:
                return None
            over = blended(turn[1], ring.points, self.room)
            if over is None:
                return None
            way = np.concatenate([turn[0], over[0][1:]]), over[1]
        self._follow(way[0], z, self.cutting.feed, TOLERANCE)
        return way[1]

    def _lap(self, lap: Floats, ring: InsetContour, z: float, tolerance: float) -> Floats:
        """Follows the lap with the ring's reliefs; returns the closed lap from where the cutter
        then stands."""
        if not ring.reliefs:
            self._follow(lap, z, self.cutting.feed, tolerance)
            return lap
        points, beyond = _with_reliefs(lap, ring)
        self._follow(points, z, self.cutting.feed, tolerance)
        return stretch(lap, beyond, float(along(lap)[-1])) if beyond > 0.0 else lap

    def _straight_to(self, ring: InsetContour, z: float) -> Floats:
        """Goes to the nearest place of the ring, straight where there is room, else over the
        top."""
        trail = self.trail
        lap = turned_to(ring.points, self._here())
        x, y = float(lap[0, 0]), float(lap[0, 1])
        if self._linked(x, y):
            trail.to(x, y, z, self.cutting.feed)
        else:
            trail.hop(x, y, trail.above(self.pocket.top))
            trail.to(x, y, z, self.cutting.plunge)
        return lap

    def _here(self) -> tuple[float, float]:
        """Where the cutter is, or comes from."""
        return self.work.park if math.isnan(self.trail.x) else self.trail.place

    def _linked(self, x: float, y: float) -> bool:
        trail = self.trail
        return trail.z <= self.pocket.top and bool(
            shapely.covers(self.room, LineString([trail.place, (x, y)]))
        )

    def _fresh(self, ring: InsetContour, high: float | None, z: float) -> None:
        """Down along the ring from the layer above, then one level lap at full width."""
        trail, cutting = self.trail, self.cutting
        lap = turned_to(ring.points, self._here())
        x, y = float(lap[0, 0]), float(lap[0, 1])
        # On the first layer from above the stock, which may be thicker than measured.
        begin = (
            min(trail.above(self.pocket.top), self.pocket.top + RAMP_ABOVE)
            if high is None
            else high
        )
        if high is not None and self._linked(x, y):
            trail.to(*trail.place, high, cutting.feed)
            trail.to(x, y, high, cutting.feed)
        else:
            trail.hop(x, y, trail.above(self.pocket.top))
            trail.to(x, y, begin, cutting.plunge)
        tolerance = WALL_TOLERANCE if ring.wall else TOLERANCE
        length = float(along(ring.points)[-1])
        if ramp_fits(length, self.cutter.ramp_angle):
            ramp, level = ramp_along(ring.points, (x, y), begin, z, self.cutter.ramp_angle)
            trail.follow(ramp, cutting.ramp, tolerance)
            lap = level[:, :2]
        elif self.cutter.centre_cutting:
            trail.to(x, y, z, cutting.plunge)
        else:
            raise CorepathError(
                f"{self.name}: {self.cutter.describe()} has no room for a ramp of "
                f"{self.cutter.ramp_angle:g} degrees "
                f"at X{mm(x):.2f} Y{mm(y):.2f}, and cutter.centre_cutting does not say that it may "
                "plunge; "
                "use a smaller one"
            )
        lap = self._lap(lap, ring, z, tolerance)
        self.last = _Lap(lap, lap)

    def _stripped(self, cleared: Polygon, z: float) -> Polygon:
        """Takes the strips beside what is `cleared`, both places of the middle, at `z`; returns
        what is cleared then."""
        if not self.strips:
            return cleared
        centre = grow(self._centre, -self.work.milling.finish_allowance)
        assert isinstance(centre, Polygon)
        laps = self._wall_laps(centre, cleared)
        for lap, width in zip(laps, (self.strips.outer, self.strips.island), strict=True):
            if width > 0.0:
                self._wall(lap, z, strip_feed(self.work, width))
        # 0.001 mm: as for the rings.
        self.room = centre.buffer(0.001)
        shapely.prepare(self.room)
        return centre

    def _walls(self, cleared: Polygon, z: float) -> None:
        """The finishing laps at `z`, beside what is `cleared` (places of the middle)."""
        for lap in self._wall_laps(self._centre, cleared):
            self._wall(lap, z, self.cutting.finish)
        self.last = None

    def _wall_laps(self, centre: Polygon, cleared: Polygon) -> list[WallLap]:
        return wall_laps(
            centre,
            cleared,
            self.cutter.radius,
            self.trail.place,
            conventional=self.work.milling.conventional,
        )

    def _wall(self, lap: WallLap, z: float, feed: float) -> None:
        """One lap along a wall."""
        trail = self.trail
        x, y = float(lap.points[0, 0]), float(lap.points[0, 1])
        # A lap without an arc begins on the wall itself, outside of the cleared room by no more
        # than the allowance: short enough to feed there.
        if self._linked(x, y) or (not lap.tangent and self._near(x, y)):
            trail.to(x, y, z, self.cutting.feed)
        else:
            trail.hop(x, y, trail.above(self.pocket.top))
            trail.to(x, y, z, self.cutting.plunge)
        self._follow(lap.points, z, feed, WALL_TOLERANCE)

    def _near(self, x: float, y: float) -> bool:
        return math.dist(self.trail.place, (x, y)) <= 2.0 * self.work.milling.finish_allowance

    def _follow(self, points: Floats, z: float, feed: float, tolerance: float) -> None:
        self.trail.follow(np.column_stack([points, np.full(len(points), z)]), feed, tolerance)


def _way(rings: Sequence[InsetContour]) -> float:
    """Length of rings with their reliefs, mm."""
    lines = [ring.points for ring in rings]
    lines += [relief.path for ring in rings for relief in ring.reliefs]
    return sum(float(along(line)[-1]) for line in lines)


def _passes(centre: Polygon, leave: float) -> bool:
    """Whether a cutter that keeps `leave` mm off the walls still passes everywhere in the centre
    region."""
    inner = grow(centre, -leave)
    return (
        isinstance(inner, Polygon)
        and not inner.is_empty
        and len(inner.interiors) == len(centre.interiors)
    )


def _with_reliefs(lap: Floats, ring: InsetContour) -> tuple[Floats, float]:
    """The lap, a closed polyline along `ring` begun anywhere, with the ring's reliefs inserted at
    their places.

    A relief that goes back behind the beginning of the lap waits until the lap has come round: the
    lap continues to it. Also returns how far beyond its beginning the lap ends, mm.
    """
    length = float(along(lap)[-1])
    begin = LineString(ring.points).line_locate_point(shapely.Point(lap[0]))
    stops = [((relief.at - begin) % length, relief) for relief in ring.reliefs]
    # 1 mm more than the relief goes back: before that the wood behind the beginning still stands.
    late = [(at + length if at < relief.back + 1.0 else at, relief) for at, relief in stops]
    pieces: list[Floats] = []
    done = 0.0
    for at, relief in sorted(late, key=lambda stop: stop[0]):
        pieces += [stretch(lap, done, at - done)[:-1], relief.path]
        done = at
    end = max(length, done)
    # Where the last relief ends on the place where the lap ends, only that place.
    pieces.append(stretch(lap, done, end - done) if end > done + 1e-6 else pieces[-1][-1:])
    return np.concatenate(pieces), end - length
