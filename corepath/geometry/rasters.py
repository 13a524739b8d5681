"""Which nodes of a lattice lie inside a polygon, row by row where its edges cross; mm."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

__all__ = ["edges_of", "inside", "spans"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def edges_of(polygon: Polygon) -> Floats:
    """Returns the edges of all rings of `polygon`, (n, 4): x1, y1, x2, y2."""
    rings = [shapely.get_coordinates(ring) for ring in (polygon.exterior, *polygon.interiors)]
    return np.vstack([np.hstack([ring[:-1], ring[1:]]) for ring in rings])


def spans(first: Ints, end: Ints) -> tuple[Ints, Ints]:
    """Returns the whole numbers from each of `first` (n,) up to but not including its `end` (n,),
    one range after the other, and the number of the range that each belongs to."""
    counts = np.maximum(end - first, 0)
    owner = np.repeat(np.arange(len(first)), counts)
    return np.arange(len(owner)) + (first - (np.cumsum(counts) - counts))[owner], owner


def inside(edges: Floats, xs: Floats, ys: Floats) -> NDArray[np.bool_]:
    """Returns which of the nodes `xs` (n,) by `ys` (m,), ascending and equally spaced, lie inside
    the closed rings whose `edges` (k, 4) are given in any order, as a mask (n, m).

    A node on an edge may count as either.
    """
    x1, y1, x2, y2 = edges.T
    # half open, so that a vertex on a row belongs to one of its two edges alone
    row, k = spans(np.searchsorted(ys, np.minimum(y1, y2)), np.searchsorted(ys, np.maximum(y1, y2)))
    cut = x1[k] + (ys[row] - y1[k]) / (y2[k] - y1[k]) * (x2[k] - x1[k])
    order = np.lexsort((cut, row))
    row, cut = row[order], cut[order]
    # Rings are closed, so each row has an even number of crossings: in at one, out at the next.
    step = (xs[-1] - xs[0]) / (len(xs) - 1)
    into = np.clip(np.ceil((cut[::2] - xs[0]) / step), 0, len(xs)).astype(np.intp)
    out = np.clip(np.floor((cut[1::2] - xs[0]) / step) + 1, 0, len(xs)).astype(np.intp)
    turn = np.zeros((len(xs) + 1, len(ys)), dtype=np.int32)
    np.add.at(turn, (into, row[::2]), 1)
    np.add.at(turn, (np.maximum(out, into), row[1::2]), -1)
    # summed as they are: made long integers first, they would take four times as long
    return np.cumsum(turn[:-1], axis=0, dtype=turn.dtype) > 0
