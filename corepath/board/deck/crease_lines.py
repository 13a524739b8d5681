"""Lines of a crease from its points on the edges of a lattice; for the terms see
`corepath.board.deck.crease`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["segments_of"]

Floats = NDArray[np.float64]


def segments_of(points: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Returns lines (k, 6) that join the crease's points (n, m, 4, 3) in each triangle, sorted by
    cell, and where each cell's begin."""
    inner = (slice(None, -1), slice(None, -1))
    along, across, rising, falling = (points[:, :, edge] for edge in range(4))
    near, far = along[inner], along[:-1, 1:]
    left, right = across[inner], across[1:, :-1]
    # a cell is cut along both its diagonals: cut along one alone, a mirrored deck would be rounded
    # otherwise
    triangles = (
        (near, right, rising[inner]), (left, far, rising[inner]),
        (near, left, falling[inner]), (right, far, falling[inner]),
    )  # fmt: skip
    rows, columns = points.shape[:2]
    cells = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)[None, :]).ravel()
    lines, owners = [], []
    for triangle in triangles:
        for one, two in ((0, 1), (1, 2), (0, 2)):
            line = np.concatenate([triangle[one], triangle[two]], axis=-1).reshape(-1, 6)
            there = np.isfinite(line[:, 0] + line[:, 3])
            lines.append(line[there])
            owners.append(cells[there])
    owner = np.concatenate(owners)
    order = np.argsort(owner, kind="stable")
    first = np.searchsorted(owner[order], np.arange(rows * columns + 1))
    return first.astype(np.int64), np.ascontiguousarray(np.concatenate(lines)[order])
