"""Drop-cutter heights over a deck surface: how high a cutter's tip must stand so that it gouges
nothing.

The tip height over a point p is the largest of h(p + q) − z(|q|) over all places q under the
cutter, z being its profile. There the cutter touches the surface, and nowhere does it reach below.
X, Y and Z are those of the bed frame in C, mm. Elementary geometry, no source needed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.motion.cutter import Cutter

__all__ = ["DropCutter", "thin"]

Array = NDArray[np.float64]

_BLOCK = 4.0
"""mm; size of the blocks in which the curvature is bounded. A bound holds for all of a block and
for the cutter's radius about it: larger blocks make it coarser, smaller ones only cost memory."""
_FEW = 2000
"""Places up to which a search takes less time than looking up what is known."""
_MANY = 500_000
"""Most places whose heights are kept, which takes 24 bytes each and for a while 100; the path of a
large board has a fifth of them."""
_ROUNDING = 1e-9
"""mm; second differences below it are taken for rounding, and the ground for a plane."""


class DropCutter:
    """Drop-cutter heights of one cutter over one surface."""

    def __init__(self, surface: DeckSurface, cutter: Cutter) -> None:
        self.surface = surface
        self.cutter = cutter
        self._block, self._bends = self._curvatures()
        self._peaks = _highest_nodes(surface, round(self._block / surface.step))
        self._known = np.array([complex(np.inf, np.inf)])
        self._heights: Array = np.array([np.nan])

    def _curvatures(self) -> tuple[float, Array]:
        """Size of the blocks, mm, and bounds (columns, rows, 2), 1/mm, of the curvature under the
        cutter anywhere over each block: of any sign, and upwards only, as in a hollow.

        Second derivatives of a uniform cubic B-spline are weighted means of the second differences
        of its coefficients (the weights are positive and sum to 1), so the largest difference
        bounds them.
        """
        from scipy.ndimage import maximum_filter

        coef, step = self.surface.coefficients, self.surface.step
        along, across, twist = np.zeros_like(coef), np.zeros_like(coef), np.zeros_like(coef)
        along[1:-1] = np.diff(coef, 2, axis=0)
        across[:, 1:-1] = np.diff(coef, 2, axis=1)
        twist[:-1, :-1] = np.abs(np.diff(np.diff(coef, axis=0), axis=1))
        size = max(1, round(_BLOCK / step))
        # A place draws on coefficients up to two nodes away; the third is for the rounding to whole
        # blocks.
        reach = math.ceil((self.cutter.radius / step + 3.0) / size)
        short = [(0, -n % size) for n in coef.shape]
        breaks_off = not _level_rim(self.surface)
        bounds = []
        for either in (
            np.maximum(np.abs(along), np.abs(across)),
            np.maximum(np.maximum(along, across), 0.0),
        ):
            # The largest eigenvalue of [[a, t], [t, b]] is at most max(|a|, |b|) + |t|.
            bends = either + twist
            bends[bends < _ROUNDING] = 0.0
            # Beyond the grid the ground is level at the edge height. Where the outermost nodes are
            # not at that height it breaks off there, a step that no second difference shows: the
            # rim gets the largest bound there is, so that more starts are tried.
            if breaks_off:
                bends[:4], bends[-4:], bends[:, :4], bends[:, -4:] = (bends.max(),) * 4
            padded = np.pad(bends, short)
            blocks = padded.reshape(padded.shape[0] // size, size, -1, size).max(axis=(1, 3))
            bounds.append(maximum_filter(blocks, 2 * reach + 1, mode="nearest") / step**2)
        return size * step, np.ascontiguousarray(np.stack(bounds, axis=-1))

    def tip(self, x: Array | float, y: Array | float) -> Array:
        """Drop-cutter heights, mm, at the places `x`, `y` (mm, any shapes that broadcast); the
        result has their shape.

        A path is laid several times with few lines moved, so heights are kept: each place is
        searched once.
        """
        xx, yy = np.broadcast_arrays(
            np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        )
        if not _FEW < xx.size <= _MANY:
            return self._searched(xx.ravel(), yy.ravel()).reshape(xx.shape)
        places = xx.ravel() + 1j * yy.ravel()
        # Complex numbers are ordered by X, then by Y; the infinite one stands for none known yet.
        at = np.searchsorted(self._known[:-1], places)
        new = np.unique(places[self._known[at] != places])
        if len(new):
            at = np.searchsorted(self._known[:-1], new)
            self._known = np.insert(self._known, at, new)
            self._heights = np.insert(self._heights, at, self._searched(new.real, new.imag))
        return self._heights[np.searchsorted(self._known, places)].reshape(xx.shape)

    def _searched(self, x: Array, y: Array) -> Array:
        """Drop-cutter heights (n,), mm, at the places `x`, `y` (n,), mm, each searched for."""
        from corepath.operations.deck.drop_cutter_kernels import tips

        return np.asarray(
            tips(
                self.surface.coefficients,
                self.surface.frame,
                self.cutter.profile,
                self._bends,
                self._peaks,
                self._block,
                np.ascontiguousarray(x),
                np.ascontiguousarray(y),
            )
        )


def _highest_nodes(surface: DeckSurface, size: int) -> Array:
    """Height and place (columns, rows, 3), mm, of the highest node in each block of `size` by
    `size` nodes of the deck's grid."""
    short = [(0, -n % size) for n in surface.grid.shape]
    nodes = np.pad(surface.grid, short, constant_values=-np.inf)
    columns, rows = nodes.shape[0] // size, nodes.shape[1] // size
    blocks = nodes.reshape(columns, size, rows, size).swapaxes(1, 2).reshape(columns, rows, -1)
    highest = blocks.argmax(axis=2)
    i = np.arange(columns)[:, None] * size + highest // size
    j = np.arange(rows)[None, :] * size + highest % size
    return np.ascontiguousarray(
        np.stack((blocks.max(axis=2), surface.xs[i], surface.ys[j]), axis=-1)
    )


def _level_rim(surface: DeckSurface) -> bool:
    """Whether the two outermost rows of nodes on each side lie at the edge's height, so that the
    surface runs on without a step."""
    grid = surface.grid
    rims = (grid[:2], grid[-2:], grid[:, :2], grid[:, -2:])
    return all(float(np.abs(rim - surface.edge).max()) < _ROUNDING for rim in rims)


def thin(points: Array, below: float, above: float) -> Array:
    """The fewest of `points` (n, 3) whose chords keep within the band; seen from above they lie on
    one straight line.

    Each chord lies at most `below` under and `above` over the points that it passes, mm. The first
    and the last point stay.
    """
    from corepath.operations.deck.drop_cutter_kernels import chords

    if len(points) < 3:
        return points
    ends = points[-1, :2] - points[0, :2]
    length = math.hypot(*ends)
    along = (points[:, :2] - points[0, :2]) @ (ends / length)
    kept = chords(np.ascontiguousarray(along), np.ascontiguousarray(points[:, 2]), below, above)
    return points[kept]
