"""Distance inside an outline, mm: from the smooth curve that its polygon was made of, not from its
chords.

The vertices of an outline lie on the true curve and its chords keep within 0.001 mm of it.
Distances from the chords would crease the deck at each vertex by a trace that shows in its
curvature. So each edge has a *bulge*: a cubic whose end slopes are those of the parabola through
neighbouring vertices. A *corner* (turn above `_CORNER`) stays sharp, and an edge whose bulge would
exceed what the chords allow is taken as the straight line that it is.
"""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, get_coordinates

from corepath.board.deck.nearest import inside_rows, refine_distances, spread_distances

__all__ = ["OutlineDistance"]

# rad: chords within 0.0008 mm of a curve turn by about sqrt(8 * 0.0008 / r) at each vertex, so more
# than this only on a radius r below 0.3 mm: such a turn is a corner that was drawn
_CORNER = 0.15
# mm: chords keep within 0.001 mm of their curve, so a higher bulge cannot come from a smooth one.
# Without this bound long straight edges beside a curve would belly out.
_LARGEST_BULGE = 0.0012
_SPACING = 0.25  # mm between the samples of the edge line
# bounds memory on a long outline; with fewer samples the nearest one may lie on a neighbouring
# edge, from which the search along the ring still finds the foot
_MOST_SAMPLES = 200_000
_SEED = 2.9  # cells: closer nodes are searched by themselves

Floats = NDArray[np.float64]


class OutlineDistance:
    """Answers how far places inside `outline` (counter-clockwise, no holes) lie from its edge
    line, mm."""

    __slots__ = ("_edges", "_owner", "_tree")

    def __init__(self, outline: Polygon) -> None:
        from scipy.spatial import cKDTree

        ring = get_coordinates(outline.exterior)[:-1]
        # a vertex repeated within 1e-9 mm makes an edge without a direction
        keep = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T) > 1e-9
        ring = ring[keep]
        lengths = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
        start, end = _end_slopes(ring, lengths)
        self._edges = np.ascontiguousarray(
            np.column_stack([ring, np.roll(ring, -1, axis=0), start, end])
        )
        samples, self._owner = _samples(ring, lengths)
        self._tree = cKDTree(samples)

    def on_grid(self, xs: Floats, ys: Floats, most: float) -> Floats:
        """Distance (n, m) at the nodes `xs` (n,) by `ys` (m,) of one step; 0 outside, inf well
        beyond `most`.

        The edge nearest to a node is searched from those of its neighbours that lie nearer the
        outline: the line from a node to its foot passes them.
        """
        from scipy.ndimage import distance_transform_edt

        inside = np.zeros((len(xs), len(ys)), dtype=np.bool_)
        inside_rows(self._edges, xs, ys, inside)
        step = float(xs[1] - xs[0])
        rough = distance_transform_edt(np.pad(inside, 1))[1:-1, 1:-1]
        distance = np.where(inside, np.inf, 0.0)
        edge = np.full(inside.shape, -1, dtype=np.int64)
        i, j = np.nonzero((rough > 0.0) & (rough <= _SEED))
        edge[i, j] = self._nearest(np.column_stack([xs[i], ys[j]]))
        near = np.flatnonzero((rough > 0.0) & (rough * step <= most + 2.0 * step))
        order = near[np.argsort(rough.ravel()[near], kind="stable")]
        spread_distances(self._edges, xs, ys, order, edge, distance)
        return distance

    def distances(self, points: Floats) -> Floats:
        """Distance (n,) of `points` (n, 2) from the edge line, mm."""
        if not len(points):
            return np.empty(0)
        owner = self._nearest(points)
        out = np.empty(len(points))
        refine_distances(self._edges, np.ascontiguousarray(points), owner, out)
        return out

    def _nearest(self, points: Floats) -> NDArray[np.int64]:
        return cast("NDArray[np.int64]", self._owner[self._tree.query(points)[1]])


def _samples(ring: Floats, lengths: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Places along all edges, close together, and the edge that each belongs to."""
    spacing = max(_SPACING, float(lengths.sum()) / _MOST_SAMPLES)
    counts = np.maximum(1, np.ceil(lengths / spacing)).astype(np.int64)
    owner = np.repeat(np.arange(len(ring)), counts)
    first = np.repeat(np.cumsum(counts) - counts, counts)
    share = ((np.arange(len(owner)) - first + 0.5) / counts[owner])[:, None]
    return ring[owner] * (1.0 - share) + np.roll(ring, -1, axis=0)[owner] * share, owner


def _end_slopes(ring: Floats, lengths: Floats) -> tuple[Floats, Floats]:
    """Slopes of each edge's bulge at its start and end, positive outwards."""
    along = np.roll(ring, -1, axis=0) - ring
    back = np.roll(along, 1, axis=0)
    # turn at the start of each edge, positive to the left
    turn = np.arctan2(
        back[:, 0] * along[:, 1] - back[:, 1] * along[:, 0], np.sum(back * along, axis=1)
    )
    corner = np.abs(turn) > _CORNER
    before = np.roll(lengths, 1)
    start = np.where(corner, 0.0, turn * lengths / (before + lengths))
    next_turn, next_corner, after = np.roll(turn, -1), np.roll(corner, -1), np.roll(lengths, -1)
    end = np.where(next_corner, 0.0, -next_turn * lengths / (lengths + after))
    straight = lengths * (np.abs(start) + np.abs(end)) / 8.0 > _LARGEST_BULGE
    # beside a straight edge the curve leaves in that edge's direction
    start = np.where(np.roll(straight, 1) & ~corner, turn, start)
    end = np.where(np.roll(straight, -1) & ~next_corner, -next_turn, end)
    straight |= lengths * (np.abs(start) + np.abs(end)) / 8.0 > 2.0 * _LARGEST_BULGE
    return np.where(straight, 0.0, np.tan(start)), np.where(straight, 0.0, np.tan(end))
