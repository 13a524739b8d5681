"""Round holes in steps: seat first, then bore; by helix, or straight down where the cutter is the hole's size.

Bed frame of the set-up, mm. All turns are counter-clockwise, so that the wall is on the right (climb). Each
step ends with full turns at its floor. From `SLOW_ABOVE` over the place where a hole leaves the wood the
feed is halved, so that the last fibres are cut and not pushed out.
"""

from __future__ import annotations

import math

from corepath.errors import CorepathError
from corepath.motion.program import Program
from corepath.operations.entries import Trail
from corepath.operations.facing_paths import program
from corepath.operations.order import short_order
from corepath.work.model import Hole, Step, Work

__all__ = ["SAME_SIZE", "SLOW_ABOVE", "plan"]

SAME_SIZE = 0.01
"""mm: a hole this close to the cutter's diameter is made straight down."""
SLOW_ABOVE = 1.0
PECK_CLEAR = 0.3
"""mm: a peck feeds again from this far above the last depth."""
_CORE = 0.9  # share of the radius: a helix of this radius leaves no core


def plan(work: Work) -> tuple[Program, ...]:
    """The program that makes all holes of `work`, in a short order, in one pass.

    Raises `CorepathError` where a step is narrower than the cutter, where a drill is not of a step's size,
    or where the path would meet an obstacle.
    """
    if not work.holes:
        raise CorepathError(f"{work.stem}: no holes to make")
    trail = Trail(work)
    for hole in work.holes:
        _refuse(work, hole)
    for k in short_order([(hole.x, hole.y) for hole in work.holes], work.park):
        _make(trail, work.holes[k])
    return (program(work, work.stem, [trail.finish()], watch=_watch(work)),)


def _refuse(work: Work, hole: Hole) -> None:
    cutter = work.cutter
    above = hole.top
    for step in hole.steps:
        if step.diameter < cutter.diameter - SAME_SIZE:
            raise CorepathError(
                f"{work.stem}, {hole.id}: {cutter.describe()} is wider than the hole of {step.diameter:g} mm "
                f"at X{hole.x:.2f} Y{hole.y:.2f}; list a cutter of at most {step.diameter:g} mm"
            )
        if cutter.shape == "drill" and step.diameter > cutter.diameter + SAME_SIZE:
            raise CorepathError(
                f"{work.stem}, {hole.id}: {cutter.describe()} cannot make a hole of {step.diameter:g} mm; "
                "list a drill of that size or a smaller flat cutter"
            )
        if step.floor >= above:
            raise CorepathError(f"{work.stem}, {hole.id}: the floor at {step.floor:g} is not below {above:g}")
        above = step.floor


def _watch(work: Work) -> tuple[str, ...]:
    """Holes that need a cutter with edges to its centre."""
    tight = [
        hole.id
        for hole in work.holes
        if work.cutter.shape != "drill" and min(s.diameter for s in hole.steps) < 1.25 * work.cutter.diameter
    ]
    return (f"needs a cutter that cuts to its centre: {', '.join(tight)}",) if tight else ()


def _make(trail: Trail, hole: Hole) -> None:
    cutter = trail.work.cutter
    begin = trail.above(hole.top)
    first = True
    for step in hole.steps:
        radius = (step.diameter - cutter.diameter) / 2
        if radius <= SAME_SIZE / 2:
            _straight(trail, hole, step, begin, first)
        else:
            _helical(trail, hole, step, begin, radius, first)
        begin, first = step.floor, False
    trail.to(hole.x, hole.y, trail.z, trail.work.cutting.feed)


def _slow(hole: Hole) -> float:
    """Height below which the feed is halved."""
    return -math.inf if hole.breaks_through is None else hole.breaks_through + SLOW_ABOVE


def _straight(trail: Trail, hole: Hole, step: Step, begin: float, first: bool) -> None:
    """Straight down by pecks of one layer each, out of the hole in between."""
    cutting, out = trail.work.cutting, trail.above(hole.top)
    if first:
        trail.hop(hole.x, hole.y, out)
    else:
        trail.to(hole.x, hole.y, trail.z, cutting.feed)
    solid = min(begin, hole.top)
    for k, z in enumerate(_floors(solid, step.floor, cutting.depth)):
        if k:
            done = trail.z
            trail.drop(out)
            trail.drop(min(done + PECK_CLEAR, out))
        if z < _slow(hole) < trail.z:
            trail.to(hole.x, hole.y, _slow(hole), cutting.plunge)
        trail.to(hole.x, hole.y, z, cutting.plunge / (2 if z < _slow(hole) else 1))


def _helical(trail: Trail, hole: Hole, step: Step, begin: float, radius: float, first: bool) -> None:
    """Down by helix and, where one helix leaves material, outwards by level turns in each layer."""
    work, cutting = trail.work, trail.work.cutting
    inner = min(radius, _CORE * work.cutter.radius)
    count = math.ceil((radius - inner) / min(cutting.stepover, _CORE * work.cutter.radius) - 1e-9)
    for z in _floors(min(begin, hole.top), step.floor, cutting.depth) if count else [step.floor]:
        if first:
            trail.hop(hole.x + inner, hole.y, begin)
            first = False
        else:
            trail.to(hole.x, hole.y, trail.z, cutting.feed)
            trail.to(hole.x + inner, hole.y, trail.z, cutting.feed)
        _down(trail, hole, z)
        for k in range(count + 1):
            _level(trail, hole, inner + (radius - inner) * k / max(count, 1))


def _floors(top: float, floor: float, depth: float) -> list[float]:
    """Heights of equal layers from `top`, none deeper than `depth`; the last is `floor` itself."""
    count = max(1, math.ceil((top - floor) / depth - 1e-9))
    return [*(top - (top - floor) * k / count for k in range(1, count)), floor]


def _down(trail: Trail, hole: Hole, z: float) -> None:
    ramp, slow = trail.work.cutting.ramp, _slow(hole)
    trail.helix(hole.x, hole.y, max(z, slow), ramp)
    if z < slow:
        trail.helix(hole.x, hole.y, z, ramp / 2)


def _level(trail: Trail, hole: Hole, radius: float) -> None:
    """Out to `radius` along the spoke where the cutter stands, then a full turn."""
    cutting = trail.work.cutting
    angle = math.atan2(trail.y - hole.y, trail.x - hole.x)
    feed = cutting.feed / (2 if trail.z < _slow(hole) else 1)
    trail.to(hole.x + radius * math.cos(angle), hole.y + radius * math.sin(angle), trail.z, feed)
    trail.turn(hole.x, hole.y, 2 * math.pi, trail.z, feed)
