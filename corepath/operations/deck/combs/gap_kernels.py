"""Compiled kernel of the gaps between the lines of a comb: what each width costs.

Lengths in mm; u along the lines, v across them.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.compiled import njit

__all__ = ["lines_of_gaps"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


@njit(cache=True)
def lines_of_gaps(table: Array, own: Mask, widths: Array, rows: Ints, bridge: float) -> Ints:
    """(3, k) for each gap: bins of all lines over it, stretches of extra lines, and through lines.

    `table` (n, m) has the least steps, `own` (n, m) which bins are wanted. `widths` (k,), mm, are
    those of the gaps, falling; they begin in the row of bins `rows[0]` and end in `rows[1 + k]`.
    Breaks of a line shorter than `bridge` bins are cut through. A gap is divided into as many even
    parts as the least step over it asks for, in each column of bins by itself.
    """
    count = len(widths)
    found = np.zeros((3, count), np.int64)
    # of the column before: where the last through line ends, and how many extra lines there are
    ends = np.zeros(count, np.int64)
    more = np.zeros(count, np.int64)
    for i in range(table.shape[0]):
        least, wanted, j = math.inf, False, rows[0] - 1
        # from the narrowest on, so that the least step over each is that over the one before
        for k in range(count - 1, -1, -1):
            while j < rows[1 + k]:
                j += 1
                least = min(least, table[i, j])
                wanted = wanted or own[i, j]
            parts = 0
            if wanted:
                # A gap of exactly n steps needs n parts, whatever rounding does.
                parts = max(math.ceil(widths[k] / least - 1e-9), 1)
                if found[2, k] == 0 or (i > ends[k] and i - ends[k] >= bridge):
                    found[2, k] += 1
                ends[k] = i + 1
            found[0, k] += parts
            extra = max(parts - 1, 0)
            found[1, k] += max(extra - more[k], 0)
            more[k] = extra
    return found
