"""Grey-scale morphology on a lattice of heights (Serra, Image Analysis and Mathematical
Morphology): dilation, erosion, closing by the end of a cutter.

A *structuring element* (2k + 1, 2k + 1) holds the height of the end over its tip at each node
about its axis, inf where nothing of it is. It must be even about both axes and rise outwards.
Beyond the lattice the outermost heights go on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["closed", "dilated", "eroded", "eroded_along", "widened"]

Floats = NDArray[np.float64]


def dilated(grid: Floats, over: Floats) -> Floats:
    """Returns how high the tip stands over each node of `grid` (n, m) when the end `over` (2k + 1,
    2k + 1) rests on it: the most of height less end under it."""
    reach, (rows, columns) = len(over) // 2, grid.shape
    padded = np.pad(grid, reach, mode="edge")
    out, lower = np.full(grid.shape, -np.inf), np.empty(grid.shape)
    # Outwards along a row the end rises, so all of it up to a width counts as high as it is there:
    # the most of a range of nodes less one height. A wider range costs one comparison more.
    ranged = padded[:, reach : reach + columns]
    for width in range(reach + 1):
        if width:
            left, right = padded[:, reach - width :], padded[:, reach + width :]
            ranged = np.maximum(ranged, np.maximum(left[:, :columns], right[:, :columns]))
        level = over[:, reach + width]
        wider = over[:, reach + width + 1] if width < reach else np.full(len(over), np.inf)
        # where the end is level, the wider range says all
        for row in np.flatnonzero(np.isfinite(level) & (level != wider)):
            part = ranged[row : row + rows]
            part = np.subtract(part, level[row], out=lower) if level[row] else part
            np.maximum(out, part, out=out)
    return out


def eroded(grid: Floats, over: Floats) -> Floats:
    """Returns the lowest that the end `over` leaves over each node of `grid` (n, m), the heights of
    its tip: the least of height plus end over it."""
    return -dilated(-grid, over)


def closed(grid: Floats, over: Floats) -> Floats:
    """Returns the lowest that the end `over` leaves of `grid` (n, m) when it rests on it at every
    node."""
    return eroded(dilated(grid, over), over)


def eroded_along(heights: Floats, over: Floats) -> Floats:
    """Returns the erosions (n, m) of `heights` (n,) along a line by sections `over` (m, 2k + 1) of
    the end, inf where nothing of it is."""
    padded = np.pad(heights, over.shape[1] // 2, mode="edge")
    left, end = np.full((len(over), len(heights)), np.inf), np.empty((len(over), len(heights)))
    for k, part in enumerate(over.T):  # all sections at once: of a wide cutter they are many
        np.add(padded[k : k + len(heights)], part[:, None], out=end)
        np.minimum(left, end, out=left)
    return left.T


def widened(grid: Floats, reach: int) -> Floats:
    """Returns the most of `grid` (n, m) within `reach` nodes along both axes of each."""
    square = np.zeros((2 * reach + 1, 2 * reach + 1))
    return dilated(grid, square)
