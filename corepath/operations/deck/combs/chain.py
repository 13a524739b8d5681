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
    return _built(lines, *_Order(lines, bounds).best())


class _Order:
    """Lines as poses: where and in which direction they are entered and left, either way."""

    def __init__(
        self, lines: Sequence[ChainLine], bounds: tuple[float, float, float, float]
    ) -> None:
        self._ends = np.array([line.plane.xy(line.places[[0, -1]]) for line in lines])
        self._ways = np.array([_ways(line) for line in lines])
        self._early = np.array([line.early for line in lines])
        self._bounds = bounds

    def best(self) -> tuple[Ints, Ints]:
        """Indices (n,) of the lines in their order, and 1 or -1 (n,) for each: as given or
        reversed."""
        order = np.arange(len(self._ends)), np.ones(len(self._ends), dtype=np.int64)
        for _ in range(_MOST):
            changed = self._moved(*order) or self._reversed(*order)
            if changed is None:
                break
            order = changed
        return order

    def _place(self, k: Ints, o: Ints, *, leaving: bool) -> Array:
        return np.asarray(self._ends[k, ((o > 0) == leaving).astype(np.int64)])

    def _way(self, k: Ints, o: Ints, *, leaving: bool) -> Array:
        return np.asarray(self._ways[k, ((o > 0) == leaving).astype(np.int64)] * o[:, None])

    def _links(self, k: Ints, o: Ints, after: Ints, ways: Ints) -> Array:
        """Cost, mm of line, of the links from the lines `k`, run `o`, to the lines `after`."""
        gap = self._place(after, ways, leaving=False) - self._place(k, o, leaving=True)
        way = self._way(k, o, leaving=True)
        along = np.abs((gap * way).sum(axis=1))
        aside = np.abs(gap[:, 0] * way[:, 1] - gap[:, 1] * way[:, 0])
        straight = np.hypot(gap[:, 0], gap[:, 1]) + _STOPS
        early = np.minimum(self._early[k], self._early[after])
        half_circle = aside * (math.pi / 2.0 - 0.9 * early) + along + _TURN
        against = (way * self._way(after, ways, leaving=False)).sum(axis=1) < -0.5
        turns = against & (aside < WIDEST_TURN)
        return np.where(turns, np.minimum(half_circle, straight + _BACK), straight)

    def _outside(self, k: Ints, o: Ints, *, leaving: bool) -> Array:
        """Way from the ends of the lines to the nearest side."""
        x, y = self._place(k, o, leaving=leaving).T
        left, low, right, high = self._bounds
        return np.asarray(np.minimum.reduce([x - left, right - x, y - low, high - y]))

    def _moved(self, k: Ints, o: Ints) -> tuple[Ints, Ints] | None:
        """The order with one run put where it costs less, either way round; None if none does."""
        links = self._links(k[:-1], o[:-1], k[1:], o[1:])
        edges = [0, *(np.flatnonzero(links > _LONG + _STOPS) + 1).tolist(), len(k)]
        if len(edges) < 3:
            return None
        # Short runs first: they are what was left behind.
        for start, end in sorted(itertools.pairwise(edges), key=lambda run: run[1] - run[0]):
            rest = np.concatenate([k[:start], k[end:]]), np.concatenate([o[:start], o[end:]])
            joints = self._joints(*rest)
            run = k[start:end], o[start:end]
            now = self._added(rest, joints, run)[start]
            for way in (run, (run[0][::-1], -run[1][::-1])):
                added = np.round(self._added(rest, joints, way), 6)
                at = int(np.argmin(added))
                if added[at] < now - _GAIN:
                    return (
                        np.concatenate([rest[0][:at], way[0], rest[0][at:]]),
                        np.concatenate([rest[1][:at], way[1], rest[1][at:]]),
                    )
        return None

    def _joints(self, k: Ints, o: Ints) -> Array:
        """(n + 1,) costs of the links between the lines, with those from and to the outside."""
        return np.concatenate(
            [
                self._outside(k[:1], o[:1], leaving=False),
                self._links(k[:-1], o[:-1], k[1:], o[1:]),
                self._outside(k[-1:], o[-1:], leaving=True),
            ]
        )

    def _added(self, rest: tuple[Ints, Ints], joints: Array, run: tuple[Ints, Ints]) -> Array:
        """(n + 1,) what the `run` costs at each joint of the `rest`."""
        k, o = rest
        first = np.full(len(k), run[0][0]), np.full(len(k), run[1][0])
        last = np.full(len(k), run[0][-1]), np.full(len(k), run[1][-1])
        into = np.concatenate(
            [self._outside(first[0][:1], first[1][:1], leaving=False), self._links(k, o, *first)]
        )
        out = np.concatenate(
            [self._links(*last, k, o), self._outside(last[0][:1], last[1][:1], leaving=True)]
        )
        return np.asarray(into + out - joints)

    def _reversed(self, k: Ints, o: Ints) -> tuple[Ints, Ints] | None:
        """The order with the part between two long links reversed that saves most; None if none
        saves anything."""
        joints = self._joints(k, o)
        cuts = [0, *(np.flatnonzero(joints[1:-1] > _LONG + _STOPS) + 1).tolist(), len(k)]
        pairs = np.array(list(itertools.combinations(cuts, 2)), dtype=np.int64)
        start, end = pairs.T
        # The line that then comes first is now the last of the part, and is run the other way.
        into = np.where(
            start > 0,
            self._links(k[start - 1], o[start - 1], k[end - 1], -o[end - 1]),
            self._outside(k[end - 1], -o[end - 1], leaving=False),
        )
        after = np.minimum(end, len(k) - 1)
        out = np.where(
            end < len(k),
            self._links(k[start], -o[start], k[after], o[after]),
            self._outside(k[start], -o[start], leaving=True),
        )
        saved = np.round(joints[start] + joints[end] - into - out, 6)
        best = int(np.argmax(saved))
        if saved[best] < _GAIN:
            return None
        part = slice(int(start[best]), int(end[best]))
        k, o = k.copy(), o.copy()
        k[part], o[part] = k[part][::-1].copy(), -o[part][::-1].copy()
        return k, o


def _ways(line: ChainLine) -> Array:
    """(2, 2) unit vectors along a line over the deck, at its first and its last place."""
    ends = line.places[[0, -1]]
    ahead = math.copysign(1.0, ends[1, 0] - ends[0, 0])
    way = line.plane.xy(ends + np.array([ahead, 0.0])) - line.plane.xy(ends)
    return np.asarray(way / np.hypot(*way.T)[:, None])


def _built(lines: Sequence[ChainLine], order: Ints, ways: Ints) -> Array:
    """The path with turns where a line runs back beside the one before."""
    pieces: list[tuple[Array, Plane]] = []
    before: ChainLine | None = None
    heading = 0.0
    for k, way in zip(order.tolist(), ways.tolist(), strict=True):
        line = lines[k]
        places = line.places[::way]
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
