"""Rings that clear a closed area: where the middle of the cutter goes on each layer, without any height.

Lengths in mm, bed frame. The *centre region* is the area shrunk by the cutter's radius: the places where the
cutter may stand. Everything is made of level sets of distances by polygon offset, union and difference.

- A region without a hole is cleared from its deepest places outwards: each piece of a level set that holds
  no piece of the level before is *fresh* (it lies in solid wood and is entered by a ramp along itself).
- A region round an island starts with one fresh ring in its middle, goes outwards to the outer wall, then
  inwards to the island. What stays wider than usual (at corners) is cleared as a region of its own.

Direction: the spindle turns clockwise seen from above (M3), so on the right of the direction of travel the
edge moves backwards, with the work: material on the right is climb milling. Rings with material outside them
run counter-clockwise, those with material inside (towards an island) clockwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from corepath.errors import CorepathError

__all__ = ["Plan", "Ring", "centre_region", "plan_rings", "polygons", "quarter_segments", "swept"]

Floats = NDArray[np.float64]

_SAGITTA = 0.0004  # mm: chords of round joins leave this much
_THIN = 0.0003  # mm: collinear and nearly collinear vertices go
_CORE = 0.9  # share of the radius: a ring of this half width leaves no core standing
_PROOF = 0.003  # mm: how closely the sweep is proved


@dataclass(frozen=True, slots=True)
class Ring:
    """A closed path of the cutter's middle: (n, 2) points, first equals last, in the direction of cutting.

    `fresh`: entered by a ramp along itself. `wall`: it makes a wall of the area.
    """

    points: Floats
    fresh: bool
    wall: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """Rings in the order of cutting, where the cutter's middle may be, and what it cannot reach.

    `reach` is the area opened by the cutter's disc: what it can clear without leaving the area.
    `left` are (mm2, x, y) of the corners that stay, largest first.
    """

    rings: tuple[Ring, ...]
    centre: Polygon
    reach: Polygon
    left: tuple[tuple[float, float, float], ...]


def quarter_segments(radius: float) -> int:
    """Segments of a quarter turn for which round joins of `radius` mm keep within 0.0004 mm."""
    return max(8, math.ceil(math.pi / 4 / math.acos(max(1 - _SAGITTA / max(radius, _SAGITTA), 0.0))))


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of any shape in a fixed order: by left edge, then lower edge, then area."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and not part.is_empty]
    return sorted(parts, key=lambda p: (round(p.bounds[0], 4), round(p.bounds[1], 4), round(p.area, 4)))


def _grow(shape: BaseGeometry, distance: float) -> BaseGeometry:
    return shape.buffer(distance, quad_segs=quarter_segments(abs(distance)))


def _inradius(region: Polygon) -> float:
    """Radius of the largest circle inside, within 1 %."""
    scale = math.sqrt(region.area)
    return float(shapely.maximum_inscribed_circle(region, tolerance=max(1e-4, 0.002 * scale)).length)


def centre_region(area: Polygon, radius: float, name: str) -> Polygon:
    """Where the middle of a cutter of `radius` mm may stand in `area`: one polygon with as many holes.

    Raises `CorepathError` with the place where the cutter does not pass.
    """
    centre = _grow(area, -radius).simplify(_THIN)
    pieces = polygons(centre)
    if len(pieces) == 1 and len(pieces[0].interiors) == len(area.interiors):
        return pieces[0]
    blocked = polygons(area.difference(_grow(centre, radius + 0.01)) if pieces else area)
    place = max(blocked or [area], key=lambda p: p.area).representative_point()
    says = "does not fit into it anywhere" if not pieces else "does not pass through it everywhere"
    raise CorepathError(
        f"{name}: a cutter of {2 * radius:g} mm {says}; narrow at X{place.x:.2f} Y{place.y:.2f}. "
        "Use a smaller cutter or widen it there"
    )


def plan_rings(area: Polygon, radius: float, stepover: float, name: str) -> Plan:
    """Rings that clear all of `area` that a cutter of `radius` mm can reach, neighbours at most `stepover` apart.

    The area may have one hole (an island). Raises `CorepathError` where the cutter does not pass, or where
    the rings cannot be shown by area to sweep all of it.
    """
    if len(area.interiors) > 1:
        raise CorepathError(f"{name}: an area with {len(area.interiors)} islands cannot be cleared; one is allowed")
    centre = centre_region(area, radius, name)
    step = min(stepover, _CORE * radius)
    rings = list(_ring_region(centre, radius, step) if centre.interiors else _region(centre, radius, step))
    reach = max(polygons(_grow(centre, radius)), key=lambda p: p.area)
    rings += _patches(rings, centre, reach, radius, step, name)
    corners = sorted(_corners(area, reach), reverse=True)
    return Plan(tuple(rings), centre, reach, tuple(corners))


def _corners(area: Polygon, reach: Polygon) -> Iterator[tuple[float, float, float]]:
    """(mm2, x, y) of each piece of the area out of reach; slivers along the walls do not count."""
    stays = area.difference(reach)
    for piece in polygons(area.difference(_grow(reach, 0.002))):
        if piece.area > 0.01:
            place = piece.representative_point()
            yield float(stays.intersection(piece.buffer(0.05)).area), place.x, place.y


def swept(rings: list[Ring], radius: float) -> BaseGeometry:
    """What a cutter of `radius` mm sweeps along the rings."""
    return shapely.union_all([_grow(LineString(ring.points), radius) for ring in rings])


def _closed(points: Floats, clockwise: bool, fresh: bool, wall: bool) -> Ring:
    ring = shapely.LinearRing(points)
    return Ring(points[::-1].copy() if ring.is_ccw == clockwise else points, fresh, wall)


def _outer(region: Polygon, fresh: bool, wall: bool) -> Ring:
    return _closed(np.asarray(region.exterior.coords)[:, :2], False, fresh, wall)


def _region(region: Polygon, radius: float, step: float) -> Iterator[Ring]:
    """Rings of a region without a hole, from its deepest places outwards; the last is its boundary."""
    depth = max(_inradius(region) - _CORE * radius, 0.0)
    count = math.ceil(depth / step - 1e-6)
    levels: list[list[Polygon]] = []
    for k in range(count, -1, -1):
        shape = region if k == 0 else _grow(region, -depth * k / count).simplify(_THIN)
        pieces = polygons(shape)
        if k:
            pieces = [p for p in pieces if p.area > 1e-6 and _inradius(p) > 0.05 * radius]
        levels.append(pieces)
    yield from _tree(levels, len(levels) - 1, region)


def _tree(levels: list[list[Polygon]], level: int, piece: Polygon) -> Iterator[Ring]:
    """All rings inside a piece of one level, then its own."""
    inner = [p for p in levels[level - 1] if piece.covers(p.representative_point())] if level else []
    for child in inner:
        yield from _tree(levels, level - 1, child)
    yield _outer(piece, fresh=not inner, wall=level == len(levels) - 1)


def _ring_region(region: Polygon, radius: float, step: float) -> Iterator[Ring]:
    """Rings of a region round one island: the middle, outwards to the outer wall, inwards to the island."""
    outside, island = Polygon(region.exterior), Polygon(region.interiors[0])
    width = _usual_width(outside, island)
    count = max(1, math.ceil(width / 2 / step - 1e-6))
    apart = width / 2 / count

    def level(distance: float) -> Floats:
        grown = polygons(_grow(island, distance).intersection(outside))
        return np.asarray(max(grown, key=lambda p: p.area).simplify(_THIN).exterior.coords)[:, :2]

    if width > 0.2 * radius:
        yield _closed(level(width / 2), False, fresh=True, wall=False)
    for k in range(1, count):
        yield _closed(level(width / 2 + k * apart), False, fresh=False, wall=False)
    for corner in polygons(outside.difference(_grow(island, width + 0.25 * apart))):
        if corner.area > 1e-3 and _inradius(corner) > min(0.25 * apart, 0.1 * radius):
            yield from (Ring(r.points, r.fresh, False) for r in _region(corner, radius, step))
    yield _outer(outside, fresh=width <= 0.2 * radius, wall=True)
    for k in range(1, count):
        yield _closed(level(width / 2 - k * apart), True, fresh=False, wall=False)
    yield _closed(np.asarray(island.exterior.coords)[:, :2], True, fresh=False, wall=True)


def _usual_width(outside: Polygon, island: Polygon) -> float:
    """Median distance from the outer wall of a centre region to its island."""
    ends = np.linspace(0.0, outside.exterior.length, 400, endpoint=False)
    return float(np.median(shapely.distance(shapely.line_interpolate_point(outside.exterior, ends), island)))


def _patches(rings: list[Ring], centre: Polygon, reach: Polygon, radius: float, step: float, name: str) -> list[Ring]:
    """Rings for what the planned ones miss, which happens only in twisted areas."""
    more: list[Ring] = []
    target = reach.buffer(-_PROOF)
    for _ in range(4):
        missed = polygons(target.difference(swept(rings + more, radius)))
        missed = [p for p in missed if p.area > 1e-4]
        if not missed:
            return more
        around = MultiPolygon(missed).buffer(0.3 * radius)
        for piece in polygons(around.intersection(centre)):
            if piece.area > 1e-6:
                more += [Ring(r.points, r.fresh, False) for r in _region(Polygon(piece.exterior), radius, step)]
    place = missed[0].representative_point()
    raise CorepathError(f"{name}: no path sweeps all of it; missed at X{place.x:.2f} Y{place.y:.2f}")
