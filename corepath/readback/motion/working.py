"""Limits of the engagement: not too wide, not too deep, not mostly on the wrong side.

The widest cut allowed, except in entries and the lap after each, is that whose engagement angle is
`MORE` degrees over the stepover's: a round pocket that opens outwards from a helix engages that
much more than a straight wall does. A light layer over a thin floor may be wider, but not as wide
as the cutter. Lengths in mm, bed frame.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.geometry.boxed_places import BoxedPlaces
from corepath.geometry.masks import runs
from corepath.lengths import either, mm
from corepath.lengths import feed as per_min
from corepath.motion.cutter import Cutter
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.engagement import CUTTING, Engagement, engagement
from corepath.stock.material import Grid, Singles
from corepath.stock.path import Path
from corepath.work.cutting.wall_strips import strip_feed, wall_strips
from corepath.work.works import Work

__all__ = [
    "FULL",
    "MORE",
    "check_working",
    "engagement_angle",
    "find_engagement",
    "widest_allowed",
]

FULL = 0.95
"""Share of the diameter from which on a cut counts as full width."""

MORE = 20.0
"""degrees over the engagement angle of the stepover."""

_LAYER_SLACK = 0.05
"""mm by which a cut may be deeper than the deepest layer."""

# in tight bends and corners a lap along the wall meets this many times what was left on it
_THIN = 4.0
# share of a strip that a lap takes beside the allowance, and times the feed of the strip's own lap
_MOST_OF = 0.75
_FASTER = 1.05
# mm of depth of cut, or of wood under a plunge, from which on it counts.
_SOLID = 0.05
# mm: heights no farther apart are the same one. The text has three or four decimals.
_SAME_LEVEL = 0.01

Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]


def engagement_angle(width: float, diameter: float) -> float:
    """Return the angle (degrees) over which the edge stands in a cut of some width (mm): 90 at half
    the diameter, 180 at the whole."""
    return math.degrees(math.acos(max(1.0 - 2.0 * width / diameter, -1.0)))


def widest_allowed(stepover: float, diameter: float) -> float:
    """Return the widest cut allowed outside entries, mm."""
    angle = min(engagement_angle(stepover, diameter) + MORE, 180.0)
    return diameter / 2.0 * (1.0 - math.cos(math.radians(angle)))


def _allowed(work: Work, diameter: float) -> float:
    return widest_allowed(work.cutting.stepover, diameter) if work.part == 1 else FULL * diameter


def find_engagement(work: Work, path: Path, before: Singles, grid: Grid) -> Engagement:
    """Return the engagement of one file of pockets or holes; `before` [iy, ix] is the height map
    before it."""
    wide = min(_allowed(work, path.cutter.diameter), FULL * path.cutter.diameter)
    return engagement(path, before, grid, wide, work.cutting.depth + _LAYER_SLACK)


def check_working(
    work: Work,
    path: Path,
    found: Engagement,
    measures: MeasureList,
    findings: Findings,
    *,
    judge: bool = True,
) -> None:
    """Add the measures of the engagement of one file and, unless `judge` is false, what is wrong
    with it."""
    if not len(found.way):
        return
    _take(path.cutter, found, measures)
    if judge:
        _wide(work, path, found, findings)
        _deep(work, path, found, findings)
        _strips(work, path, found, findings)
        _side(work, path, found, findings)


def _take(cutter: Cutter, found: Engagement, measures: MeasureList) -> None:
    cuts, width, way = found.cuts, found.width, found.way
    free = cuts & ~found.entering
    # 1e-9, here and below: a file that cuts nothing has shares of 0.
    long = max(float(way[cuts].sum()), 1e-9)
    at = int(np.argmax(np.where(free, width, 0.0)))
    where = (float(found.place[at, 0]), float(found.place[at, 1])) if free.any() else None
    widest = float(width[at]) if free.any() else 0.0
    angle = engagement_angle(widest, cutter.diameter)
    measures.take(
        "widest cut", widest, None, f"{angle:.0f} degrees of engagement, but for entries", where
    )
    full = float(way[cuts & (width > FULL * cutter.diameter)].sum()) / long
    measures.take_in(
        "",
        "full width",
        full,
        None,
        "share of the way cut as wide as the cutter, entries and their laps too",
    )
    wide = max(float((way * width)[cuts].sum()), 1e-9)
    side = float((way * found.right)[free].sum()) / max(float((way * width)[free].sum()), 1e-9)
    measures.take_in(
        "",
        "climb",
        side,
        None,
        "share of the width cut with the material on the right, but for entries",
    )
    measures.take(
        "mean width of cut", wide / long, None, f"{either('mm', 'in')}, over all the way that cuts"
    )
    deepest = float(found.depth[width > CUTTING].max(initial=0.0))
    measures.take("deepest cut", deepest, None, "most material above the tip")
    measures.take(
        "plunged", _plunged(found), None, f"{either('mm', 'in')} straight down through solid wood"
    )


def _cores(found: Engagement, samples: Ints) -> Flags:
    """Tell which `samples` (k,) take the core that the helix of an entry left in its middle.

    It belongs to that entry: turning as the helix did, the cutter comes to the middle with the core
    on the other side than the wall, and it is the wall that the job's wish is about.
    """
    core = np.zeros(len(samples), dtype=np.bool_)
    place = found.place[samples]
    upper, lower, boxed = found.pieces.upper, found.pieces.lower, BoxedPlaces(place)
    for entry in found.entries:
        points = np.vstack((lower[entry.first], upper[entry.first : entry.last + 1]))
        near = boxed.about(points[:, :2], 0.0)
        near = near[np.abs(place[near, 2] - points[-1, 2]) < _SAME_LEVEL]
        if len(near) == 0 or not _turns_round(points[:, :2]):
            continue
        within = shapely.convex_hull(shapely.multipoints(points[:, :2]))
        shapely.prepare(within)
        core[near] |= shapely.covers(within, shapely.points(place[near, :2]))
    return core


def _turns_round(points: NDArray[np.float64]) -> bool:
    """Tell whether a way (n, 2) turns by a whole turn one way round, as a helix does, but for the
    corner between the last chord and the first."""
    heading = np.unwrap(np.arctan2(*np.diff(points, axis=0).T[::-1]))
    return len(heading) > 2 and abs(float(heading[-1] - heading[0])) > 1.9 * math.pi


def _upright(found: Engagement) -> Flags:
    pieces = found.pieces
    level = np.hypot(*(pieces.upper - pieces.lower)[found.piece, :2].T)
    # mm: straight down in the figures of the text.
    return np.asarray(level < 1e-9, dtype=np.bool_)


def _plunged(found: Engagement) -> float:
    pieces, piece = found.pieces, found.piece
    fall = (pieces.lower - pieces.upper)[piece, 2]
    solid = _upright(found) & (found.under > _SOLID)
    return float(np.minimum(found.under, fall)[solid].sum())


def _spot(found: Engagement, sample: int) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in found.place[sample])
    return x, y, z


def _wide(work: Work, path: Path, found: Engagement, findings: Findings) -> None:
    """Report cuts that are too wide over more than one diameter of path, outside entries and the
    lap after each."""
    diameter = path.cutter.diameter
    allowed = _allowed(work, diameter)
    free = found.cuts & ~found.entering
    light = found.depth <= work.milling.light_layer + _LAYER_SLACK
    wide = free & (found.width > np.where(light, FULL * diameter, allowed)) & (found.depth > _SOLID)
    for first, last in runs(wide):
        long = float(found.way[first:last].sum())
        if long > diameter:
            at = (first + last) // 2
            says = (
                f"{mm(long):.1f} of way cut {mm(np.median(found.width[first:last])):.2f} "
                f"wide, at most {mm(allowed):.2f} "
                f"(stepover {mm(work.cutting.stepover):.2f}) but in an entry and the lap after it"
            )
            _tell("engagement", says, (first, at), found, path, findings)


def _deep(work: Work, path: Path, found: Engagement, findings: Findings) -> None:
    """Report cuts deeper than a layer: material that a layer above left standing. Thin cuts along
    walls may be of any depth."""
    thin = _THIN * work.milling.finish_allowance + 0.1
    for first, last in runs(found.deep > thin):
        at = first + int(np.argmax(found.deep[first:last]))
        if float(found.way[first:last].sum()) > path.cutter.radius:
            says = (
                f"meets {mm(found.depth[at]):.2f} of wood, {mm(work.cutting.depth):.2f} is the "
                "deepest layer: "
                "the layer above left it standing"
            )
            _tell("layer-missed", says, (first, at), found, path, findings)


def _tell(
    kind: str, says: str, samples: tuple[int, int], found: Engagement, path: Path,
    findings: Findings,
) -> None:  # fmt: skip
    """Report what begins at the first of two samples and is worst at the other."""
    first, at = samples
    line, depth = found.line(path, first), float(found.depth[at])
    findings.add(kind, says, line=line, place=_spot(found, at), depth=depth)


def _strips(work: Work, path: Path, found: Engagement, findings: Findings) -> None:
    """Report where a strip that the layers of a groove left (`wall_strips`) is cut faster than it
    may be, as by a finishing lap where its own lap is missing."""
    allowance = work.milling.finish_allowance
    widest = max((wall_strips(work, pocket).widest for pocket in work.pockets), default=0.0)
    # A strip this narrow makes a finishing lap hardly heavier.
    if widest <= allowance / 2.0:
        return
    allowed = strip_feed(work, widest)
    feed = path.program.feed[path.index][found.pieces.owner[found.piece]]
    heavy = (found.deep > allowance + _MOST_OF * widest) & (feed > _FASTER * allowed)
    for first, last in runs(heavy):
        at = (first + last) // 2
        if float(found.way[first:last].sum()) > path.cutter.diameter:
            says = (
                f"takes {mm(np.median(found.deep[first:last])):.2f} off a wall at full depth at "
                f"F{per_min(feed[at]):.0f}; what the layers leave there has a lap of its own at "
                f"F{per_min(allowed):.0f}"
            )
            _tell("load", says, (first, at), found, path, findings)


def _side(work: Work, path: Path, found: Engagement, findings: Findings) -> None:
    """Report a file that cuts mostly, outside entries, with the material on the side that the job
    does not want."""
    free = found.cuts & ~found.entering
    free[free] = ~_cores(found, np.flatnonzero(free))
    wrong = free & (
        (found.right > found.left) if work.milling.conventional else (found.left > found.right)
    )
    long, all_of_it = float(found.way[wrong].sum()), float(found.way[free].sum())
    if long <= max(4.0 * path.cutter.diameter, all_of_it / 2.0):
        return
    first, last = max(
        runs(wrong), key=lambda run: round(float(found.way[run[0] : run[1]].sum()), 6)
    )
    wished, other = (
        ("conventional", "climb") if work.milling.conventional else ("climb", "conventional")
    )
    says = (
        f"{mm(long):.0f} of {mm(all_of_it):.0f} of way outside entries is {other} milling; the job "
        f"wishes {wished}"
    )
    findings.add(
        "direction", says, line=found.line(path, first), place=_spot(found, (first + last) // 2)
    )
