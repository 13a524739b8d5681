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
from corepath.stock.material import Grid, Singles
from corepath.stock.path import Path, Pieces
from corepath.work.works import Obstacle

__all__ = ["check_nose_obstacles", "check_nose_stock"]

# mm: heights of the collet are rounded up to these, so that one distance map serves many pieces. A
# collision shallower than this may be missed.
_LEVELS = 0.25


def check_nose_obstacles(
    path: Path, obstacles: tuple[Obstacle, ...], collet: float, findings: Findings
) -> None:
    """Check that collet and nut keep off what stands on the bed."""
    for obstacle in obstacles:
        pieces = path.pieces.pick(path.pieces.low + path.cutter.stick_out < obstacle.height)
        if not len(pieces):
            continue
        near = shapely.distance(_lines(pieces), obstacle.area)
        met = _once(np.flatnonzero(near < collet / 2.0 - 1e-6), pieces)
        for index in met[: findings.keep]:
            says = (
                f"the collet, {mm(collet):g} wide, comes within {mm(near[index]):.2f} "
                f"of an obstacle {mm(obstacle.height):g} high"
            )
            _add(path, pieces, int(index), says, obstacle.height, findings)
        findings.more("collet", len(met) - findings.keep)


def check_nose_stock(
    path: Path, left: Singles, grid: Grid, collet: float, findings: Findings
) -> None:
    """Check that collet and nut keep off the stock beside the cut; `left` [iy, ix] is the height
    map after the file."""
    low, out = path.pieces.low, path.cutter.stick_out
    highest = float(left.max(initial=0.0))
    deep = path.pieces.pick(low + out < highest - 1e-3)
    if not len(deep):
        return
    from scipy.ndimage import distance_transform_edt

    level = np.ceil((deep.low + out) / _LEVELS) * _LEVELS
    met: list[int] = []
    for height in np.unique(level):
        stands = left > height
        if not stands.any():
            continue
        away = distance_transform_edt(~stands, sampling=(grid.py, grid.px))
        for index in np.flatnonzero(level == height):
            # Less one cell: a column stands up to half a cell off the wall, and so does the way.
            if _nearest(away, grid, deep, int(index)) < collet / 2.0 - grid.cell:
                met.append(int(index))
    hits = _once(np.array(sorted(met), dtype=np.int64), deep)
    for at in hits[: findings.keep]:
        says = (
            f"the collet, {mm(collet):g} wide, comes {mm(out):g} above the tip into the stock "
            "beside the cut"
        )
        _add(path, deep, int(at), says, highest, findings)
    findings.more("collet", len(hits) - findings.keep)


def _once(met: NDArray[np.int64], pieces: Pieces) -> NDArray[np.int64]:
    """Return the first piece of each motion."""
    _, first = np.unique(pieces.owner[met], return_index=True)
    return met[first]


def _nearest(away: NDArray[np.float64], grid: Grid, pieces: Pieces, index: int) -> float:
    """Return the least distance from one piece to what stands, at columns along it; infinite off
    the grid."""
    a, b = pieces.lower[index, :2], pieces.upper[index, :2]
    count = max(int(np.ceil(np.hypot(*(b - a)) / grid.cell)), 1)
    way = a + (b - a) * np.linspace(0.0, 1.0, count + 1)[:, None]
    ix = np.floor((way[:, 0] - grid.x0) / grid.px + 0.5).astype(np.int64)
    iy = np.floor((way[:, 1] - grid.y0) / grid.py + 0.5).astype(np.int64)
    on = (ix >= 0) & (ix < grid.nx) & (iy >= 0) & (iy < grid.ny)
    return float(away[iy[on], ix[on]].min(initial=np.inf))


def _lines(pieces: Pieces) -> NDArray[np.object_]:
    lines: NDArray[np.object_] = shapely.linestrings(
        np.stack((pieces.lower[:, :2], pieces.upper[:, :2]), axis=1)
    )
    return lines


def _add(
    path: Path, pieces: Pieces, index: int, says: str, height: float, findings: Findings
) -> None:
    a, b = pieces.lower[index], pieces.upper[index]
    x, y, z = (float(value) for value in (a if a[2] < b[2] else b))
    depth = height - z - path.cutter.stick_out
    findings.add(
        "collet", says, line=int(path.line[pieces.owner[index]]), place=(x, y, z), depth=depth
    )
