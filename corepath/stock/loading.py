"""Loading of the compiled loops that every read-back runs."""

from __future__ import annotations

import numpy as np

from corepath.stock.contact_kernels import Underside
from corepath.stock.exact_kernels import sweep_points
from corepath.stock.material import Stock

__all__ = ["load_loops"]


def load_loops() -> None:
    """Load them, for the processes that are copied from this one to share them.

    Otherwise each would load them, and in a first run each would compile them.
    """
    stock, end = Stock(2.0, 2.0, 1.0, cell=1.0), Underside(0.5, 0.0, 0.5)
    lower, upper = np.array([[-1.0, 0.0, 0.5]]), np.array([[1.0, 0.0, 0.5]])
    place, number = np.zeros(1), np.zeros(1, dtype=np.int64)
    stock.cut(lower, upper, number, 1, end)
    stock.grid.inside([np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 0.0]])])
    first = np.array([0, 1])
    sweep_points(
        place, place, first, 0.0, 0.0, 1.0, 1, 1, lower, upper, end, np.ones(1), number.copy(),
        number, number + 1,
    )  # fmt: skip
