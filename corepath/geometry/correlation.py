"""Weighted sums of neighbours on a lattice, along one axis."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["correlated"]

Floats = NDArray[np.float64]

_LINES = 32  # worked out at once: what belongs to them stays in the processor's cache


def correlated(
    values: Floats, weights: Floats, axis: int, beyond: Literal["edge", "reflect"]
) -> Floats:
    """Returns at each node of `values` (n, m) the sum of `weights` (k,) times the nodes about it
    along `axis`, the weight k // 2 at the node itself.

    `beyond` the lattice the outermost values go on (*edge*) or come back in reverse (*reflect*, the
    outermost counted once).
    """
    before = len(weights) // 2
    sides = [(0, 0), (0, 0)]
    sides[axis] = before, len(weights) - 1 - before
    padded, (lines, columns) = np.pad(values, sides, mode=beyond), values.shape
    total, part = np.zeros(values.shape), np.empty((_LINES, columns))
    counted = np.flatnonzero(weights).tolist()
    for first in range(0, lines, _LINES):
        some = total[first : first + _LINES]
        end = first + len(some)
        for k in counted:
            near = padded[first + k : end + k] if axis == 0 else padded[first:end, k : k + columns]
            some += np.multiply(near, weights[k], out=part[: len(some)])
    return total
