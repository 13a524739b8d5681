"""Walls of pockets from the motions alone: how near the path comes to the wall, and what it sweeps.

A wall is where the cutter's edge passed nearest to it: deviation = radius - distance of the path,
positive where it was over-cut, negative where wood is left. The distance is exact between straight
pieces and the straight edges of the polygon. What is swept at the floor is a union of buffers whose
round joins keep within 0.001 mm. What the cutter can reach of a pocket is its morphological opening
by a disc of the cutter's radius. Bed frame, mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from corepath.lengths import either, mm, square_mm
from corepath.readback.inspection import Inspection
from corepath.stock.path import Path, Pieces
from corepath.work.works import Pocket

__all__ = [
    "chains", "check_walls", "join_segments", "moves_outside", "opened", "rings_of", "swept_area",
]  # fmt: skip

_AREA = either("mm²", "in²")

# Pieces of one line that is buffered: the cost of a buffer grows faster than the number of its
# points, so long lines are buffered in parts.
_RUN = 200
# Share of the radius within which a disc leaves nothing beside its line: a hole of the buffer that
# lies nearer is false.
_HOLE = 0.99
# Pieces that bound the least distance of all from a wall, and how far beyond that bound (mm) it is
# looked for.
_SOME = 100
_BESIDE = 1e-3
# mm between the points of a wall at which wood left standing is looked for.
_SAMPLE = 1.0

Floats = NDArray[np.float64]


def rings_of(area: BaseGeometry) -> list[Floats]:
    """Return all rings of a polygon or several, as (k, 2) arrays closed by their first point, outer
    ones and holes alike."""
    rings: list[Floats] = []
    for part in shapely.get_parts(area):
        if isinstance(part, Polygon) and not part.is_empty:
            rings.append(np.asarray(part.exterior.coords)[:, :2])
            rings.extend(np.asarray(hole.coords)[:, :2] for hole in part.interiors)
    return rings


def join_segments(radius: float) -> int:
    """Return how many segments a quarter circle needs so that a round join stays within 0.001 mm of
    its circle (`quad_segs` of shapely)."""
    # A chord over the angle `step` lies r (1 - cos(step / 2)) inside its circle.
    step = 2.0 * math.acos(max(1.0 - 0.001 / max(radius, 0.001), 0.0))
    return max(math.ceil(math.pi / 2.0 / step), 4)


def opened(area: Polygon, radius: float) -> BaseGeometry:
    """Return what a cutter of a radius reaches of an area: its morphological opening by a disc."""
    quads = join_segments(radius)
    inset = shapely.buffer(area, -radius, quad_segs=quads)
    return shapely.buffer(inset, radius, quad_segs=quads)


def chains(pieces: Pieces) -> Iterator[Floats]:
    """Yield runs of pieces that follow one another, as (k, 2) arrays, none longer than 200
    pieces."""
    if not len(pieces):
        return
    # 1e-9 mm: ends of following pieces are copies of one place.
    joined = np.all(np.abs(pieces.lower[1:, :2] - pieces.upper[:-1, :2]) < 1e-9, axis=1)
    ends = [0, *(np.flatnonzero(~joined) + 1).tolist(), len(pieces)]
    for begin, end in pairwise(ends):
        for first in range(begin, end, _RUN):
            upper = pieces.upper[first : min(first + _RUN, end), :2]
            yield np.concatenate((pieces.lower[first : first + 1, :2], upper))


def swept_area(pieces: Pieces, radius: float) -> BaseGeometry:
    """Return the area that a cutter sweeps along the pieces, seen from above."""
    lines = [LineString(chain) for chain in chains(pieces)]
    if not lines:
        return Polygon()
    return shapely.union_all([_swept_line(line, radius) for line in lines])


def _swept_line(line: LineString, radius: float) -> BaseGeometry:
    """Return what a disc sweeps along one line, piece by piece where the buffer of the whole is
    wrong."""
    quads = join_segments(radius)
    area = shapely.buffer(line, radius, quad_segs=quads)
    # Around a line that crosses itself the buffer may keep a hole that the disc did sweep. It is
    # told by its distance: a true hole is nowhere nearer to the line than the radius, but for the
    # chords of round joins and for the buffer's own thinning of the line.
    if any(
        line.distance(hole.representative_point()) < _HOLE * radius
        for part in shapely.get_parts(area)
        for hole in map(Polygon, part.interiors)
    ):
        pieces = _segments(np.asarray(line.coords))
        return shapely.union_all(shapely.buffer(pieces, radius, quad_segs=quads))
    return area


def _segments(points: Floats) -> NDArray[np.object_]:
    return np.asarray(
        shapely.linestrings(np.stack((points[:-1], points[1:]), axis=1)), dtype=np.object_
    )


def _piece_lines(pieces: Pieces) -> NDArray[np.object_]:
    ends = np.stack((pieces.lower[:, :2], pieces.upper[:, :2]), axis=1)
    return np.asarray(shapely.linestrings(ends), dtype=np.object_)


def _unique(pieces: Pieces) -> Pieces:
    """Return the pieces without those that repeat another in the plane (layers of one contour)."""
    key = np.round(np.hstack((pieces.lower[:, :2], pieces.upper[:, :2])), 5)
    # Sorted by column: `numpy.unique` compares whole rows, which takes twice as long. Of pieces
    # that are alike the first is kept.
    order = np.lexsort(key.T[::-1])
    which = np.ones(len(pieces), dtype=np.bool_)
    which[order[1:]] = (key[order[1:]] != key[order[:-1]]).any(axis=1)
    return pieces.pick(which)


def moves_outside(path: Path, pockets: Sequence[Pocket]) -> tuple[list[Pieces], Pieces]:
    """Sort the pieces below the pockets' tops by the pocket that holds their middle.

    Returns the pieces of each pocket, and those below the highest top that lie in none.
    """
    pieces = path.pieces
    free = np.ones(len(pieces), dtype=np.bool_)
    owned: list[Pieces] = []
    middle = pieces.middle
    for pocket in pockets:
        # 0.005 mm: what moves at the very height of the top, by the text's rounding, cuts nothing.
        low = np.flatnonzero((pieces.low < pocket.top - 0.005) & free)
        shapely.prepare(pocket.area)
        inside = low[shapely.contains_xy(pocket.area, middle[low, 0], middle[low, 1])]
        free[inside] = False
        mine = np.zeros(len(pieces), dtype=np.bool_)
        mine[inside] = True
        owned.append(pieces.pick(mine))
    top = max((pocket.top for pocket in pockets), default=0.0)
    # 0.005 mm: travel over the stock, thinned and rounded, is no cut.
    return owned, pieces.pick(free & (pieces.low < top - 0.005))


def check_walls(pocket: Pocket, mine: Pieces, seen: Inspection) -> None:
    """Check walls and swept floor of one pocket; `mine` are the pieces that lie in it.

    Measures are the deviation of each wall and the area not swept; what is beyond `allowed.walls`
    is a finding.
    """
    if not len(mine):
        seen.findings.add(
            "not-reached", f"{pocket.id}: no motion cuts in it", place=_middle(pocket)
        )
        return
    radius = seen.path.cutter.radius
    # 0.01 mm: what is cut at the floor, its rounding included, and no layer above.
    floor = mine.below(pocket.floor + 0.01)
    reached = opened(pocket.area, radius)
    single = _unique(mine)
    lines = _piece_lines(single)
    nearest = STRtree(_piece_lines(_unique(floor))) if len(floor) else None
    for name, points in _named_rings(pocket.area):
        over, at, piece = _over_cut(points, lines, radius)
        left, spot = _left_standing(reached, points, nearest, radius, pocket.cleared)
        worst = over if over > left else -left
        where = at if over > left else spot
        seen.measures.take(
            f"{pocket.id} {name}",
            worst,
            0.0,
            "furthest that the wall is cut past (+) or short of (-) its place",
            where,
        )
        if over > seen.allowed.walls:
            line = int(seen.path.line[single.owner[piece]])
            says = f"{pocket.id}: the {name} is cut {mm(over):.3f} too far"
            seen.findings.add(
                "width", says, line=line, place=(at[0], at[1], pocket.floor), depth=over
            )
        if left > seen.allowed.walls:
            says = f"{pocket.id}: the {name} is left standing {mm(left):.3f} short at the floor"
            seen.findings.add("width", says, place=(spot[0], spot[1], pocket.floor), depth=left)
    _check_swept(pocket, reached, floor, seen)


def _middle(pocket: Pocket) -> tuple[float, float, float]:
    point = pocket.area.representative_point()
    return point.x, point.y, pocket.floor


def _named_rings(area: Polygon) -> list[tuple[str, Floats]]:
    rings = rings_of(area)
    if len(rings) == 1:
        return [("wall", rings[0])]
    return [("outer wall", rings[0]), *(("inner wall", ring) for ring in rings[1:])]


def _over_cut(
    ring: Floats, lines: NDArray[np.object_], radius: float
) -> tuple[float, tuple[float, float], int]:
    """Return how far the nearest of the pieces, `lines`, cuts past a wall (mm, negative where it
    stays short), the place, and the index of the piece."""
    edges = _segments(ring)
    tree = STRtree(edges)
    # Some of the pieces bound the distance, within which the tree finds the nearest of all fast.
    some = lines[:: max(len(lines) // _SOME, 1)]
    _, away = tree.query_nearest(some, return_distance=True, all_matches=False)
    most = float(away.min()) + _BESIDE
    near = _near(lines, ring, most)
    pairs, away = tree.query_nearest(
        lines[near], max_distance=most, return_distance=True, all_matches=False
    )
    order = int(np.argmin(away))
    piece, edge = int(near[pairs[0, order]]), int(pairs[1, order])
    spot = shapely.get_coordinates(shapely.shortest_line(lines[piece], edges[edge]))[-1]
    return float(radius - away[order]), (float(spot[0]), float(spot[1])), piece


def _near(lines: NDArray[np.object_], ring: Floats, most: float) -> NDArray[np.int64]:
    """Return the indices of all pieces that may come within `most` mm of a wall, in their order: of
    a pocket's laps few do, and whether a middle lies near is quicker to see than what is
    nearest."""
    ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    half = np.hypot(*(ends[:, 1] - ends[:, 0]).T) / 2.0
    wall = LineString(ring)
    shapely.prepare(wall)
    middles = shapely.points(ends.mean(axis=1))
    # 1e-6 mm: rounding
    return np.flatnonzero(shapely.dwithin(wall, middles, most + half + 1e-6))


def _left_standing(
    reached: BaseGeometry,
    ring: Floats,
    nearest: STRtree | None,
    radius: float,
    cleared: BaseGeometry | None,
) -> tuple[float, tuple[float, float]]:
    """Return how far the path at floor level stays short of a wall that the cutter can reach, and
    where.

    `reached` is the opening of the pocket, `nearest` a tree of the pieces at the floor. A wall that
    an earlier file has `cleared` was checked against that file.
    """
    if nearest is None or reached.is_empty:
        return math.inf, (float(ring[0, 0]), float(ring[0, 1]))
    outline = shapely.segmentize(LineString(ring), _SAMPLE)
    points = shapely.points(shapely.get_coordinates(outline))
    # An opening is two buffers, each within 0.001 mm: a wall that the cutter reaches lies within
    # 0.003 mm of its boundary, one in a corner that it cannot enter much farther off.
    reachable = points[shapely.dwithin(_boundary(reached), points, 0.003)]
    if cleared is not None:
        reachable = reachable[~shapely.dwithin(_boundary(cleared), reachable, 0.003)]
    if not len(reachable):
        return 0.0, (float(ring[0, 0]), float(ring[0, 1]))
    _, away = nearest.query_nearest(reachable, return_distance=True, all_matches=False)
    worst = int(np.argmax(away))
    x, y = shapely.get_coordinates(reachable[worst])[0]
    return float(away[worst] - radius), (float(x), float(y))


def _boundary(area: BaseGeometry) -> BaseGeometry:
    edge = shapely.boundary(area)
    shapely.prepare(edge)
    return edge


def _check_swept(pocket: Pocket, reached: BaseGeometry, floor: Pieces, seen: Inspection) -> None:
    """Check that all that the cutter can reach is swept at the floor, here or before; the area of
    corners that it cannot enter is a measure."""
    swept = swept_area(floor, seen.path.cutter.radius)
    rest = shapely.difference(shapely.buffer(reached, -seen.allowed.walls), swept)
    if pocket.cleared is not None:
        rest = shapely.difference(rest, pocket.cleared)
    area = float(shapely.area(rest))
    unreachable = float(shapely.area(pocket.area) - shapely.area(reached))
    says = f"{_AREA} of its floor that the cutter could reach and does not sweep"
    seen.measures.take_in("mm²", f"{pocket.id} unswept", area, 0.0, says)
    says = f"{_AREA} in corners that the cutter cannot enter"
    seen.measures.take_in("mm²", f"{pocket.id} corners", max(unreachable, 0.0), None, says)
    # mm²: slivers along a wall of polygons that keep within 0.002 mm.
    if area > 0.01:
        part = max(shapely.get_parts(rest), key=lambda piece: float(shapely.area(piece)))
        point = shapely.point_on_surface(part)
        says = f"{pocket.id}: {square_mm(area):.2f~} of its floor are not swept"
        seen.findings.add("not-reached", says, place=(point.x, point.y, pocket.floor), depth=None)
