"""One path through lines of several planes, in an order with short links.

Bed frame of C, mm. The lines come in a first order. It is cut at its long links into runs; a run is
put elsewhere, or the path between two long links is reversed, for as long as that saves way. Lines
beside one another are joined by half circles as in `corepath.operations.deck.deck_route`, all
others straight. Links follow the surface as the lines do: they cut what they meet and leave no
mark.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.operations.deck.combs.planes import Plane
from corepath.operations.deck.deck_route import WIDEST_TURN, turned

__all__ = ["ChainLine", "chained"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_STOPS = 31.0
"""mm of line that the two corners of a straight link cost: 0.3 s of a machine that gains 100 mm/s
in 0.16."""
_TURN = 15.0
"""mm of line that half a circle costs beside its way."""
_BACK = 20.0
"""mm added to a straight link back beside the line before."""
_LONG = 30.0
"""mm; a link that costs more than this and its stops is long."""
_GAIN = 0.01  # mm; a change must save so much
_MOST = 300
"""Changes at most, a bound on the time; 20 to 60 are made on the samples."""


@dataclass(frozen=True, slots=True)
class ChainLine:
    """Places (k, 2) of a line in its plane, u along it; `early` is the share of the radius by which
    turns at its ends may begin before them."""

    places: Array
    plane: Plane
    early: float


def chained(lines: Sequence[ChainLine], bounds: tuple[float, float, float, float]) -> Array:
    """A path (n, 2) through all `lines`, which are in a first order and may be run either way.

    `bounds` (left, low, right, high) are the sides over one of which the path begins and ends.
    """
    return _built(lines, _Order(lines, bounds).best())


class _Order:
    """Lines as poses: 2 n for line n as given, 2 n + 1 for it reversed."""

    def __init__(
        self, lines: Sequence[ChainLine], bounds: tuple[float, float, float, float]
    ) -> None:
        ends = np.array([line.plane.xy(line.places[[0, -1]]) for line in lines])
        ways = np.array([_ways(line) for line in lines])
        # where each pose begins and where it ends, and which way it runs there
        self._first, self._last = _posed(ends), _posed(ends[:, ::-1])
        self._sets_out, self._arrives = _posed(ways), _posed(ways[:, ::-1])
        self._sets_out[1::2] *= -1.0
        self._arrives[1::2] *= -1.0
        self._early = np.repeat([line.early for line in lines], 2)
        self._outside_first = _outside(self._first, bounds)
        self._outside_last = _outside(self._last, bounds)
        self._poses = np.arange(2 * len(lines))
        # links from all poses to one, and from one to all: few runs are tried again and again
        self._to: dict[int, Array] = {}
        self._from: dict[int, Array] = {}

    def best(self) -> Ints:
        """Poses (n,) of all lines in their order."""
        order = self._poses[::2]
        for _ in range(_MOST):
            joints = self._joints(order)
            changed = self._moved(order, joints)
            if changed is None:
                changed = self._reversed(order, joints)
            if changed is None:
                break
            order = changed
        return order

    def _links(self, poses: Ints, after: Ints) -> Array:
        """Cost, mm of line, of the links from the `poses` to those `after`."""
        gap = self._first[after] - self._last[poses]
        way = self._arrives[poses]
        along = np.abs((gap * way).sum(axis=1))
        aside = np.abs(gap[:, 0] * way[:, 1] - gap[:, 1] * way[:, 0])
        straight = np.hypot(gap[:, 0], gap[:, 1]) + _STOPS
        early = np.minimum(self._early[poses], self._early[after])
        half_circle = aside * (math.pi / 2.0 - 0.9 * early) + along + _TURN
        against = (way * self._sets_out[after]).sum(axis=1) < -0.5
        turns = against & (aside < WIDEST_TURN)
        return np.where(turns, np.minimum(half_circle, straight + _BACK), straight)

    def _links_to(self, pose: int) -> Array:
        if pose not in self._to:
            self._to[pose] = self._links(self._poses, np.full(len(self._poses), pose))
        return self._to[pose]

    def _links_from(self, pose: int) -> Array:
        if pose not in self._from:
            self._from[pose] = self._links(np.full(len(self._poses), pose), self._poses)
        return self._from[pose]

    def _joints(self, order: Ints) -> Array:
        """(n + 1,) costs of the links between the poses, with those from and to the outside."""
        return np.concatenate(
            [
                self._outside_first[order[:1]],
                self._links(order[:-1], order[1:]),
                self._outside_last[order[-1:]],
            ]
        )

    def _moved(self, order: Ints, joints: Array) -> Ints | None:
        """The order with one run put where it costs less, either way round; None if none does."""
        edges = _edges(joints)
        if len(edges) < 3:
            return None
        # Short runs first: they are what was left behind.
        for start, end in sorted(itertools.pairwise(edges), key=lambda run: run[1] - run[0]):
            run, rest = order[start:end], np.concatenate([order[:start], order[end:]])
            closed = self._closed(order, start, end)
            beside = np.concatenate([joints[:start], [closed], joints[end + 1 :]])
            now = self._added(rest, beside, run)[start]
            for way in (run, run[::-1] ^ 1):
                added = np.round(self._added(rest, beside, way), 6)
                at = int(np.argmin(added))
                if added[at] < now - _GAIN:
                    return np.concatenate([rest[:at], way, rest[at:]])
        return None

    def _closed(self, order: Ints, start: int, end: int) -> float:
        """Cost of the link over what is taken out from `start` to `end`."""
        if start == 0:
            return float(self._outside_first[order[end]])
        if end == len(order):
            return float(self._outside_last[order[start - 1]])
        return float(self._links(order[start - 1 : start], order[end : end + 1])[0])

    def _added(self, rest: Ints, joints: Array, run: Ints) -> Array:
        """(n + 1,) what the `run` costs at each joint of the `rest`."""
        first, last = int(run[0]), int(run[-1])
        added = np.empty(len(joints))
        added[0] = self._outside_first[first]
        added[1:] = self._links_to(first)[rest]
        added[:-1] += self._links_from(last)[rest]
        added[-1] += self._outside_last[last]
        return np.asarray(added - joints)

    def _reversed(self, order: Ints, joints: Array) -> Ints | None:
        """The order with the part between two long links reversed that saves most; None if none
        saves anything."""
        pairs = np.array(list(itertools.combinations(_edges(joints), 2)), dtype=np.int64)
        start, end = pairs.T
        # The line that then comes first is now the last of the part, and is run the other way.
        first, last = order[end - 1] ^ 1, order[start] ^ 1
        after = order[np.minimum(end, len(order) - 1)]
        into = np.where(start > 0, self._links(order[start - 1], first), self._outside_first[first])
        out = np.where(end < len(order), self._links(last, after), self._outside_last[last])
        saved = np.round(joints[start] + joints[end] - into - out, 6)
        best = int(np.argmax(saved))
        if saved[best] < _GAIN:
            return None
        part = slice(int(start[best]), int(end[best]))
        return np.concatenate([order[: part.start], order[part][::-1] ^ 1, order[part.stop :]])


def _posed(ends: Array) -> Array:
    """(2 n, 2) the first of two (n, 2, 2) for each line as given, the second for it reversed."""
    return np.ascontiguousarray(ends.reshape(-1, 2))


def _outside(places: Array, bounds: tuple[float, float, float, float]) -> Array:
    """(n,) way from the places (n, 2) to the nearest side."""
    (x, y), (left, low, right, high) = places.T, bounds
    return np.asarray(np.minimum.reduce([x - left, right - x, y - low, high - y]))


def _edges(joints: Array) -> list[int]:
    """Where runs begin and end: the first pose, those after long links, past the last."""
    return [0, *(np.flatnonzero(joints[1:-1] > _LONG + _STOPS) + 1).tolist(), len(joints) - 1]


def _ways(line: ChainLine) -> Array:
    """(2, 2) unit vectors along a line over the deck, at its first and its last place."""
    ends = line.places[[0, -1]]
    ahead = math.copysign(1.0, ends[1, 0] - ends[0, 0])
    way = line.plane.xy(ends + np.array([ahead, 0.0])) - line.plane.xy(ends)
    return np.asarray(way / np.hypot(*way.T)[:, None])


def _built(lines: Sequence[ChainLine], order: Ints) -> Array:
    """The path with turns where a line runs back beside the one before."""
    pieces: list[tuple[Array, Plane]] = []
    before: ChainLine | None = None
    heading = 0.0
    for pose in order.tolist():
        line = lines[pose // 2]
        places = line.places[:: -1 if pose % 2 else 1]
        ahead = float(places[-1, 0] - places[0, 0])
        if before is not None and before.plane is line.plane and ahead * heading < 0.0:
            on = 1 if heading > 0.0 else -1
            last, _ = pieces.pop()
            turning = turned(last, places, on, min(before.early, line.early))
            pieces += [(piece, line.plane) for piece in turning[:2]]
            places = turning[2]
        pieces.append((places, line.plane))
        before, heading = line, ahead
    return np.concatenate([plane.xy(places) for places, plane in pieces if len(places)])
