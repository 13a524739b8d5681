"""Planes in which lines over the deck are laid: u along the lines, v across them, mm.

The half circles between lines are made in the same plane, then both are laid over the deck (bed
frame of C).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.deck.surface import DeckSurface
from corepath.geometry.polylines import along, place_at
from corepath.kept import Kept

__all__ = ["ALONG", "UPRIGHT", "Outward", "Plane", "outward", "toward_outline"]

Array = NDArray[np.float64]

_APART = 1.0
"""mm between the places of an outline at which its normal is kept."""
_KEPT = 5  # lattices that are kept: three that do not change, and room for two others
_LEVEL = 1e-6
"""Slope below which ground is level but for rounding."""
_SMOOTH = 2.0
"""mm: the normals of an outline are means over about so much of it, or chords would show."""


class Plane(Protocol):
    """Where a plane of lines lies over the deck."""

    def xy(self, places: Array) -> Array:
        """The places (n, 2) of the deck at the places (u, v), (n, 2)."""
        ...


@dataclass(frozen=True, slots=True)
class _Straight:
    """Lines along X, or along Y if `across`."""

    across: bool

    def xy(self, places: Array) -> Array:
        return places[:, ::-1] if self.across else places


ALONG, UPRIGHT = _Straight(False), _Straight(True)
"""Lines along X, and along Y."""


@dataclass(frozen=True, slots=True, eq=False)
class Outward:
    """Lines square to a closed outline: v is the way along it, u the distance from it, positive
    outside.

    `guide` (n, 2) has its places `apart` mm from each other, `normals` (n, 2) the unit vectors
    outward there. What lines need of the plane and have in common is `kept`.
    """

    guide: Array
    normals: Array
    apart: float
    kept: Kept = field(default_factory=lambda: Kept(_KEPT), repr=False)

    @property
    def length(self) -> float:
        return len(self.guide) * self.apart

    def xy(self, places: Array) -> Array:
        at = places[:, 1] / self.apart
        k = np.floor(at).astype(np.int64)
        share = (at - k)[:, None]
        k, after = k % len(self.guide), (k + 1) % len(self.guide)
        foot = (1.0 - share) * self.guide[k] + share * self.guide[after]
        normal = (1.0 - share) * self.normals[k] + share * self.normals[after]
        normal /= np.hypot(*normal.T)[:, None]
        return np.asarray(foot + places[:, :1] * normal)


def outward(outline: Polygon) -> Outward:
    """The plane of lines square to the outline."""
    from scipy.ndimage import gaussian_filter1d

    ring = np.asarray(outline.exterior.coords)[:, :2]
    if outline.exterior.is_ccw:
        ring = ring[::-1]
    way = along(ring)
    count = max(round(float(way[-1]) / _APART), 8)
    apart = float(way[-1]) / count
    stations = np.asarray(np.arange(count) * apart, dtype=np.float64)
    guide = place_at(ring, way, stations)
    step = np.roll(guide, -1, axis=0) - np.roll(guide, 1, axis=0)
    step = gaussian_filter1d(step, _SMOOTH / apart, axis=0, mode="wrap")
    # clockwise: outside lies to the left of the way
    normals = np.column_stack([-step[:, 1], step[:, 0]])
    normals /= np.maximum(np.hypot(*normals.T), 1e-12)[:, None]
    return Outward(guide, normals, apart)


def toward_outline(surface: DeckSurface, square: Outward) -> Array:
    """(n, m, 2) unit vectors square to the outline at the nodes of the surface; along X where it is
    level, and no line needs to be."""
    from scipy.spatial import cKDTree

    ways = np.zeros((*surface.grid.shape, 2))
    ways[..., 0] = 1.0
    i, j = np.nonzero(np.hypot(*np.gradient(surface.grid, surface.step)) > _LEVEL)
    nodes = np.column_stack([surface.xs[i], surface.ys[j]])
    _, near = cKDTree(square.guide).query(nodes)
    ways[i, j] = square.normals[near]
    return ways
