"""Lower bound of the time that any path for an operation could take: what minutes are compared
with.

Worked out from a `Work` and the machine's `Limits` alone, never from a path. Lengths in mm, times
in seconds, feeds of `Cutting` in mm/min. The bound holds for paths that keep these limits: in each
layer of at most `cutting.depth` it cuts wider than the stepover s only along one *entry lap* a
piece, where it may cut its full width D (the entry lap is at most as long as the longest edge of
the places where the cutter's middle may stand); sideways at the feed, down at no more than the ramp
angle at the ramp feed, or straight down at the plunge feed where a ramp has no room and the cutter
may; between features above the stock. In a light layer of a groove it may cut its full width all
the way. It may leave a strip along either wall of a groove in all layers (`wall_strips`), and take
that in one lap at full depth.

- *Sweep.* A cutter that travels a length L in a layer clears at most D E + s (L − E) + pi D²/4, E
  the entry lap. All of the area A has to be cleared, and depth H takes at least n layers, since no
  column is lowered by more than a layer at a visit. Hence L ≥ E + (A − pi D²/4 − D E)/s. (A/s alone
  would be no bound: the entry lap clears D per mm.)
- *Walls.* Each point of a wall is made from one place of the middle alone, so the whole edge of
  those places is travelled in each layer (half of it where the cutter hardly passes: there one path
  may serve both walls before the finishing lap). L is the greater of both.
- *Strips.* What the layers save by them, and what their laps take, both go in proportion to their
  width: so the least is that of none or of the widest, on either wall or both.
- *Speed.* The feed v, and on a curve of radius r at most sqrt(a r). A path that stays within a
  circle of radius R and starts and ends at rest is no faster in the mean either: the time integral
  of v² + x·x'' vanishes, |x''| ≤ a and |x| ≤ R, so its mean square speed is at most a R.
- *Ramps.* Solid wood is entered from above: down by H at the ramp angle, never faster than the ramp
  feed. The way down clears nothing of the final floor, so both add there. In the layers above the
  greater of the two counts for a hole, since one helix down the wall may clear it. In a narrow
  pocket, too, the way down may be part of the laps: then it saves at most what as much of them
  takes where they are slowest, and the rest adds.
  Where the middle may be more than a radius from each wall, a way down along the walls would leave
  a core standing in its middle: it has to keep off them, so laps and the way down add in each
  layer.
- *Finish.* One lap of each wall at the full depth, where an allowance is asked for and the cutter
  has room for it, at the finishing feed.
- *Links.* Down to the stock and up from the floors; from the place where the machine parks through
  all features and back. Of a few features the shortest round trip; of more the two nearest to the
  park and a spanning tree of the distances between features (a round trip less its start is a path,
  and a path is a tree; M. Held and R. M. Karp's 1-tree, 1970, from memory). All at rapid, from
  corner speed to corner speed.

Left out, so no path is as quick as this: crossings between laps, links to and from the entry,
speeding up and slowing down under way, turns at the ends of lines, inside corners, the air above
the stock, pecking. Finishing the deck: the integral of dA over step and feed, the step being that
of the best direction (`deck_steps`). The figure for roughing is no bound: lines as far apart as on
level ground, in one layer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from corepath.motion.clock import Limits, corner_speed, leg_seconds
from corepath.motion.tour import FEW, least_way
from corepath.work.cutting.deck_steps import level_step, slopes_over, surface_minutes
from corepath.work.cutting.running import turn_allowance
from corepath.work.cutting.wall_strips import WallStrips, left_to_layers, may_be_light, widest_strip
from corepath.work.least_time.areas import (
    ContourPass,
    disc,
    edges,
    layer_count,
    layer_seconds,
    ramp_seconds,
    ramp_slope,
)
from corepath.work.works import SAME_SIZE, Facing, Hole, Pocket, Trim, Work

__all__ = ["LeastTime", "least_time", "spanning_tree"]

_ROOM = 0.25
"""Share of the radius that the middle must have beside the allowance before a finishing lap is sure
to be made. Pockets with less may be planned without one, and a bound must not count it."""

_NEAR = 0.01  # mm: for chords of grown edges


@dataclass(frozen=True, slots=True)
class LeastTime:
    """Lower bounds, in seconds, of the time that the parts of an operation take; with `level` only
    a figure for level ground and no bound."""

    sweep: float = 0.0
    ramps: float = 0.0
    finish: float = 0.0
    links: float = 0.0
    level: bool = False

    @property
    def minutes(self) -> float:
        return (self.sweep + self.ramps + self.finish + self.links) / 60.0

    def __add__(self, other: LeastTime) -> LeastTime:
        return LeastTime(
            self.sweep + other.sweep,
            self.ramps + other.ramps,
            self.finish + other.finish,
            self.links + other.links,
            self.level or other.level,
        )


def least_time(work: Work, limits: Limits, *, planes: tuple[int, int] | None = None) -> LeastTime:
    """Return a lower bound of the time of `work` on a machine with `limits`.

    For a facing, `planes` picks those from the first index to before the second (a file of a single
    pass); all of them if not given.
    """
    if work.facing is not None:
        planes = planes or (0, len(work.facing.planes))
        return _facing(work, work.facing, limits, planes) + (
            _approach(work) if planes[0] == 0 else LeastTime()
        )
    if work.deck is not None:
        return _deck(work) + _approach(work)
    if work.trim is not None:
        return _trim(work, work.trim) + _approach(work)
    total = _approach(work)
    for pocket in work.pockets:
        total += _pocket(work, pocket, limits)
    for hole in work.holes:
        total += _hole(work, hole, limits)
    return total + LeastTime(links=_links(work, limits))


def _approach(work: Work) -> LeastTime:
    """The first descent at feed, with which every path of the work begins."""
    return (
        LeastTime()
        if work.approach is None
        else LeastTime(links=60.0 * work.approach.minutes_from(work.park))
    )


def _trim(work: Work, trim: Trim) -> LeastTime:
    """A full-width lap for each layer, then a finishing lap."""
    radius = work.cutter.radius
    rough = trim.area.buffer(radius + trim.finish).exterior.length * layer_count(
        work.cutting.depth, trim.depth
    )
    last = trim.area.buffer(radius).exterior.length if trim.finish > 0.0 else 0.0
    return LeastTime(sweep=60.0 * rough / work.cutting.feed, finish=60.0 * last / trim.feed)


def spanning_tree(distances: np.ndarray) -> list[float]:
    """Lengths (n − 1,) of the edges of a shortest spanning tree of n places, from their (n, n)
    distances (Prim's algorithm)."""
    count = len(distances)
    if count < 2:
        return []
    near, out = distances[0].astype(float), np.arange(count) > 0
    found = []
    for _ in range(count - 1):
        k = int(np.argmin(np.where(out, near, np.inf)))
        found.append(float(near[k]))
        out[k] = False
        near = np.minimum(near, distances[k])
    return found


def _pocket(work: Work, pocket: Pocket, limits: Limits) -> LeastTime:
    radius, allowance = work.cutter.radius, work.milling.finish_allowance
    # Only what stands proud is planed: no walls, and edges may be run over.
    if pocket.proud:
        return LeastTime(
            sweep=_planed(
                work, pocket.area, layer_count(work.cutting.depth, pocket.top - pocket.floor)
            )
        )
    centre = shapely.buffer(pocket.area, -radius, quad_segs=32)
    # With an allowance clearing stays off the walls, so its laps are those of the smaller region,
    # if that has the same walls.
    shrunk = shapely.buffer(pocket.area, -radius - allowance, quad_segs=32)
    # Where there is little room beside the allowance, clearing may go once along the middle.
    room = allowance + _ROOM * radius if allowance > 0.0 else 0.0
    # `wide` is where there is that room, grown back: edges outside it count half.
    roomy = shapely.buffer(centre, -room, quad_segs=32)
    wide = shapely.buffer(roomy, room + _NEAR, quad_segs=32) if room > 0.0 else None
    wall = lap = edges(centre, radius, pocket.cleared, wide)
    if _pieces(shrunk) == _pieces(centre):
        # A path that leaves nothing for a finishing lap may enter along the wall itself.
        lap = replace(
            edges(shrunk, radius, pocket.cleared, wide), entry=wall.entry, within=wall.within
        )
    depth, ring = pocket.top - pocket.floor, bool(pocket.area.interiors)
    floor, above = _levels(work, lap, depth, limits, thin=pocket.thin, ring=ring)
    floor, above = min(
        [(floor, above), *_with_strips(work, pocket, limits, wide)], key=lambda one: sum(one)
    )
    down = _down(work, lap, depth, limits)
    # The middle can nowhere be more than a radius inside the edge of its places: one way down along
    # the wall may clear it all, so the way down may be part of the laps above the floor.
    if bool(shapely.is_empty(shapely.buffer(pocket.area, -2.0 * radius - allowance))):
        way = depth / ramp_slope(lap, work.cutter)
        count = layer_count(work.cutting.depth, depth) + 1
        saved = lap.slowest(way, count, work.cutting.feed, limits.accel)
        down = max(down - min(above, saved), 0.0)
    # Beside a part that is cleared the cutter goes down in air.
    if pocket.cleared is not None:
        down = 0.0
    finish = 0.0
    if wide is not None and _pieces(roomy) == _pieces(centre):
        finish = edges(centre, radius, pocket.cleared, wide, share=0.0).seconds(
            _finish_feed(work), limits.accel
        )
    return LeastTime(sweep=floor + above, ramps=down, finish=finish)


def _with_strips(
    work: Work, pocket: Pocket, limits: Limits, wide: BaseGeometry | None
) -> Iterator[tuple[float, float]]:
    """Seconds on the floor and above it of a groove that leaves strips as wide as they may be, on
    one wall or both; their laps count on the floor."""
    most, inset = widest_strip(work, pocket), work.cutter.radius + work.milling.finish_allowance
    if most <= 0.0:
        return
    for strips in (WallStrips(most, 0.0), WallStrips(0.0, most), WallStrips(most, most)):
        area = left_to_layers(pocket.area, strips)
        centre = shapely.buffer(area, -inset, quad_segs=32)
        if _pieces(centre) != (1, 1):
            continue
        lap = edges(centre, work.cutter.radius, None, wide)
        depth = pocket.top - pocket.floor
        floor, above = _levels(work, lap, depth, limits, thin=pocket.thin, ring=True)
        walls = shapely.buffer(pocket.area, -inset, quad_segs=32)
        way = walls.exterior.length if strips.outer else 0.0
        way += sum(ring.length for ring in walls.interiors) if strips.island else 0.0
        yield floor + 60.0 * way / work.cutting.feed, above


def _pieces(shape: BaseGeometry) -> tuple[int, int]:
    """How many pieces a shape has, and how many inner edges."""
    parts = [part for part in shapely.get_parts(shape) if not part.is_empty]
    return len(parts), int(shapely.get_num_interior_rings(parts).sum())


def _hole(work: Work, hole: Hole, limits: Limits) -> LeastTime:
    total, top = LeastTime(), hole.top
    for step in hole.steps:
        rho = (step.diameter - work.cutter.diameter) / 2.0
        slowed = _slowed(hole, work.milling.break_through, top, step.floor)
        if rho <= SAME_SIZE / 2.0:
            total += LeastTime(ramps=(top - step.floor + slowed) / (work.cutting.plunge / 60.0))
        else:
            allowance = turn_allowance(work.milling.finish_allowance, rho)
            finished = allowance > 0.0
            # Within `rho` all the same: a helix may use all the room, and less would bound its
            # speed too low.
            lap = disc(rho - allowance if finished else rho, work.cutter.radius, within=rho)
            floor, above = _levels(work, lap, top - step.floor, limits)
            down = _down(work, lap, top - step.floor, limits, slowed)
            total += LeastTime(sweep=floor + above, ramps=max(down - above, 0.0))
            turns = 2 if step.spring else 1
            wall = disc(rho, work.cutter.radius)
            total += LeastTime(
                finish=turns * wall.seconds(_finish_feed(work), limits.accel) if finished else 0.0
            )
        top = step.floor
    return total


def _slowed(hole: Hole, above: float, top: float, floor: float) -> float:
    """How many mm between `top` and `floor` lie in the last `above` mm of wood before a hole breaks
    through."""
    if hole.breaks_through is None:
        return 0.0
    return max(min(hole.breaks_through + above, top) - max(hole.breaks_through, floor), 0.0)


def _finish_feed(work: Work) -> float:
    return work.cutting.finish


def _levels(
    work: Work,
    lap: ContourPass,
    depth: float,
    limits: Limits,
    *,
    thin: bool = False,
    ring: bool = False,
) -> tuple[float, float]:
    """Seconds on the floor and in all layers above it.

    The last layer is a light one over a `thin` floor. In a `ring` (a groove) any layer no deeper
    than a light one may be cut as wide as the cutter, where even a slot of it takes no more than
    the stepover in a deep one.
    """
    cutter, cutting, light = work.cutter, work.cutting, work.milling.light_layer
    usual = layer_seconds(lap, cutter.diameter, cutting.stepover, cutting.feed, limits.accel)
    wide = layer_seconds(lap, cutter.diameter, cutter.diameter, cutting.feed, limits.accel)
    ring = ring and may_be_light(work, light)
    last = light if thin and depth > light and cutting.depth > light else 0.0
    deep = _deep_seconds(depth - last, cutting.depth, usual, light if ring else 0.0, wide)
    # Without a light last layer the floor is that of one of the others.
    floor = wide if last or ring else usual
    return floor, deep if last else max(deep - floor, 0.0)


def _down(work: Work, lap: ContourPass, depth: float, limits: Limits, slowed: float = 0.0) -> float:
    """Seconds on the way down, `slowed` mm of which are at half feed."""
    cutter, cutting = work.cutter, work.cutting
    down = ramp_seconds(lap, cutter, cutting, depth - slowed, limits.accel)
    down += ramp_seconds(lap, cutter, cutting, slowed, limits.accel, share=0.5) if slowed else 0.0
    return down


def _deep_seconds(height: float, depth: float, usual: float, light: float, wide: float) -> float:
    """Least seconds of the layers that take `height` mm: some as deep as `depth`, of `usual`
    seconds each, the rest no deeper than `light`, of `wide` seconds; none of these where light is
    0."""
    count = layer_count(depth, height)
    if light <= 0.0:
        return count * usual
    rest = (max(height - deep * depth, 0.0) for deep in range(count + 1))
    return min(
        deep * usual + math.ceil(left / light - 1e-6) * wide for deep, left in enumerate(rest)
    )


def _planed(work: Work, area: BaseGeometry, layers: int) -> float:
    """Seconds to plane an area whose edges may be overrun: lines at the stepover beside a first one
    at full width."""
    left, low, right, high = area.bounds
    diameter, stepover = work.cutter.diameter, work.cutting.stepover
    # The first line is no longer than the area is, nor than its area at full width.
    way = min(max(right - left, high - low), area.area / diameter)
    way += max(area.area - math.pi * diameter**2 / 4.0 - diameter * way, 0.0) / stepover
    return float(layers * way / (work.cutting.feed / 60.0))


def _facing(work: Work, facing: Facing, limits: Limits, planes: tuple[int, int]) -> LeastTime:
    heights = (facing.top, *facing.planes)
    layers = sum(
        layer_count(work.cutting.depth, heights[k] - heights[k + 1]) for k in range(*planes)
    )
    ends = corner_speed(limits, 90.0)
    legs = [work.clear - heights[planes[0]], work.clear - heights[planes[1]]]
    legs += 2 * [float(shapely.distance(facing.area, shapely.Point(work.park)))]
    return LeastTime(
        sweep=_planed(work, facing.area, layers),
        links=sum(leg_seconds(leg, limits.rapid, limits.accel, ends) for leg in legs),
    )


def _deck(work: Work) -> LeastTime:
    """Finishing: lines as far apart as the slope allows (`corepath.work.cutting.deck_steps`).
    Roughing: as if level."""
    deck, cutting = work.deck, work.cutting
    assert deck is not None
    widest = level_step(work.cutter, deck.scallop, cutting.stepover)
    if deck.rough:
        return LeastTime(sweep=deck.area.area / widest / (cutting.feed / 60.0), level=True)
    # The faster of both feeds: a bound may not count on which of them a path uses where.
    feed = max(cutting.feed, cutting.finish)
    slopes, step = slopes_over(deck.surface, deck.area.bounds, deck.finished), deck.surface.step
    whole, _ = surface_minutes(slopes, step, work.cutter, deck.scallop, widest, feed)
    return LeastTime(sweep=60.0 * whole)


def _links(work: Work, limits: Limits) -> float:
    """Seconds at rapid from the park down to the first feature, up from each floor, across to all
    others, and back."""
    ends = corner_speed(limits, 90.0 + work.cutter.ramp_angle)

    def leg(length: float) -> float:
        return leg_seconds(length, limits.rapid, limits.accel, ends)

    tops = [(pocket.top, pocket.floor) for pocket in work.pockets]
    tops += [(hole.top, hole.steps[-1].floor) for hole in work.holes]
    # The first descent ends at the highest top and the last ascent begins at the highest floor, at
    # best; between features a path may stay just above the stock.
    up = leg(work.clear - max(top for top, _ in tops)) + leg(
        work.clear - max(floor for _, floor in tops)
    )
    up += sum(leg(top - floor) for top, floor in tops[1:])
    return up + _round_trip(np.vectorize(leg, otypes=[float])(_apart(work)))


def _round_trip(times: np.ndarray) -> float:
    """Least time from place 0 through all others and back, from the (n, n) times; of many places a
    1-tree, which is less."""
    away, between = times[0, 1:], times[1:, 1:]
    if len(away) <= FEW:
        return least_way(away, between, away)[0]
    return float(np.sort(away)[:2].sum()) + sum(spanning_tree(between))


def _apart(work: Work) -> np.ndarray:
    """Distances between the park (row 0) and the places where the cutter's middle stands in each
    feature, (n + 1, n + 1) mm."""
    radius = work.cutter.radius
    shapes: list[BaseGeometry] = [shapely.Point(work.park)]
    shapes += [
        pocket.area if pocket.proud else shapely.buffer(pocket.area, -radius)
        for pocket in work.pockets
    ]
    for hole in work.holes:
        rho = max(step.diameter for step in hole.steps) / 2.0 - radius
        # 1e-6 mm: a hole that the cutter just fills is a point, of which a buffer of 0 would be
        # empty.
        shapes.append(shapely.buffer(shapely.Point(hole.x, hole.y), max(rho, 0.0) + 1e-6))
    places = np.array(shapes, dtype=object)
    return np.asarray(shapely.distance(places[:, None], places[None, :]))
