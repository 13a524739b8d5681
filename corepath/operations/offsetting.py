"""Offset of a deck surface for a cutter: how high its tip must stand so that nothing is cut too deep.

The tip height over a point p is the largest of h(p + q) − rise(|q|) over all places q under the cutter;
there the cutter touches the surface and nowhere does it reach below. X, Y and Z are those of the bed
frame in C, mm. The surface is taken from its grid as a bicubic spline, the same one that the deck
itself is; beyond the grid it is level at its edge height. Pure geometry.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.cutter import Cutter
from corepath.work.deck_steps import Gridded

__all__ = ["CutterOffset", "thin"]

Array = NDArray[np.float64]


class CutterOffset:
    """Tip heights of one cutter over one surface."""

    def __init__(self, surface: Gridded, cutter: Cutter) -> None:
        from scipy.ndimage import spline_filter

        grid = np.pad(np.asarray(surface.grid, dtype=np.float64), 2, mode="edge")
        self.step = float(surface.xs[1] - surface.xs[0])
        self._coef: Array = np.ascontiguousarray(spline_filter(grid, order=3, mode="mirror"))
        self._frame = np.array([float(surface.xs[0]), float(surface.ys[0]), self.step, float(surface.edge)])
        self.corner = cutter.radius if cutter.shape == "ball" else cutter.corner_radius
        self.land = max(cutter.radius - self.corner, 0.0)
        self.cutter = cutter
        self.bend = self._largest_curvature(grid)

    def _largest_curvature(self, grid: Array) -> float:
        along = np.abs(np.diff(grid, 2, axis=0)).max()
        across = np.abs(np.diff(grid, 2, axis=1)).max()
        twist = np.abs(np.diff(np.diff(grid, axis=0), axis=1)).max()
        return float(max(along, across) + twist) / self.step**2

    def ground(self, x: Array, y: Array) -> tuple[Array, Array, Array]:
        """Height (mm) and slopes along X and Y of the surface at the places `x`, `y` (n,)."""
        from corepath.operations.kernels import ground

        height, along, across = ground(self._coef, self._frame, np.ascontiguousarray(x), np.ascontiguousarray(y))
        return height, along, across

    def tip(self, x: Array | float, y: Array | float) -> Array:
        """Tip heights, mm, at the places `x`, `y` (mm, any shapes that broadcast)."""
        from corepath.operations.kernels import tips

        xx, yy = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
        flat = tips(
            self._coef,
            self._frame,
            self.land,
            self.corner,
            self.bend,
            np.ascontiguousarray(xx.ravel()),
            np.ascontiguousarray(yy.ravel()),
        )
        return np.asarray(flat).reshape(xx.shape)


def thin(points: Array, below: float, above: float) -> Array:
    """Fewest of `points` (n, 3), which lie on one straight line seen from above, to keep in the band.

    Each chord lies at most `below` under and `above` over the points that it passes. The first and the
    last point stay.
    """
    from corepath.operations.kernels import chords

    if len(points) < 3:
        return points
    ends = points[-1, :2] - points[0, :2]
    length = math.hypot(*ends)
    along = (points[:, :2] - points[0, :2]) @ (ends / length)
    kept = chords(np.ascontiguousarray(along), np.ascontiguousarray(points[:, 2]), below, above)
    return points[kept]
