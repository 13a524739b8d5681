"""Masks: a row parted into runs; a lattice grown by a disc, or parted into areas that hang
together."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["areas", "grown", "runs"]

Mask = NDArray[np.bool_]
Box = tuple[slice, slice]


def runs(which: Mask) -> list[tuple[int, int]]:
    """Return the stretches in which `which` (n,) holds without a break, as (first, one past the
    last).

    >>> runs(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([False], which, [False])).astype(np.int8)))
    return [(first, last) for first, last in edges.reshape(-1, 2).tolist()]


def grown(mask: Mask, radius: float) -> Mask:
    """Returns the nodes (n, m) within `radius` steps of a node of `mask` (n, m)."""
    rows, columns = mask.shape
    reach = min(math.floor(radius), max(rows, columns))
    # how many nodes of the mask a row has before each column
    before = np.zeros((rows, columns + 1), dtype=np.int32)
    np.cumsum(mask, axis=1, out=before[:, 1:])
    at, out = np.arange(columns), np.zeros_like(mask)
    for down in range(min(reach, rows - 1) + 1):
        half = math.floor(math.sqrt(radius * radius - down * down))
        first, end = np.maximum(at - half, 0), np.minimum(at + half + 1, columns)
        near = before[:, end] > before[:, first]
        out[down:] |= near[: rows - down]
        out[: rows - down] |= near[down:]
    return out


def areas(mask: Mask) -> tuple[NDArray[np.int64], list[Box]]:
    """Returns the number of the area that each node belongs to (n, m), from 1, 0 off the mask, and
    the box round each; nodes hang together along rows, columns and diagonals."""
    edges = np.diff(np.pad(mask, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    row, first = np.nonzero(edges == 1)
    end = np.nonzero(edges == -1)[1]
    leader = list(range(len(row)))

    def lead(run: int) -> int:
        while leader[run] != run:
            leader[run] = leader[leader[run]]
            run = leader[run]
        return run

    # runs of one row and those of the row before, side by side in the order of their columns
    starts = np.searchsorted(row, np.arange(mask.shape[0] + 1)).tolist()
    begins, ends = first.tolist(), end.tolist()
    for i in range(1, mask.shape[0]):
        above, here = starts[i - 1], starts[i]
        while above < starts[i] and here < starts[i + 1]:
            if begins[above] <= ends[here] and begins[here] <= ends[above]:
                one, two = sorted((lead(above), lead(here)))
                leader[two] = one
            if ends[above] < ends[here]:
                above += 1
            else:
                here += 1
    found, number = np.unique([lead(run) for run in range(len(row))], return_inverse=True)
    labels, boxes = np.zeros(mask.shape, dtype=np.int64), []
    for run, one in enumerate(number.tolist()):
        labels[row[run], first[run] : end[run]] = one + 1
    for one in range(len(found)):
        mine = number == one
        i, j, k = row[mine], first[mine], end[mine]
        boxes.append((slice(int(i.min()), int(i.max()) + 1), slice(int(j.min()), int(k.max()))))
    return labels, boxes
