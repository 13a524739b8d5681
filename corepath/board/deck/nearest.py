"""Compiled loops for distances from an outline: which nodes are inside, and the nearest place of a
curve.

Each row of `edges` is one edge, (x1, y1, x2, y2, m1, m2): its ends, mm, and the slopes of its bulge
there, positive outwards; the ring runs counter-clockwise, so outwards is to the right of an edge.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["inside_rows", "refine_distances", "spread_distances"]

Floats = NDArray[np.float64]


@njit(cache=True)
def inside_rows(edges: Floats, xs: Floats, ys: Floats, mask: NDArray[np.bool_]) -> None:
    """Marks the nodes xs[i], ys[j] inside the ring in `mask` (n, m), row by row by its
    crossings."""
    count = edges.shape[0]
    cuts = np.empty(count)
    step = (xs[xs.size - 1] - xs[0]) / (xs.size - 1)
    for j in range(ys.size):
        y = ys[j]
        found = 0
        for k in range(count):
            y1, y2 = edges[k, 1], edges[k, 3]
            # half open, so that a vertex on the row belongs to one of its two edges alone
            if (y1 <= y) != (y2 <= y):
                x = edges[k, 0] + (y - y1) / (y2 - y1) * (edges[k, 2] - edges[k, 0])
                # sorted in as they come: a row has few crossings
                at = found
                while at > 0 and cuts[at - 1] > x:
                    cuts[at] = cuts[at - 1]
                    at -= 1
                cuts[at] = x
                found += 1
        for k in range(0, found - 1, 2):
            first = max(math.ceil((cuts[k] - xs[0]) / step), 0)
            last = min(math.floor((cuts[k + 1] - xs[0]) / step), xs.size - 1)
            for i in range(first, last + 1):
                mask[i, j] = True


@njit(cache=True)
def _foot(edges: Floats, k: int, x: float, y: float) -> tuple[float, float]:
    """Nearest place of edge `k`: its parameter, which may pass 0 or 1, and the distance there."""
    dx, dy = edges[k, 2] - edges[k, 0], edges[k, 3] - edges[k, 1]
    length = math.sqrt(dx * dx + dy * dy)
    ux, uy = dx / length, dy / length
    px, py = x - edges[k, 0], y - edges[k, 1]
    p, q = px * ux + py * uy, px * uy - py * ux
    m1, m2 = edges[k, 4], edges[k, 5]
    # the foot on the chord; one edge beyond either end is enough to tell which way the foot lies
    s = min(max(p / length, -1.0), 2.0)
    if m1 == 0.0 and m2 == 0.0:
        t = min(max(s, 0.0), 1.0)
        return s, math.hypot(t * length - p, q)
    # Newton's method for the place where the way to the curve stands square to it. A bulge is at
    # most a few thousandths of a millimetre, so the chord's foot is nearly right to begin with.
    for _ in range(6):
        off = length * s * (1.0 - s) * (m1 * (1.0 - s) - m2 * s)
        slope = length * (m1 * (1.0 - s) * (1.0 - 3.0 * s) - m2 * s * (2.0 - 3.0 * s))
        bend = length * (m1 * (6.0 * s - 4.0) + m2 * (6.0 * s - 2.0))
        pull = (s * length - p) * length + (off - q) * slope
        stiff = length * length + slope * slope + (off - q) * bend
        # beyond the centre of curvature the distance has no least value here: keep what there is
        if stiff <= 0.0:
            break
        step = pull / stiff
        s = min(max(s - step, -1.0), 2.0)
        if abs(step) < 1e-12:
            break
    t = min(max(s, 0.0), 1.0)
    off = length * t * (1.0 - t) * (m1 * (1.0 - t) - m2 * t)
    return s, math.hypot(t * length - p, off - q)


@njit(cache=True)
def _walk(edges: Floats, k: int, x: float, y: float) -> tuple[int, float]:
    """Nearest place searched along the ring from edge `k`: its edge and the distance."""
    # Go to the next edge while the foot lies beyond the end of this one, and never turn back: where
    # both feet lie beyond the corner between two edges, each would send the search to the other.
    count = edges.shape[0]
    moved = 0
    best = math.inf
    at = k
    for _ in range(count):
        s, d = _foot(edges, k, x, y)
        if d < best:
            best = d
            at = k
        if s < 0.0 and moved <= 0:
            moved = -1
        elif s > 1.0 and moved >= 0:
            moved = 1
        else:
            break
        k = (k + moved) % count
    return at, best


@njit(cache=True)
def refine_distances(edges: Floats, points: Floats, owner: NDArray[np.int64], out: Floats) -> None:
    """Writes the distance (mm) of each of `points` (n, 2) into `out` (n,), searched along the ring
    from the edge `owner` (n,)."""
    for i in range(points.shape[0]):
        out[i] = _walk(edges, owner[i], points[i, 0], points[i, 1])[1]


@njit(cache=True)
def spread_distances(
    edges: Floats,
    xs: Floats,
    ys: Floats,
    order: NDArray[np.int64],
    edge: NDArray[np.int64],
    distance: Floats,
) -> None:
    """Fills `distance` and `edge` (n, m) at the flat indices `order`, from known nodes outwards.

    Nodes whose `edge` is set beforehand (not -1) are searched from that edge, all others from their
    neighbours'.
    """
    rows, columns = distance.shape
    for flat in order:
        i, j = flat // columns, flat % columns
        x, y = xs[i], ys[j]
        best = math.inf
        at = edge[i, j]
        if at >= 0:
            at, best = _walk(edges, at, x, y)
        else:
            for a in range(max(i - 1, 0), min(i + 2, rows)):
                for b in range(max(j - 1, 0), min(j + 2, columns)):
                    # neighbours not known yet tell nothing, one of the same edge nothing new
                    k = edge[a, b]
                    if k < 0 or k == at or distance[a, b] == math.inf:
                        continue
                    found, d = _walk(edges, k, x, y)
                    if d < best:
                        best = d
                        at = found
        edge[i, j] = at
        distance[i, j] = best
