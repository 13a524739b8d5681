"""Paths round obstacles and inside a frame, shared by facing, roughing and finishing.

The edge of the room where the axis may go (`corepath.work.keepoff`) is cut first, as *contours*:
then nothing that can be reached is left between lines that end at it, and wherever a line begins
there, the cutter comes down on ground that is cut already. A contour is either a closed ring,
entered along a ramp, or it begins and ends beside the blank. Lines are clipped to the room; from
one piece to the next the cutter moves along a contour at depth or over the safe height, whichever
takes less time. The material that stays is on the side that climb milling asks for. Bed frame of
the set-up, mm.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.polygon import orient
from shapely.ops import substring

from corepath.errors import CorepathError
from corepath.geometry.polylines import along, length
from corepath.motion.clock import seconds
from corepath.motion.fit import thin
from corepath.motion.program import Move, line, rapid
from corepath.operations.facing.facing_paths import descend
from corepath.work.keepoff import Area, field_of, room_of
from corepath.work.works import Work

__all__ = ["Around", "Follow", "RoomContour"]

Array = NDArray[np.float64]
Place = tuple[float, float]
Follow = Callable[[Array], Array]
"""From corners (n, 2) to the tip's path (m, 3) along the straight lines between them."""

# mm; places this near to the edge of the room are on it, whatever rounding does.
_ON = 1e-6
# mm between the places of a closed contour along which a ramp is laid.
_SAMPLE = 1.0
# mm; thinning of a ramp, as of all paths (`corepath.motion.fit`).
_RAMP_TOLERANCE = 0.003


@dataclass(frozen=True, slots=True)
class RoomContour:
    """One contour: its corners (n, 2) in the direction of cutting; a closed one ends where it
    begins."""

    corners: Array
    closed: bool

    @property
    def curve(self) -> LineString:
        return LineString(self.corners)


