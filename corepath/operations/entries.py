"""Entries into the wood and links between places, shared by pockets and holes: hops, ramps,
helices, fitted paths.

A `ToolpathBuilder` records moves in the bed frame of the set-up, mm and mm/min. Nothing here goes
straight down into solid wood: the cutter enters along a ramp or helix no steeper than its
`ramp_angle`. Only where the path is so small that a turn at this slope gains less than
`_LEAST_PITCH` may a cutter whose edges reach its centre go straight down.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.polylines import along, place_at, turned_to
from corepath.motion.cycles import expand
from corepath.motion.fit import fit_arcs, flatten
from corepath.motion.program import Kind, Move, Pass, line, rapid
from corepath.operations.facing.facing_paths import check_path
from corepath.work.works import Work

__all__ = ["ToolpathBuilder", "ramp_along", "ramp_fits", "slope_of"]

Floats = NDArray[np.float64]

_LEAST_PITCH = 0.05
"""mm; a ramp that gains less than this in a turn is no entry (common practice, no source)."""
ABOVE = 1.0
"""mm above the highest stock where a rapid down ends."""


def slope_of(angle: float) -> float:
    """Fall of a ramp per mm along it (a tangent); `angle` in degrees is the steepest that the
    cutter allows."""
    return math.tan(math.radians(angle))


def ramp_fits(lap: float, angle: float) -> bool:
    """Whether a closed path of `lap` mm is long enough to ramp along."""
    return lap * slope_of(angle) >= _LEAST_PITCH


def ramp_along(
    ring: Floats, start: tuple[float, float], high: float, low: float, angle: float
) -> tuple[Floats, Floats]:
    """A ramp of `angle` degrees along a closed ring from height `high` to `low`, then one level
    lap.

    `ring` is (n, 2), first equals last; the ramp starts at its point nearest to `start` and takes
    as many laps as its slope needs. Returns the (m, 3) points of the ramp and the (n + 1, 3) points
    of the lap, which starts and ends where the ramp ends.
    """
    turned = turned_to(ring, start)
    stations = along(turned)
    lap = float(stations[-1])
    if high <= low:
        return np.column_stack([turned[:1], [low]]), np.column_stack(
            [turned, np.full(len(turned), low)]
        )
    way = (high - low) / slope_of(angle)
    laps = int(way // lap)
    # Every vertex of the ring on each lap, and the place where the ramp ends.
    ways = np.concatenate([*(stations[:-1] + k * lap for k in range(laps + 1)), [way]])
    ways = np.unique(ways[ways <= way])
    places = place_at(turned, stations, ways - lap * np.floor(ways / lap))
    ramp = np.column_stack([places, high - (high - low) * ways / way])
    level = turned_to(ring, (float(places[-1, 0]), float(places[-1, 1])))
    # Exactly the last place of the ramp: rounding would leave a tiny move.
    level[0] = level[-1] = ramp[-1, :2]
    return ramp, np.column_stack([level, np.full(len(level), low)])


class ToolpathBuilder:
    """Toolpath builder: the moves of one pass as they are laid, and where the cutter is.

    Coordinates are nan until the first move.
    """

    def __init__(self, work: Work) -> None:
        self.work = work
        self.moves: list[Move] = []
        self.x = self.y = self.z = math.nan
        self._fitted = 0

    def _add(self, *moves: Move) -> None:
        self.moves.extend(moves)
        self.x, self.y, self.z = moves[-1].x, moves[-1].y, moves[-1].z

    @property
    def place(self) -> tuple[float, float]:
        return self.x, self.y

    def above(self, top: float) -> float:
        """Height down to which a rapid may come over stock of this top."""
        # In D the stock lies on a curve: the height of this place counts, not the highest of the
        # blank.
        highest = top if self.work.sloped else max(top, self.work.stock_top)
        return min(highest + ABOVE, self.work.clear)

    def hop(self, x: float, y: float, low: float) -> None:
        """Rapids up, over at the safe height, and straight down to `low`, which lies above the
        stock."""
        clear = self.work.clear
        if self.moves and self.z != clear:
            self._add(rapid(self.x, self.y, clear))
        if not self.moves or (self.x, self.y) != (x, y):
            self._add(rapid(x, y, clear))
        if low < clear:
            self._add(rapid(x, y, low))

    def drop(self, z: float) -> None:
        """A rapid straight down where the cutter has already been."""
        self._add(rapid(self.x, self.y, z))

    def to(self, x: float, y: float, z: float, feed: float) -> None:
        """A straight feed move, left out where it leads nowhere."""
        # mm: nothing that the text's four decimals could show.
        if math.dist((x, y, z), (self.x, self.y, self.z)) > 1e-9:
            self._add(line(x, y, z, feed))

    def follow(self, points: Floats, feed: float, tolerance: float) -> None:
        """Along (n, 3) points, the first of which is where the cutter is, by lines and arcs within
        `tolerance` mm."""
        moves = fit_arcs(points, feed=feed, tolerance=tolerance, arcs=self.work.arcs)
        if moves:
            self._add(*moves)
            self._fitted += len(points) - 1 - len(moves)

    def finish(self, message: str = "") -> Pass:
        """Up to the safe height; returns the pass after checking it for obstacles and its lowest
        height.

        Raises `CorepathError` as `check_path` does.
        """
        if self.z != self.work.clear:
            self._add(rapid(self.x, self.y, self.work.clear))
        # An arc goes no lower than its ends; only nearness to obstacles needs the arcs themselves.
        check_path(self.work, straightened(self.moves) if self.work.obstacles else self.moves)
        cuts = sum(move.kind != Kind.RAPID for move in self.moves)
        return Pass.of(self.moves, message, cuts + self._fitted)


def straightened(moves: Sequence[Move]) -> list[Move]:
    """The moves with arcs as chords within 0.05 mm, to test how near they come to obstacles."""
    moves = expand(moves)
    straight = list(moves[:1])
    for before, move in itertools.pairwise(moves):
        if move.kind in (Kind.CW, Kind.CCW):
            # A tenth of the clearance that is kept.
            points = flatten((before.x, before.y, before.z), move, 0.05)[1:]
            straight += [line(x, y, z, move.feed) for x, y, z in points.tolist()]
        else:
            straight.append(move)
    return straight
