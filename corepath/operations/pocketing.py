"""Groove and plug pockets: closed areas cleared in level layers to a level floor.

Bed frame of the set-up, mm. Each layer is entered by a ramp along its first ring, which then takes a level
lap at full width; all rings after it take at most the stepover and leave material on the right (climb), until
both walls stand. The next layer begins without lifting. Over a thin floor the last layer is `LIGHT`.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString, Polygon

from corepath.errors import CorepathError
from corepath.motion.fit import TOLERANCE
from corepath.motion.program import Program
from corepath.operations.entries import Trail, ramp_along, turned_to
from corepath.operations.facing_paths import program
from corepath.operations.order import short_order
from corepath.operations.rings import Plan, Ring, plan_rings
from corepath.work.model import Pocket, Work

__all__ = ["LIGHT", "layers", "plan"]

LIGHT = 0.3
"""mm: depth of the last layer over a thin floor."""
WALL_TOLERANCE = 0.002
"""mm: arcs and lines of a ring that makes a wall."""


def plan(work: Work) -> tuple[Program, ...]:
    """The program that cuts all pockets of `work`, in a short order, in one pass.

    Raises `CorepathError` where the cutter does not fit or pass, or would meet an obstacle.
    """
    if not work.pockets:
        raise CorepathError(f"{work.stem}: no pockets to cut")
    if work.cutter.shape != "flat":
        raise CorepathError(f"{work.stem}: {work.cutter.describe()} leaves no level floor; list a flat cutter")
    for pocket in work.pockets:
        if pocket.floor >= pocket.top or pocket.area.is_empty:
            raise CorepathError(f"{work.stem}, {pocket.id}: nothing to cut between {pocket.top:g} and {pocket.floor:g}")
    trail, watch = Trail(work), []
    places = [pocket.area.centroid.coords[0] for pocket in work.pockets]
    for k in short_order(places, work.park):
        pocket = work.pockets[k]
        rings = plan_rings(pocket.area, work.cutter.radius, work.cutting.stepover, f"{work.stem}, {pocket.id}")
        _cut(trail, pocket, rings)
        watch += [_left(pocket, rings)] if rings.left else []
    return (program(work, work.stem, [trail.finish()], watch=tuple(watch)),)


def layers(pocket: Pocket, depth: float) -> list[float]:
    """Heights of the layers from the highest to the floor, none deeper than `depth`."""
    light = LIGHT if pocket.thin and pocket.top - pocket.floor > LIGHT and depth > LIGHT else 0.0
    deep = pocket.top - pocket.floor - light
    count = max(1, math.ceil(deep / depth - 1e-9))
    heights = [pocket.top - deep * k / count for k in range(1, count)] + [pocket.floor + light]
    return [*heights, pocket.floor] if light else heights


def _left(pocket: Pocket, rings: Plan) -> str:
    area, x, y = rings.left[0]
    total = sum(corner[0] for corner in rings.left)
    return f"{pocket.id}: corners stay round, {total:.2f} mm2 left, most {area:.2f} at X{x:.1f} Y{y:.1f}"


def _cut(trail: Trail, pocket: Pocket, rings: Plan) -> None:
    """All layers of one pocket."""
    room = rings.centre.buffer(0.001)
    shapely.prepare(room)
    high: float | None = None
    for z in layers(pocket, trail.work.cutting.depth):
        for ring in rings.rings:
            _ring(trail, pocket, ring, room, high, z)
        high = z


def _ring(trail: Trail, pocket: Pocket, ring: Ring, room: Polygon, high: float | None, z: float) -> None:
    """One ring at `z`; `high` is the layer above, which is all cleared, None on the first one."""
    cutting = trail.work.cutting
    tolerance = WALL_TOLERANCE if ring.wall else TOLERANCE
    start = (float(ring.points[0, 0]), float(ring.points[0, 1])) if math.isnan(trail.x) else trail.place
    lap = turned_to(ring.points, start)
    x, y = float(lap[0, 0]), float(lap[0, 1])
    linked = trail.z <= pocket.top and room.covers(LineString([start, (x, y)]))
    if linked and not ring.fresh:
        trail.to(x, y, z, cutting.feed)
        trail.follow(np.column_stack([lap, np.full(len(lap), z)]), cutting.feed, tolerance)
        return
    if linked and high is not None:
        trail.to(*trail.place, high, cutting.feed)
        trail.to(x, y, high, cutting.feed)
        begin = high
    else:
        above = trail.above(pocket.top)
        trail.hop(x, y, above)
        if high is not None:
            trail.to(x, y, high, cutting.plunge)
        begin = above if high is None else high
    ramp, level = ramp_along(ring.points, (x, y), begin, z)
    trail.follow(ramp, cutting.ramp, tolerance)
    trail.follow(level, cutting.feed, tolerance)
