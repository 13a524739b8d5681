"""Distance inside an outline, mm: from the smooth curve that its polygon was made of, not from its
chords.

The vertices of an outline lie on the true curve and its chords keep within 0.001 mm of it.
Distances from the chords would crease the deck at each vertex by a trace that shows in its
curvature. So each edge has a *bulge*: a cubic whose end slopes are those of the parabola through
neighbouring vertices. A *corner* (turn above `_CORNER`) stays sharp, and an edge whose bulge would
exceed what the chords allow is taken as the straight line that it is.

Each edge is asked by the nodes of its *strip* alone: those that lie between the inward normals at
its ends, as deep as distances are wanted, and at an inward corner those of the fan between the
normals of its two edges. The way from a node to its foot on the curve stands square to it, so the
strip of the nearest edge has the node.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, get_coordinates

from corepath.geometry.rasters import inside, spans
from corepath.kept import Kept

__all__ = ["OutlineDistance"]

# rad: chords within 0.0008 mm of a curve turn by about sqrt(8 * 0.0008 / r) at each vertex, so more
# than this only on a radius r below 0.3 mm: such a turn is a corner that was drawn
_CORNER = 0.15
# mm: chords keep within 0.001 mm of their curve, so a higher bulge cannot come from a smooth one.
# Without this bound long straight edges beside a curve would belly out.
_LARGEST_BULGE = 0.0012
_FAN = 0.3  # rad: widest piece of a fan
_WIDER = 0.01  # mm: strips overlap by more than rounding, so that none leaves a node out
_DEEPER = 5.0  # mm
_CHUNK = 16_384  # nodes worked out at once: what belongs to them stays in the processor's cache

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


class OutlineDistance:
    """Answers how far places inside `outline` (counter-clockwise, no holes) lie from its edge
    line, mm."""

    __slots__ = ("_edges", "_kept", "_outline", "_turn")

    def __init__(self, outline: Polygon, kept: Kept | None = None) -> None:
        # kept by outline and depth: another deck on the same outline asks for the same distances
        self._outline, self._kept = outline, kept or Kept(0)
        ring = get_coordinates(outline.exterior)[:-1]
        # a vertex repeated within 1e-9 mm makes an edge without a direction
        keep = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T) > 1e-9
        ring = ring[keep]
        ahead = np.roll(ring, -1, axis=0)
        self._turn = _turns(ring)
        start, end = _end_slopes(np.hypot(*(ahead - ring).T), self._turn)
        # (x1, y1, x2, y2, m1, m2): ends, mm, and the slopes of the bulge there, positive outwards,
        # which is to the right of an edge
        self._edges = np.column_stack([ring, ahead, start, end])

    def on_grid(self, xs: Floats, ys: Floats, most: float) -> Floats:
        """Distance (n, m), read-only, at the nodes `xs` (n,) by `ys` (m,) of one step; 0 outside,
        inf beyond `most`, rounded up to whole `_DEEPER`, and two steps more."""
        # rounded up, so that a deck that falls over a little more or less finds them kept
        most = math.ceil(most / _DEEPER) * _DEEPER
        key = ("distance", self._outline, xs.tobytes(), ys.tobytes(), most)
        return self._kept.of(key, lambda: self._on_grid(xs, ys, most))

    def _on_grid(self, xs: Floats, ys: Floats, most: float) -> Floats:
        within = inside(self._edges[:, :4], xs, ys)
        distance = np.where(within, np.inf, 0.0)
        depth = most + 2.0 * float(xs[1] - xs[0])
        corners, edge = _strips(self._edges, self._turn, depth)
        flat, free = distance.ravel(), within.ravel()
        for node, strip in _nodes_in(corners, xs, ys):
            here = free[node]
            node, k = node[here], edge[strip[here]]
            x, y = xs[node // len(ys)], ys[node % len(ys)]
            np.minimum.at(flat, node, _foot(self._edges, k, x, y))
        distance[distance > depth] = np.inf
        distance.setflags(write=False)
        return distance


def _strips(edges: Floats, turn: Floats, depth: float) -> tuple[Floats, Ints]:
    """Corners (n, 6, 2) of convex pieces that cover the nodes nearest to each edge, and the edge
    (n,) of each."""
    start, end = edges[:, :2], edges[:, 2:4]
    along = end - start
    inward = np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(*along.T)[:, None]
    # At a smooth vertex the curve's normal lies between those of both edges. At a corner each edge
    # has its own; an inward one has a fan besides. The bulge turns by half of _CORNER at most.
    smooth = np.abs(turn)[:, None] <= _CORNER
    before = np.where(smooth, np.roll(inward, 1, axis=0), inward)
    after = np.where(np.roll(smooth, -1), np.roll(inward, -1, axis=0), inward)
    deep = 1.01 * depth
    strips = np.stack(
        [start, end, start + deep * before, start + deep * inward, end + deep * inward,
            end + deep * after], axis=1,
    )  # fmt: skip
    corner = np.flatnonzero(turn < -_CORNER)
    piece, k = spans(np.zeros_like(corner), np.ceil(-turn[corner] / _FAN).astype(np.intp))
    k = corner[k]
    angle = np.arctan2(*np.roll(inward, 1, axis=0)[k].T[::-1])
    share = turn[k] / np.ceil(-turn[k] / _FAN)
    sides = [angle + share * (piece + more) for more in (0, 1)]
    tips = [edges[k, :2] + deep * np.column_stack([np.cos(a), np.sin(a)]) for a in sides]
    fans = np.stack([edges[k, :2]] * 4 + tips, axis=1)
    return np.concatenate([strips, fans]), np.concatenate([np.arange(len(edges)), k])


def _nodes_in(corners: Floats, xs: Floats, ys: Floats) -> Iterator[tuple[Ints, Ints]]:
    """The nodes in the convex hulls of `corners` (n, 6, 2), as flat indices, each with the number
    of its hull; chunk by chunk."""
    step, x0, y0 = float(xs[1] - xs[0]), float(xs[0]), float(ys[0])
    x, y = corners[:, :, 0], corners[:, :, 1]
    left, right = x.min(axis=1), x.max(axis=1)
    first = np.clip(np.ceil((left - _WIDER - x0) / step), 0, len(xs)).astype(np.intp)
    end = np.clip(np.floor((right + _WIDER - x0) / step) + 1, 0, len(xs)).astype(np.intp)
    column, hull = spans(first, end)
    at = np.clip(xs[column], left[hull], right[hull])
    low, high = np.full(len(at), np.inf), np.full(len(at), -np.inf)
    # a hull spans in each column what the lines between its corners span
    for a, b in combinations(range(corners.shape[1]), 2):
        xa, xb, ya, yb = x[hull, a], x[hull, b], y[hull, a], y[hull, b]
        wide = np.where(xa == xb, 1.0, xb - xa)
        share = (at - xa) / wide
        # A vertex met within rounding belongs to both its edges, so that none falls between them.
        on = (share >= -1e-12) & (share <= 1.0 + 1e-12)
        # of a line along the column its other end counts with another partner
        height = ya + share * (yb - ya)
        low, high = (
            np.where(on, np.minimum(low, height), low),
            np.where(on, np.maximum(high, height), high),
        )
    bottom = np.clip(np.ceil((low - _WIDER - y0) / step), 0, len(ys)).astype(np.intp)
    top = np.clip(np.floor((high + _WIDER - y0) / step) + 1, 0, len(ys)).astype(np.intp)
    row, part = spans(bottom, top)
    node, owner = column[part] * len(ys) + row, hull[part]
    for i in range(0, len(node), _CHUNK):
        yield node[i : i + _CHUNK], owner[i : i + _CHUNK]


def _foot(edges: Floats, k: Ints, x: Floats, y: Floats) -> Floats:
    """Distance (n,) of the places `x`, `y` (n,) from the edges number `k` (n,)."""
    x1, y1, x2, y2, m1, m2 = edges[k].T
    dx, dy = x2 - x1, y2 - y1
    length = np.sqrt(dx * dx + dy * dy)
    ux, uy = dx / length, dy / length
    px, py = x - x1, y - y1
    p, q = px * ux + py * uy, px * uy - py * ux
    s = np.clip(p / length, -1.0, 2.0)
    # Newton's method for the place where the way to the curve stands square to it. A bulge is at
    # most a few thousandths of a millimetre, so the chord's foot is nearly right to begin with.
    for _ in range(6):
        off = length * s * (1.0 - s) * (m1 * (1.0 - s) - m2 * s)
        slope = length * (m1 * (1.0 - s) * (1.0 - 3.0 * s) - m2 * s * (2.0 - 3.0 * s))
        bend = length * (m1 * (6.0 * s - 4.0) + m2 * (6.0 * s - 2.0))
        pull = (s * length - p) * length + (off - q) * slope
        stiff = length * length + slope * slope + (off - q) * bend
        # beyond the centre of curvature the distance has no least value here: keep what there is
        by = np.where(stiff > 0.0, pull / np.where(stiff > 0.0, stiff, 1.0), 0.0)
        s = np.clip(s - by, -1.0, 2.0)
        if np.abs(by).max(initial=0.0) < 1e-12:
            break
    t = np.clip(s, 0.0, 1.0)
    off = length * t * (1.0 - t) * (m1 * (1.0 - t) - m2 * t)
    return np.asarray(np.hypot(t * length - p, off - q))


def _turns(ring: Floats) -> Floats:
    """The turn at the start of each edge, rad, positive to the left."""
    along = np.roll(ring, -1, axis=0) - ring
    back = np.roll(along, 1, axis=0)
    cross = back[:, 0] * along[:, 1] - back[:, 1] * along[:, 0]
    return np.asarray(np.arctan2(cross, np.sum(back * along, axis=1)))


def _end_slopes(lengths: Floats, turn: Floats) -> tuple[Floats, Floats]:
    """Slopes of each edge's bulge at its start and end, positive outwards."""
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