class Around:
    """The room of one work at one height, and the paths in it. Raises `CorepathError` if it is
    empty."""

    def __init__(self, work: Work, room: Area) -> None:
        if room.is_empty:
            raise CorepathError(
                f"{work.stem}: the obstacles of set-up {work.setup} leave the cutter no room at "
                "all; move them"
            )
        self.work, self.room = work, room
        self.framed = work.deck is not None and work.deck.framed
        self.contours = _contours(work, room, self.framed)
        self._whole = room.buffer(_ON)
        shapely.prepare(self._whole)

    @staticmethod
    def of(work: Work, plane: float | None = None) -> Around | None:
        """The room of a work (at one `plane`, by default the lowest); None where nothing restricts
        it.

        Raises `CorepathError` if obstacles leave no room.
        """
        room = room_of(work, plane)
        return None if room is None else Around(work, room)

    def holds(self, x: Array, y: Array) -> NDArray[np.bool_]:
        """Which of the places lie in the room; `x` and `y` of one shape, mm."""
        found: NDArray[np.bool_] = shapely.contains_xy(self._whole, x, y)
        return found

    def straight(self, start: Array, end: Array) -> bool:
        """Return whether the straight line between two places (x, y, …), mm, stays in the room,
        seen from above."""
        return bool(self._whole.covers(LineString([start[:2], end[:2]])))

    def clipped(self, track: Array) -> list[Array]:
        """The pieces (k, 2) of a track (n, 2) that lie in the room, in the order of travel."""
        pieces: list[list[tuple[float, float]]] = []
        for part in self._straight_parts(track):
            # Two segments that meet inside the room stay one piece.
            if pieces and math.dist(pieces[-1][-1], part[0]) < _ON:
                pieces[-1].append(part[1])
            else:
                pieces.append(list(part))
        return [np.array(piece) for piece in pieces if LineString(piece).length > _ON]

    def _straight_parts(self, track: Array) -> Iterator[tuple[Place, Place]]:
        """Yields what lies in the room of each segment of a track (n, 2), from place to place."""
        segments = shapely.linestrings(np.stack([track[:-1], track[1:]], axis=1))
        # Most segments lie wholly inside the room and stay as they are; only the rest are cut.
        shapely.prepare(self.room)
        whole = shapely.contains_properly(self.room, segments)
        cut = shapely.intersection(segments[~whole], self.room)
        rest = zip(cut, track[:-1][~whole], track[1:][~whole], strict=True)
        long, places = shapely.length(segments) > _ON, list(map(tuple, track.tolist()))
        for k, ends in enumerate(itertools.pairwise(places)):
            if not whole[k]:
                yield from _parts(*next(rest))
            elif long[k]:
                yield ends

    def cut_contours(self, follow: Follow, above: float) -> list[Move]:
        """The moves of all contours, each from safe height to safe height; `above` is the height of
        the stock before."""
        moves: list[Move] = []
        for ring in self.contours:
            moves += self._cut(ring, follow, above)
        return moves

    def _cut(self, ring: RoomContour, follow: Follow, above: float) -> list[Move]:
        work, corners = self.work, ring.corners
        way: list[Move] = []
        if ring.closed:
            ramp = _ramp(
                follow(_dense(corners)), above, math.tan(math.radians(work.cutter.ramp_angle))
            )
            way = descend(work, float(ramp[0, 0]), float(ramp[0, 1]), max(float(ramp[0, 2]), above))
            way += [
                line(x, y, z, work.cutting.ramp) for x, y, z in thin(ramp, _RAMP_TOLERANCE).tolist()
            ]
            corners = _turned(corners, ramp[-1, :2])
        path = follow(corners)
        if not way:
            way = descend(work, *(float(value) for value in path[0]))
        way += [line(x, y, z, work.cutting.feed) for x, y, z in path[1:].tolist()]
        return [*way, rapid(way[-1].x, way[-1].y, work.clear)]

    def passage(self, start: Array, end: Array, follow: Follow) -> list[Move]:
        """The moves from one place (3,) on the edge of the room to another, both at depth: along a
        contour or over the safe height, whichever takes less time."""
        work = self.work
        over = [
            rapid(start[0], start[1], work.clear),
            *descend(work, float(end[0]), float(end[1]), float(end[2])),
        ]
        way = self._along(start[:2], end[:2])
        if way is None:
            return over
        path = follow(way)
        about = [line(x, y, z, work.cutting.feed) for x, y, z in path[1:].tolist()]
        limits = work.milling.limits
        here = (float(start[0]), float(start[1]), float(start[2]))
        over_time, about_time = (
            float(seconds(moves, limits, start=here).sum()) for moves in (over, about)
        )
        # Rounded: a tie of floats must not decide. At equal times the cutter stays down.
        return about if round(about_time, 6) <= round(over_time, 6) else over

    def _along(self, start: Array, end: Array) -> Array | None:
        """The shortest path (n, 2) along one contour from place to place; None where no contour
        holds both."""
        one, other = shapely.Point(start), shapely.Point(end)
        for ring in self.contours:
            curve = ring.curve
            # Wider than _ON: places come back from the clipping with its rounding.
            if max(curve.distance(one), curve.distance(other)) > 1e-4:
                continue
            a, b = curve.project(one), curve.project(other)
            ways = [np.array(substring(curve, a, b).coords)]
            if ring.closed:
                first, second = (a, 0.0) if a < b else (a, curve.length)
                rest = (curve.length, b) if a < b else (0.0, b)
                parts = [
                    np.array(substring(curve, *pair).coords) for pair in ((first, second), rest)
                ]
                ways.append(np.concatenate([parts[0], parts[1][1:]]))
            way = min(ways, key=lambda found: round(length(found), 6))
            way[0], way[-1] = start, end
            return way
        return None

    def edge_near(self, x: float, y: float, within: float) -> tuple[float, float] | None:
        """The nearest place (x, y) on a contour, or None if it is more than `within` mm away."""
        place = shapely.Point(x, y)
        curves = [ring.curve for ring in self.contours]
        if not curves:
            return None
        near = min(curves, key=lambda curve: round(curve.distance(place), 6))
        if near.distance(place) > within:
            return None
        at = near.interpolate(near.project(place))
        return at.x, at.y


