"""Inset contours (rings) that clear a closed area: where the middle of the cutter goes on each
layer, without any height.

Lengths in mm, bed frame. The *centre region* is the area inset by the cutter's radius: the places
where the cutter may stand. Everything is made of level sets of distances by polygon offset, union
and difference.

- A region without a hole is cleared from its deepest places outwards: each piece of a level set
  that holds no piece of the level before is *fresh* (it lies in solid wood and is entered by a ramp
  along itself).
- A region round an island starts with one fresh ring in its middle, then works outwards to the
  outer wall, then inwards to the island.
- A fresh ring is cut at full width. Every other one meets at most the stepover: where it would meet
  more, at inward corners and where arms meet, the lap before it makes *reliefs* (see
  `corner_relief`). What they cannot reach one after the other is entered by a ramp of its own.

Direction: the spindle turns clockwise seen from above (M3), so on the right of the direction of
travel the edge moves backwards, with the work: material on the right is climb milling. Rings with
material outside them run counter-clockwise, those with material inside (towards an island)
clockwise. For conventional milling all are reversed.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from corepath.errors import CorepathError
from corepath.geometry.polygons import grow, inradius, opening, polygons
from corepath.geometry.polylines import Floats
from corepath.lengths import mm
from corepath.operations.pockets.corner_relief import (
    CornerRelief,
    NextLap,
    corner_reliefs,
    far_parts,
)
from corepath.work.cutting.wall_strips import LIGHT, usual_width

__all__ = [
    "ContourPlan",
    "InsetContour",
    "Layer",
    "inset_region",
    "plan_contours",
    "region_contours",
    "swept",
]

# mm: collinear and nearly collinear vertices go; less than chords of round joins leave (0.0004).
_THIN = 0.0003
_CORE = 0.9  # share of the radius: a ring of this half width leaves no core standing
_LONE = 0.97  # share of the radius: up to this half width a lone ring leaves no core either
_PROOF = 0.003  # mm: how closely the sweep is proved


@dataclass(frozen=True, slots=True)
class InsetContour:
    """A closed path of the cutter's middle: (n, 2) points, first equals last, in the direction of
    cutting.

    `fresh`: it is entered by a ramp along itself. `wall`: it makes a wall of the area.
    `reliefs` are in their order along it.
    """

    points: Floats
    fresh: bool
    wall: bool
    reliefs: tuple[CornerRelief, ...] = ()


@dataclass(frozen=True, slots=True)
class Layer:
    """How a layer is cut: what stays on its walls for a finishing pass (`leave`, mm), the way of
    milling, and whether it is `light`."""

    leave: float = 0.0
    conventional: bool = False
    light: bool = False


@dataclass(frozen=True, slots=True)
class ContourPlan:
    """Rings in the order of cutting, where the cutter's middle may be, and what it can reach.

    `reach` is the morphological opening of the area by the cutter's disc: what it can clear without
    leaving the area.
    """

    rings: tuple[InsetContour, ...]
    centre: Polygon
    reach: Polygon


def inset_region(area: Polygon, radius: float, name: str) -> Polygon:
    """The places where the middle of a cutter of `radius` mm may stand in `area` (its inset): one
    polygon with as many holes.

    `name` begins the message. Raises `CorepathError` with the place where the cutter does not pass.
    """
    centre = grow(area, -radius).simplify(_THIN)
    pieces = polygons(centre)
    # More pieces, or an island that has merged with the outer wall: somewhere the cutter does not
    # pass.
    if len(pieces) == 1 and len(pieces[0].interiors) == len(area.interiors):
        return pieces[0]
    # What the cutter cannot cover from its centre region; the largest piece of it is where to
    # widen. The 0.01 mm hides slivers along curved walls.
    blocked = polygons(area.difference(grow(centre, radius + 0.01)) if pieces else area)
    place = max(blocked or [area], key=lambda p: p.area).representative_point()
    says = "does not fit into it anywhere" if not pieces else "does not pass through it everywhere"
    raise CorepathError(
        f"{name}: a cutter of {mm(2 * radius):g~} {says}; narrow at X{mm(place.x):.2f} "
        f"Y{mm(place.y):.2f}. "
        "Use a smaller cutter or widen it there"
    )


def plan_contours(
    area: Polygon,
    radius: float,
    stepover: float,
    name: str,
    layer: Layer,
) -> ContourPlan:
    """Rings that clear all of `area` that a cutter of `radius` mm can reach, each lap taking at
    most `stepover` mm.

    The area may have one hole (an island). In a light `layer` laps round an island may take more
    than the stepover, three quarters of the cutter.
    Raises `CorepathError` where the cutter does not pass, or where the rings cannot be shown by
    area to sweep all of it.
    """
    if len(area.interiors) > 1:
        raise CorepathError(
            f"{name}: an area with {len(area.interiors)} islands cannot be cleared; one is allowed"
        )
    centre = inset_region(area, radius + layer.leave, name)
    # With something left on the walls these rings make none: the finishing laps do.
    # Between two laps round an island, each of which sweeps a whole radius, no core is left either.
    step = LIGHT * radius if layer.light and centre.interiors else min(stepover, _CORE * radius)
    sweeper = _Rings(centre, radius, step, layer.leave == 0.0, layer.conventional)
    rings = sweeper.round_island(centre) if centre.interiors else sweeper.region(centre)
    reach = max(polygons(grow(centre, radius)), key=lambda p: p.area)
    rings += _patches(sweeper, rings, reach, name)
    return ContourPlan(tuple(rings), centre, reach)


def region_contours(
    region: Polygon, radius: float, stepover: float, *, conventional: bool
) -> list[InsetContour]:
    """Rings of a piece of a centre region by itself, which may surround one island."""
    sweeper = _Rings(region, radius, min(stepover, _CORE * radius), True, conventional)
    return sweeper.round_island(region) if region.interiors else sweeper.region(region)


def swept(rings: Iterable[InsetContour], radius: float) -> BaseGeometry:
    """What a cutter of `radius` mm sweeps along the rings and their reliefs."""
    lines = [
        LineString(points)
        for ring in rings
        for points in (ring.points, *(d.path for d in ring.reliefs))
    ]
    return shapely.union_all([grow(line, radius) for line in lines])


class _Rings:
    """Makes rings for one cutter: `centre` is where its middle may be, `step` (mm) the widest cut
    beside a fresh ring."""

    def __init__(
        self, centre: Polygon, radius: float, step: float, walls: bool, conventional: bool
    ) -> None:
        self.centre, self.radius, self.step, self.walls = centre, radius, step, walls
        self.conventional = conventional
        # A path along the edge of the centre region must count as inside it, in spite of rounding.
        self.room = centre.buffer(0.001)
        shapely.prepare(self.room)

    def region(self, region: Polygon, wall: bool | None = None) -> list[InsetContour]:
        """Rings of a region without a hole, from its deepest places outwards; the last is its
        boundary.

        `wall`: whether the boundary makes a wall; by default as told when this was made.
        """
        levels: list[list[Polygon]] = []
        for depth in self._depths(inradius(region)):
            pieces = polygons(grow(region, -depth).simplify(_THIN))
            # Specks at the tip of a level set: the next ring outwards clears them.
            pieces = [p for p in pieces if p.area > 1e-6 and inradius(p) > 0.05 * self.radius]
            levels.append([self._rounded(p) for p in pieces])
        levels.append([region])
        return self._tree(levels, len(levels) - 1, region, self.walls if wall is None else wall)

    def _depths(self, widest: float) -> list[float]:
        """Depths of the rings inside a region whose inmost place lies `widest` within it, from the
        deepest on.

        On a circle of radius R round a cleared one the cut by area is as wide as a stepover s on
        the straight when (R' + r)² = R² + r² + 2R(r - s), R' the circle before, r the cutter's
        radius: from this each circle follows from the one before, and their distances are then made
        smaller alike, so that the last is the boundary.
        """
        radius, spare = self.radius, self.radius - self.step
        if widest <= _LONE * radius:
            return []
        # The inmost circle is the largest that leaves no core; outwards from it each follows by the
        # formula, with spare = r − s. Where a slightly larger one, as of a lone ring, saves a lap,
        # that is taken.
        circles, other = (self._circles(share * radius, widest, spare) for share in (_CORE, _LONE))
        if len(other) < len(circles):
            circles = other
        # The last circle lies at the boundary or beyond it, so this only makes distances smaller.
        share = (widest - circles[0]) / max(circles[-1] - circles[0], 1e-9)
        return [(circles[-1] - circle) * share for circle in circles[:-1]]

    def _circles(self, inmost: float, widest: float, spare: float) -> list[float]:
        """Radii of circles from the inmost on, each as far from the one before as the stepover
        allows, the last at `widest` or beyond."""
        radius, circles = self.radius, [inmost]
        while circles[-1] < widest - 1e-6:
            circles.append(math.sqrt(spare**2 + (circles[-1] + radius) ** 2 - radius**2) - spare)
        return circles

    def _rounded(self, piece: Polygon) -> Polygon:
        """The piece with its corners rounded as far as it is wide, so that laps on it turn
        gently."""
        round_by = min(self.radius, 0.7 * inradius(piece))
        # An opening can split a piece at its neck; then it keeps its corners.
        parts = polygons(opening(piece, round_by).simplify(_THIN))
        return parts[0] if len(parts) == 1 else piece

    def _tree(
        self, levels: list[list[Polygon]], level: int, piece: Polygon, wall: bool
    ) -> list[InsetContour]:
        """All rings inside a piece of one level, then its own."""
        inner = (
            [p for p in levels[level - 1] if piece.covers(p.representative_point())]
            if level
            else []
        )
        rings: list[InsetContour] = []
        last: list[int] = []
        for child in inner:
            rings += self._tree(levels, level - 1, child, False)
            # The last ring of a child is its own outer one: the lap after which reliefs can be
            # made.
            last.append(len(rings) - 1)
        if inner:
            rings += self._between(rings, last, inner, piece)
        return [*rings, self._outer(piece, not inner, wall)]

    def _between(
        self, rings: list[InsetContour], last: list[int], inner: Sequence[Polygon], piece: Polygon
    ) -> list[InsetContour]:
        """Detours put into the rings `last` of the inner pieces; returns rings for what they cannot
        reach."""
        parts = far_parts(shapely.union_all(list(inner)), piece, self.step)
        more: list[InsetContour] = []
        for k, index in enumerate(last):
            # Each far part belongs to the nearest child, of equally near ones to the first.
            mine = [
                p
                for p in parts
                if k == int(np.argmin([round(child.distance(p), 6) for child in inner]))
            ]
            # Only the children up to this one are cleared when its reliefs are cut.
            more += self._worked(rings, index, mine, shapely.union_all(list(inner[: k + 1])), piece)
        return more

    def _worked(
        self,
        rings: list[InsetContour],
        index: int,
        parts: Sequence[Polygon],
        inside: BaseGeometry,
        target: BaseGeometry,
    ) -> list[InsetContour]:
        """Gives ring `index` reliefs through `parts`; returns rings for those that no relief can
        clear."""
        ring = rings[index]
        following = NextLap(inside, target, self.step, self.radius)
        found, rest = corner_reliefs(ring.points, parts, following, self.room)
        rings[index] = dataclasses.replace(
            ring, reliefs=tuple(sorted((*ring.reliefs, *found), key=lambda d: d.at))
        )
        return [own for part in rest for own in self._own_entry(part, target)]

    def _own_entry(self, part: Polygon, target: BaseGeometry) -> list[InsetContour]:
        """Rings of a part that is entered by a ramp of its own, grown by some of the stepover into
        what is cleared around it."""
        more: list[InsetContour] = []
        for piece in polygons(
            grow(part, 0.6 * self.step).intersection(target).intersection(self.centre)
        ):
            # mm²: slivers between polygons of nearly the same edge are no place to cut.
            if piece.area > 1e-3:
                more += self.region(Polygon(piece.exterior), False)
        return more

    def round_island(self, region: Polygon) -> list[InsetContour]:
        """Rings of a region round one island: the middle first, outwards to the outer wall, then
        inwards to the island."""
        outside, island = Polygon(region.exterior), Polygon(region.interiors[0])
        width = usual_width(region)
        # A width of just n steps stays n, whatever the rounding of polygons.
        count = max(1, math.ceil(width / self.step - 1e-6))
        # Even distances for the usual width, none wider than a step; begin with the middle one.
        apart, first = width / count, (count + 1) // 2
        # Inwards, what is cleared lies outside a contour. `far_parts` and `corner_reliefs` want it
        # as a shape, so a box well beyond the region, less the contour, takes its place.
        beyond = shapely.box(*outside.bounds).buffer(20.0 * self.radius)
        # Level k is everything within k steps of the island, filled, cut off at the outer wall.
        levels = [self._level(outside, island, k * apart) for k in range(1, count)]
        filled = [island, *levels, outside]
        rings = [self._outer(filled[first], True, self.walls and first == count)]
        for k in range(first + 1, count + 1):
            parts = far_parts(filled[k - 1], filled[k], self.step)
            rings += self._worked(rings, len(rings) - 1, parts, filled[k - 1], filled[k])
            rings.append(self._outer(filled[k], False, self.walls and k == count))
        for k in range(first - 1, -1, -1):
            # The first contour inwards lies beside the fresh ring, which is ring 0; every other
            # beside the one just made.
            source = 0 if k == first - 1 else len(rings) - 1
            inside, target = beyond.difference(filled[k + 1]), beyond.difference(filled[k])
            rings += self._worked(
                rings, source, far_parts(inside, target, self.step), inside, target
            )
            rings.append(self._closed(filled[k], True, False, self.walls and k == 0))
        return rings

    def _outer(self, region: Polygon, fresh: bool, wall: bool) -> InsetContour:
        return self._closed(region, False, fresh, wall)

    def _closed(self, region: Polygon, clockwise: bool, fresh: bool, wall: bool) -> InsetContour:
        points = np.asarray(region.exterior.coords)[:, :2]
        # Reverse where the ring's own sense is not the one asked for.
        turned = region.exterior.is_ccw == (clockwise != self.conventional)
        return InsetContour(points[::-1].copy() if turned else points, fresh, wall)

    def _level(self, outside: Polygon, island: Polygon, distance: float) -> Polygon:
        grown = polygons(grow(island, distance).intersection(outside))
        largest = max(grown, key=lambda p: p.area)
        return Polygon(largest.simplify(_THIN).exterior)


def _patches(
    sweeper: _Rings, rings: list[InsetContour], reach: Polygon, name: str
) -> list[InsetContour]:
    """Rings for what the planned ones miss, which happens only in twisted areas.

    Raises `CorepathError` if four rounds do not clear it.
    """
    more: list[InsetContour] = []
    # Chords of rings and of the reach are each true to a micrometre or so: without this margin the
    # comparison would find slivers along every curved wall.
    target = reach.buffer(-_PROOF)
    for _ in range(4):
        missed = polygons(target.difference(swept(rings + more, sweeper.radius)))
        # mm²: smaller ones come from rounding.
        missed = [p for p in missed if p.area > 1e-4]
        if not missed:
            return more
        # Places of the middle near what was missed; a little of what is cleared around it gives the
        # rings some width.
        around = MultiPolygon(missed).buffer(0.3 * sweeper.radius)
        for piece in polygons(around.intersection(sweeper.centre)):
            if piece.area > 1e-6:
                more += sweeper.region(Polygon(piece.exterior), False)
    place = missed[0].representative_point()
    raise CorepathError(
        f"{name}: no path sweeps all of it; missed at X{mm(place.x):.2f} Y{mm(place.y):.2f}"
    )
