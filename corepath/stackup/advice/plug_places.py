"""Where a plug may move to: places inside the groove that are clear of all else, with a deck low
enough over it."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from corepath.board.features import Board
from corepath.lengths import MM_PER_INCH
from corepath.stackup.skim import TIE
from corepath.stackup.stacks import CastingStack
from corepath.stackup.stackup import Stackup

__all__ = ["SEARCH", "PlugPlaces"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SEARCH = 4.0
"""mm between the places tried for a plug."""


class PlugPlaces:
    """The places inside the groove to which plugs may move, worked out when first asked for: what
    is near each of them is the same for all plugs of a size."""

    def __init__(self, stack: Stackup, board: Board) -> None:
        self._stack, self._board = stack, board
        self._near: dict[float, tuple[Ints, Ints]] = {}

    def nearest(self, casting: CastingStack, limit: float) -> tuple[float, float] | None:
        """Return the place nearest to the plug's own that is clear of everything else and where the
        deck over the plug is at most `limit` mm; None if there is none."""
        board, area = self._board, casting.casting.area
        middle = area.centroid
        x, y, deck = self._grid
        which = np.flatnonzero((deck <= limit) & ~self._surely_taken(casting))
        away = np.round(np.hypot(x[which] - middle.x, y[which] - middle.y), 3)
        taken = self._taken(casting)
        # Nearest first; equal distances in the order of the grid, whatever their float noise. The
        # deck at the middle was tested above; over the whole plug it may still be too high.
        for k in which[np.argsort(away, kind="stable")]:
            moved = translate(area, x[k] - middle.x, y[k] - middle.y)
            if self._too_near(moved, taken) or not moved.within(board.island):
                continue
            if board.deck.highest_over(moved)[0] <= limit:
                return float(x[k]), float(y[k])
        return None

    def _too_near(self, moved: BaseGeometry, taken: NDArray[np.object_]) -> bool:
        # shapes that are prepared: the groove may have thousands of points
        return self._room > 0.0 and bool(shapely.dwithin(taken, moved, self._room).any())

    @property
    def _room(self) -> float:
        return self._stack.job.limits.spacing - TIE

    @cached_property
    def _grid(self) -> tuple[Floats, Floats, Floats]:
        """X, Y and height of the deck of all places, (n,)."""
        stack, board = self._stack, self._board
        min_x, min_y, max_x, max_y = board.island.bounds
        columns, rows = np.meshgrid(
            _tried(stack, min_x, max_x), _tried(stack, min_y, max_y), indexing="ij"
        )
        x, y = columns.ravel(), rows.ravel()
        inside = shapely.contains_xy(board.island, x, y)
        x, y = x[inside], y[inside]
        return x, y, np.asarray(board.deck.height(x, y))

    @cached_property
    def _tree(self) -> STRtree:
        x, y, _ = self._grid
        return STRtree(shapely.points(x, y))

    @cached_property
    def _shapes(self) -> NDArray[np.object_]:
        """All that a casting must keep the spacing to, board frame: castings first, in order."""
        # Dowels need no room here: they stand in the rim, and the groove lies between.
        shapes: list[BaseGeometry] = [casting.area for casting in self._board.castings]
        shapes += [place.seat.area for place in self._board.places]
        # a face is touched on sound wood
        machine = self._stack.job.machine
        if machine.z_zero == "face" and machine.touch_at is not None:
            shapes.append(shapely.Point(machine.touch_at))
        found = np.array(shapes, dtype=object)
        shapely.prepare(found)
        return found

    def _own(self, casting: CastingStack) -> int:
        names = [other.id for other in self._board.castings]
        return names.index(casting.casting.id)

    def _taken(self, casting: CastingStack) -> NDArray[np.object_]:
        return np.delete(self._shapes, self._own(casting))

    def _surely_taken(self, casting: CastingStack) -> NDArray[np.bool_]:
        """Tell at which places, (n,), a disc about the middle of the plug, which lies in it, comes
        too near to something else. A plug may still do so with what is not of this disc."""
        area, middle = casting.casting.area, casting.casting.area.centroid
        disc = area.boundary.distance(middle) if area.contains(middle) else 0.0
        found = np.zeros(len(self._grid[0]), dtype=np.bool_)
        if self._room > 0.0:
            shape, place = self._places_near(round(disc + self._room - TIE, 6))
            found[place[shape != self._own(casting)]] = True
        return found

    def _places_near(self, reach: float) -> tuple[Ints, Ints]:
        """Return which shapes come within `reach` mm of which places, as pairs of numbers."""
        if reach not in self._near:
            self._near[reach] = tuple(
                self._tree.query(self._shapes, predicate="dwithin", distance=reach)
            )
        return self._near[reach]


def _tried(stack: Stackup, least: float, most: float) -> NDArray[np.float64]:
    """Return the coordinates tried between `least` and `most`, mm: such as are printed in full,
    since a place that is rounded when it is told need not do."""
    printed = 1.0 if stack.job.units == "mm" else 0.01 * MM_PER_INCH
    first, last = math.ceil(least / printed), math.floor(most / printed)
    lattice = np.arange(first, last + 1, max(1, round(SEARCH / printed)))
    return np.asarray(lattice * printed, dtype=np.float64)