def _contours(work: Work, room: Area, framed: bool) -> tuple[RoomContour, ...]:
    """The edges of the room that the cutter must follow, in the direction of cutting, in order of X
    and Y."""
    field = field_of(work)
    # Edges that lie wholly beside the blank touch no wood and are not cut.
    wood = work.blank.buffer(work.cutter.radius - 1e-3)
    found = []
    for part in shapely.get_parts(room):
        # Room to the left: what stays is on the right, which is climb milling.
        turned = orient(part, 1.0)
        for edge in (turned.exterior, *turned.interiors):
            found += (
                [RoomContour(np.array(edge.coords), True)]
                if framed
                else _inner(LineString(edge.coords), field)
            )
    rings = [ring for ring in found if ring.curve.intersects(wood)]
    if work.milling.conventional:
        rings = [RoomContour(ring.corners[::-1].copy(), ring.closed) for ring in rings]
    return tuple(sorted(rings, key=lambda ring: tuple(np.round(ring.corners.min(axis=0), 3))))


def _inner(edge: LineString, field: Polygon) -> list[RoomContour]:
    """The parts of an edge of the room that are not the edge of the field itself, in the direction
    of the edge."""
    # A hair inside the field: what does not reach in there is the edge of the field itself.
    inner = field.buffer(-1e-4, join_style="mitre")
    corners = np.array(edge.coords)
    within = [inner.intersects(LineString(pair)) for pair in itertools.pairwise(corners)]
    if all(within):
        return [RoomContour(corners, True)]
    if not any(within):
        return []
    # Start on the edge of the field, so that no run is split by the seam of the ring.
    first = within.index(False)
    order = [(first + k) % len(within) for k in range(len(within))]
    runs: list[list[Array]] = []
    for before, k in zip([order[0], *order], order, strict=False):
        if within[k] and within[before] and runs:
            runs[-1].append(corners[k + 1])
        elif within[k]:
            runs.append([corners[k], corners[k + 1]])
    return [RoomContour(np.array(run), False) for run in runs]


def _parts(kept: shapely.Geometry, start: Array, end: Array) -> list[tuple[Place, Place]]:
    """The straight parts left of a segment, each from its start towards its end."""
    direction = end - start
    found = []
    for part in shapely.get_parts(kept):
        if not isinstance(part, LineString) or part.length <= _ON:
            continue
        ends = np.array(part.coords)[[0, -1]]
        places = (ends - start) @ direction
        first, last = (ends[0], ends[1]) if places[0] <= places[1] else (ends[1], ends[0])
        found.append(
            (
                round(float(min(places)), 6),
                (float(first[0]), float(first[1])),
                (float(last[0]), float(last[1])),
            )
        )
    return [(first, last) for _, first, last in sorted(found)]


def _dense(corners: Array) -> Array:
    return np.array(shapely.segmentize(LineString(corners), _SAMPLE).coords)


def _turned(corners: Array, place: Array) -> Array:
    """The closed ring begun at the place on it nearest to `place`."""
    curve = LineString(corners)
    at = curve.project(shapely.Point(place))
    if at < _ON or at > curve.length - _ON:
        return corners
    head, tail = (
        np.array(substring(curve, *ends).coords) for ends in ((at, curve.length), (0.0, at))
    )
    turned = np.concatenate([head, tail[1:]])
    turned[0] = turned[-1] = place
    return turned


def _ramp(path: Array, high: float, slope: float) -> Array:
    """A ramp (m, 3) along a closed path (n, 3) from `high` down until it meets the path, over as
    many laps as it takes.

    `slope` is the fall per mm.
    """
    lap = length(path)
    # One lap more than the fall needs, so that it is sure to meet the path.
    count = math.ceil(max(high - float(path[:, 2].min()), 0.0) / (slope * lap)) + 1
    way = np.concatenate([path, *(path[1:] for _ in range(count))])
    falling = np.maximum(way[:, 2], high - slope * along(way))
    met = int(np.flatnonzero(falling <= way[:, 2] + 1e-9)[0])
    return np.column_stack([way[: met + 1, :2], falling[: met + 1]])
