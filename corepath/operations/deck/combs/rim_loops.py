"""Loops round the rim of what is finished, over the level ground outside the combs.

Bed frame of C, mm. Where a deck is finished only so far beyond its outline, the ground outside the
combs is a narrow ring. Lines along X cross it in many short pieces; a loop just inside its edge
takes as much as the cutter is wide, a second one what it leaves, as far as it leaves anything.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.geometry.polygons import grow
from corepath.geometry.polylines import along, place_at
from corepath.geometry.rasters import edges_of, inside
from corepath.operations.deck.combs.level_lines import LevelGround
from corepath.operations.deck.deck_lines import OVERHANG

__all__ = ["RimLine", "rim_loops"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_APART = 1.0
"""mm between the places of a loop."""
_INSIDE = 0.75
"""mm by which bins lie within the disc that finishes them: they count by their middle."""
_OVER = 1.25
"""mm: bins that lie no more than this beyond the disc are outside what is finished."""
_MOST = 2  # loops; what lies farther inside is no rim
_GAP = 60.0
"""mm of a loop that nothing needs, from which on it is left out: as a break of a level line."""
_SHORTEST = 40.0
"""mm; a shorter piece of a loop is left to the lines along X."""


@dataclass(frozen=True, slots=True)
class RimLine:
    """A stretch of a loop as a plane: `guide` (n, 2) has its places, `apart` mm from each other; u
    is the way along it, v is 0."""

    guide: Array
    apart: float

    def xy(self, places: Array) -> Array:
        last = len(self.guide) - 1
        at = places[:, 0] / self.apart
        k = np.clip(np.floor(at).astype(np.int64), 0, last - 1)
        # Beyond its ends a stretch goes straight on.
        share = (at - k)[:, None]
        return np.asarray((1.0 - share) * self.guide[k] + share * self.guide[k + 1])

    @property
    def places(self) -> Array:
        """(n, 2) u and v of all its places."""
        return np.column_stack([np.arange(len(self.guide)) * self.apart, np.zeros(len(self.guide))])


def rim_loops(
    ground: LevelGround, finished: Polygon, widest: float, flat: float
) -> tuple[list[RimLine], LevelGround]:
    """Loops inside the edge of `finished` over the `ground` that combs leave, and the ground that
    is left then.

    `widest` is the largest step and `flat` the radius of the cutter's flat part, mm.
    """
    from scipy.spatial import cKDTree

    lines: list[RimLine] = []
    for k in range(_MOST):
        inset = grow(finished, -(flat - OVERHANG + k * widest))
        if not isinstance(inset, Polygon) or inset.is_empty:
            break
        guide, apart = _guide(inset)
        i, j = np.nonzero(ground.needed)
        middles = np.column_stack([ground.xs[i], ground.ys[j]])
        away, near = cKDTree(guide).query(middles)
        # Outside the loop its disc reaches over the edge, and so may bins, which are a bin wider.
        outside = ~inside(edges_of(inset), ground.xs, ground.ys)[i, j]
        taken = away < flat + np.where(outside, _OVER, -_INSIDE)
        wanted = np.zeros(len(guide), dtype=np.bool_)
        wanted[near[taken]] = True
        stretches = list(_stretches(wanted, apart))
        if not stretches:
            break
        within = np.zeros(len(guide), dtype=np.bool_)
        for first, last in stretches:
            at = np.arange(first, last + 1) % len(guide)
            within[at] = True
            lines.append(RimLine(guide[at], apart))
        left = ground.needed.copy()
        done = taken & within[near]
        left[i[done], j[done]] = False
        ground = ground.but(left)
    return lines, ground


def _guide(inset: Polygon) -> tuple[Array, float]:
    """The places (n, 2) of a loop, and how far they lie apart."""
    ring = np.asarray(inset.exterior.coords)[:, :2]
    way = along(ring)
    count = max(round(float(way[-1]) / _APART), 8)
    apart = float(way[-1]) / count
    stations = np.asarray(np.arange(count) * apart, dtype=np.float64)
    return place_at(ring, way, stations), apart


def _stretches(wanted: Mask, apart: float) -> Iterator[tuple[int, int]]:
    """First and last places of the stretches of a loop that hold all that is `wanted` (n,) of it;
    the last may be past the end of the round. A whole loop ends where it began."""
    count, places = len(wanted), np.flatnonzero(wanted)
    if not len(places):
        return
    gaps = np.diff(places, append=places[0] + count)
    breaks = np.flatnonzero(gaps * apart > _GAP)
    if not len(breaks):
        yield 0, count
        return
    ends = math.ceil(_APART / apart)
    for k, at in enumerate(breaks.tolist()):
        first = int(places[(at + 1) % len(places)])
        last = int(places[breaks[(k + 1) % len(breaks)]])
        last += count if last < first else 0
        if (last - first) * apart >= _SHORTEST:
            yield first - ends, last + ends
