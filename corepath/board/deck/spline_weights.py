"""Weights of the uniform cubic B-spline (de Boor, A Practical Guide to Splines) at the place t, 0
to 1, in a cell: written once, for numbers and for arrays.

`corepath.board.deck.spline_values` calls them as they are, `corepath.board.deck.spline_kernels`
compiled.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["bend", "slope", "value"]

Place = TypeVar("Place", float, NDArray[np.float64])


def value(t: Place) -> tuple[Place, Place, Place, Place]:
    """Returns the weights of the four coefficients along one axis."""
    s = 1.0 - t
    return (
        s * s * s / 6.0,
        (4.0 + t * t * (3.0 * t - 6.0)) / 6.0,
        (4.0 + s * s * (3.0 * s - 6.0)) / 6.0,
        t * t * t / 6.0,
    )


def slope(t: Place) -> tuple[Place, Place, Place, Place]:
    """Returns the first derivative of the weights, by t."""
    s = 1.0 - t
    return -0.5 * s * s, 0.5 * t * (3.0 * t - 4.0), -0.5 * s * (3.0 * s - 4.0), 0.5 * t * t


def bend(t: Place) -> tuple[Place, Place, Place, Place]:
    """Returns the second derivative of the weights, by t."""
    return 1.0 - t, 3.0 * t - 2.0, 1.0 - 3.0 * t, t
