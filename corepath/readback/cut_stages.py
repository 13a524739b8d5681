"""The blank while a file is cut: which of the kept columns each stretch of the path lowers, and how
far.

The kept columns of a `FileStep` are cut again with the same pieces and the same kernel as in the
read-back. Columns do not depend on one another, so that each has just the height that it had there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.readback.result import FileStep
from corepath.stock.column_kernels import cut_pieces
from corepath.stock.contact_kernels import underside_of
from corepath.stock.material import NOWHERE, Singles

__all__ = ["CutStage", "cut_stages"]

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class CutStage:
    """One stretch of a path: it ends with the motion `last`; `columns` (n,) are those it lowers, as
    places in the flat lattice [iy, ix], ascending, and `tops` (n,) their height after it, mm,
    `NOWHERE` where nothing had been left before."""

    last: int
    columns: Ints
    tops: Singles


def cut_stages(step: FileStep, ends: Ints) -> Iterator[CutStage]:
    """Cut the kept columns of a file stretch by stretch; `ends` (k,) are the motions with which
    they end, ascending.

    Yields a stage for each of `ends`, whether it lowers anything or not.
    """
    before, pieces = step.before, step.path.pieces
    top = np.nan_to_num(before.top, nan=NOWHERE).astype(np.float32)
    lattice = before.grid.x0, before.grid.y0, before.grid.px, before.grid.py
    end = underside_of(step.path.cutter)
    first = 0
    for last in ends:
        beyond = int(np.searchsorted(pieces.owner, last, side="right"))
        was, count = top.copy(), beyond - first
        # What each motion took is not asked: all pieces count as one motion, each as one share.
        cut_pieces(
            top, *lattice, pieces.lower[first:beyond], pieces.upper[first:beyond],
            np.zeros(count, dtype=np.int64), end, np.zeros(1), np.zeros((1, 3)), np.zeros(1),
            np.arange(count + 1, dtype=np.int64), np.zeros(count), float(top.max()),
        )  # fmt: skip
        columns = np.flatnonzero(top < was)
        yield CutStage(int(last), columns, top.ravel()[columns])
        first = beyond
