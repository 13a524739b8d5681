"""Holder clearance: collet and nut are much wider than the cutter and follow it down at the height
of its stick-out.

Bed frame of the set-up, mm. `collet` is the largest diameter that turns above the cutter.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.lengths import mm
from corepath.stock.collet_kernels import collet_meets
from corepath.stock.contact_kernels import underside_of
from corepath.stock.material import Grid, Singles
from corepath.stock.path import Path, Pieces
from corepath.work.works import Obstacle

__all__ = ["check_nose_obstacles", "check_nose_stock"]

_CLEAR = 1e-3  # mm: touching is no collision; more than the rounding of a file's numbers


def check_nose_obstacles(
    path: Path, obstacles: tuple[Obstacle, ...], collet: float, findings: Findings
) -> None:
    """Check that collet and nut keep off what stands on the bed."""
    for obstacle in obstacles:
        pieces = path.pieces.pick(path.pieces.low + path.cutter.stick_out < obstacle.height)
        if not len(pieces):
            continue
        near = shapely.distance(_lines(pieces), obstacle.area)
        # 1e-6 mm: touching is not meeting.
        met = _once(np.flatnonzero(near < collet / 2.0 - 1e-6), pieces)
        for index in met[: findings.keep]:
            says = (
                f"the collet, {mm(collet):g} wide, comes within {mm(near[index]):.2f} "
                f"of an obstacle {mm(obstacle.height):g} high"
            )
            low = float(pieces.low[index])
            depth = obstacle.height - low - path.cutter.stick_out
            _add(path, pieces, int(index), says, depth, findings)
        findings.more("collet", len(met) - findings.keep)


def check_nose_stock(
    path: Path, before: Singles, grid: Grid, collet: float, findings: Findings
) -> None:
    """Check that collet and nut keep off the stock as it stands when each motion is made; `before`
    [iy, ix] is the height map before the file."""
    pieces, out = path.pieces, path.cutter.stick_out
    if not (pieces.low + out < float(before.max(initial=0.0)) - _CLEAR).any():
        return
    stands = collet_meets(
        before.copy(), grid.x0, grid.y0, grid.px, grid.py,
        np.ascontiguousarray(pieces.lower), np.ascontiguousarray(pieces.upper),
        underside_of(path.cutter), out, collet / 2.0 - _CLEAR,
    )  # fmt: skip
    hits = _once(np.flatnonzero(stands > _CLEAR), pieces)
    for at in hits[: findings.keep]:
        says = (
            f"the collet, {mm(collet):g} wide, comes {mm(out):g} above the tip into the stock "
            "beside the cut"
        )
        _add(path, pieces, int(at), says, float(stands[at]), findings)
    findings.more("collet", len(hits) - findings.keep)


def _once(met: NDArray[np.int64], pieces: Pieces) -> NDArray[np.int64]:
    """Return the first piece of each motion."""
    _, first = np.unique(pieces.owner[met], return_index=True)
    return met[first]


def _lines(pieces: Pieces) -> NDArray[np.object_]:
    lines: NDArray[np.object_] = shapely.linestrings(
        np.stack((pieces.lower[:, :2], pieces.upper[:, :2]), axis=1)
    )
    return lines


def _add(
    path: Path, pieces: Pieces, index: int, message: str, depth: float, findings: Findings
) -> None:
    a, b = pieces.lower[index], pieces.upper[index]
    x, y, z = (float(value) for value in (a if a[2] < b[2] else b))
    findings.add(
        "collet", message, line=int(path.line[pieces.owner[index]]), place=(x, y, z), depth=depth
    )
