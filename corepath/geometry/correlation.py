"""Weighted sums of neighbours on a lattice, along one axis."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["correlated"]

Floats = NDArray[np.float64]


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
    padded, long = np.pad(values, sides, mode=beyond), values.shape[axis]
    total, part = np.zeros(values.shape), np.empty(values.shape)
    for k in np.flatnonzero(weights).tolist():
        shifted = padded[k : k + long] if axis == 0 else padded[:, k : k + long]
        total += np.multiply(shifted, weights[k], out=part)
    return total
