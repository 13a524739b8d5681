"""Strips that the layers of a groove leave standing along its walls, for one lap at full depth
before the finishing lap.

A layer takes a whole number of laps. Where the last of them would take next to nothing, a strip as
wide as that is left in all layers instead, and taken at once. No cut asks more of the cutter for
it: a strip is at most `WIDEST` of the diameter wide and `TIMES` the finishing allowance; it is
left only where the finishing lap, too, is as deep as the groove; and its feed is so much lower
that it loads the cutter no more than the finishing lap does. Lengths in mm, feeds in mm/min.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.geometry.polygons import grow, polygons
from corepath.geometry.step_counts import fewest_steps
from corepath.motion.feeds.chips import engagement
from corepath.work.works import Pocket, Work

__all__ = [
    "LIGHT", "NO_STRIPS", "WallStrips", "layers", "left_to_layers", "may_be_light", "strip_feed",
    "usual_width", "wall_strips", "widest_strip",
]  # fmt: skip

WIDEST = 0.07
"""Share of the cutter's diameter that a strip is wide at most: its edges then stand in the wood
over an angle of 31 degrees, a third of that of the usual stepover."""
TIMES = 3.0
"""Times the finishing allowance that a strip is wide at most: a wall lap is not judged as one of
a layer up to four times."""
LIGHT = 1.54
"""Share of the radius between two laps of a light layer: corners meet a quarter more, which is not
yet a slot."""
_SPARE = 0.003  # mm: by how much a strip is wider, for widths that polygons measure
_CORNER = 1.5
"""How many times as wide as the strip what is left in a corner may be: a right angle's is 1.42
times as wide."""
_UNEVEN = 0.1  # of the stepover: by how much the groove may be wider than usual
_WORTH = 0.02  # of the way of the laps; less is not worth a lap


@dataclass(frozen=True, slots=True)
class WallStrips:
    """Widths (mm) of what all layers leave, beside the allowance, along the `outer` wall and round
    the `island`."""

    outer: float = 0.0
    island: float = 0.0

    def __bool__(self) -> bool:
        return self.outer > 0.0 or self.island > 0.0

    @property
    def widest(self) -> float:
        return max(self.outer, self.island)


NO_STRIPS = WallStrips()


def wall_strips(work: Work, pocket: Pocket) -> WallStrips:
    """Return the strips that `pocket` is left: none unless its layers take fewer laps for them."""
    if widest_strip(work, pocket) <= 0.0:
        return NO_STRIPS
    cutter, run, leave = work.cutter, work.cutting, work.milling.finish_allowance
    centre = grow(pocket.area, -cutter.radius - leave)
    if not isinstance(centre, Polygon) or len(centre.interiors) != 1:
        return NO_STRIPS
    across = _widths(centre)
    width = float(np.median(across))
    # Where arms meet, or walls have corners, the layers need more than their laps.
    if float(across.max()) > width + _UNEVEN * run.stepover:
        return NO_STRIPS
    usual = _laps(work, pocket, width)
    best, found = usual * (1.0 - _WORTH), NO_STRIPS
    for step, sides in itertools.product((run.stepover, LIGHT * cutter.radius), (1, 2)):
        fewer = fewest_steps(width, step) - 1
        each = (width - fewer * step) / sides + _SPARE
        if fewer < 1 or each > widest_strip(work, pocket):
            continue
        slower = run.feed / strip_feed(work, each)
        laps = _laps(work, pocket, width - sides * each) + sides * slower
        if laps < best:
            # One by itself is left round the island, where the wood bends away from the cutter.
            best, found = laps, WallStrips(each if sides == 2 else 0.0, each)
    return found if found and _even(pocket, cutter.radius + leave, centre, found) else NO_STRIPS


def widest_strip(work: Work, pocket: Pocket) -> float:
    """The widest strip (mm) that may be left on a wall of a pocket, 0 where none may be."""
    leave, deep = work.milling.finish_allowance, pocket.top - pocket.floor
    if pocket.proud or pocket.cleared is not None or len(pocket.area.interiors) != 1:
        return 0.0
    if leave <= 0.0 or not work.cutter.reaches(deep) or deep <= work.cutting.depth:
        return 0.0
    return min(WIDEST * work.cutter.diameter, TIMES * leave)


def strip_feed(work: Work, width: float) -> float:
    """The feed at which a strip of some width (mm) loads the cutter as the finishing lap does, at
    most that of clearing.

    Both are as deep. The force averaged over a turn goes with width and feed, and falls on the part
    of it in which a tooth cuts (`side_load`)."""
    run, across = work.cutting, work.cutter.diameter
    leave = work.milling.finish_allowance
    share = leave / engagement(leave, across) * engagement(width, across) / width
    return min(run.finish * min(share, 1.0), run.feed)


def left_to_layers(area: Polygon, strips: WallStrips) -> Polygon:
    """The part of an `area` round an island that lies beyond its strips."""
    outside = grow(Polygon(area.exterior), -strips.outer) if strips.outer else area
    inside = [grow(Polygon(hole), strips.island) for hole in area.interiors]
    shell = Polygon(outside.exterior) if isinstance(outside, Polygon) else outside
    return max(polygons(shell.difference(shapely.union_all(inside))), key=lambda one: one.area)


def usual_width(region: Polygon) -> float:
    """Median distance (mm) from the outer wall of a centre region to its island, at 400 places."""
    return float(np.median(_widths(region)))


def _widths(region: Polygon) -> NDArray[np.float64]:
    ends = np.linspace(0.0, region.exterior.length, 400, endpoint=False)
    walls = shapely.line_interpolate_point(region.exterior, ends)
    return np.asarray(shapely.distance(walls, Polygon(region.interiors[0])))


def may_be_light(work: Work, depth: float) -> bool:
    """Whether a layer of this `depth` (mm) round an island may be cut wider: even a slot of it
    takes no more at once than the stepover does in the deepest layer."""
    run = work.cutting
    return depth * work.cutter.diameter <= run.depth * run.stepover


def layers(
    pocket: Pocket, depth: float, light_layer: float, *, remainder: bool = False
) -> list[float]:
    """Heights of the layers, mm, from the highest to the floor; none deeper than `depth`.

    Over a thin floor the last one is light: `light_layer` deep at most. With `remainder` the last
    deep one is as shallow, too, where the others can then be one fewer: it takes fewer laps.
    """
    shallow = min(light_layer, depth)
    light = (
        shallow if pocket.thin and pocket.top - pocket.floor > shallow and depth > shallow else 0.0
    )
    deep = pocket.top - pocket.floor - light
    count = max(1, fewest_steps(deep, depth))
    low = pocket.floor + light
    rest = (
        [low] if remainder and count > 1 and fewest_steps(deep - light_layer, depth) < count else []
    )
    if rest:
        deep, count = deep - light_layer, count - 1
        low += light_layer
    heights = [pocket.top - deep * k / count for k in range(1, count)] + [low, *rest]
    return [*heights, pocket.floor] if light else heights


def _laps(work: Work, pocket: Pocket, width: float) -> float:
    """Laps of all layers where the centre region is `width` mm wide."""
    run, light = work.cutting, work.milling.light_layer
    wide = LIGHT * work.cutter.radius if may_be_light(work, light) else run.stepover

    def of(heights: list[float]) -> int:
        above = np.array([pocket.top, *heights[:-1]])
        steps = np.where(above - np.array(heights) <= light + 1e-9, wide, run.stepover)
        return sum(1 + max(fewest_steps(width, float(step)), 1) for step in steps)

    return min(of(layers(pocket, run.depth, light, remainder=more)) for more in (False, True))


def _even(pocket: Pocket, inset: float, centre: Polygon, strips: WallStrips) -> bool:
    """Whether the strips stay about as wide all along the walls: in sharp corners, and where arms
    meet, they would not."""
    cleared = grow(left_to_layers(pocket.area, strips), -inset)
    if not isinstance(cleared, Polygon) or len(cleared.interiors) != 1:
        return False
    return bool(shapely.covers(grow(cleared, _CORNER * strips.widest), centre))
