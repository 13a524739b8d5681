"""How much a cut takes away at once: the volume that the virtual blank loses along the way, over the time of the way.

Removal is in mm³/min, told in cm³/min. It is averaged over a way of one diameter, so that columns do not show; it is
limited by the heaviest cut that the operation was planned for: width · depth · feed of each kind of cut of its work.
Every shape of cutter is measured alike. Lengths in mm, bed frame.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.readback.findings import Findings
from corepath.readback.material import Cut, Grid
from corepath.readback.measures import MeasureList
from corepath.readback.path import Path
from corepath.work.limit_checks import depth_of
from corepath.work.loads import cuts_of
from corepath.work.model import Work

__all__ = ["SLACK", "Removal", "check_load", "heaviest_planned", "removal_along"]

SLACK = 1.15
"""Times the planned removal: columns tell the volume taken along one diameter within a tenth."""

_LEAST_PLANNED = 100.0  # mm³/min: below it columns of the blank cannot tell

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Removal:
    """Stretches of way, one beginning at each share that cuts: `rate` (k,) mm³/min, `share` (k,) where each begins.

    `depth` (k,) is volume over way and diameter, mm: how deep a slot of the cutter's width would be for it.
    """

    rate: Floats
    share: NDArray[np.int64]
    depth: Floats


def removal_along(path: Path, cut: Cut) -> Removal:
    """Removal along all feeds of a path, in stretches of at least one diameter of way."""
    motion = path.pieces.owner[cut.of]
    feed = path.program.feed[path.index][motion]
    which = np.flatnonzero((path.kind[motion] > 0) & (feed > 0.0) & (cut.way > 0.0))
    ways, volumes = cut.way[which], cut.volume[which]
    way, time, volume = (_sums(values) for values in (ways, ways / feed[which], volumes))
    last = np.searchsorted(way, way[:-1] + path.cutter.diameter - 1e-6)
    last = np.minimum(np.maximum(last, np.arange(len(which)) + 1), len(which))
    begin = np.flatnonzero((volumes > 0.0) & (way[last] - way[:-1] > path.cutter.diameter / 2.0))
    end = last[begin]
    long = way[end] - way[begin]
    taken = volume[end] - volume[begin]
    return Removal(taken / (time[end] - time[begin]), which[begin], taken / long / path.cutter.diameter)


def _sums(values: Floats) -> Floats:
    return np.concatenate((np.zeros(1), np.cumsum(values)))


def heaviest_planned(work: Work, between: float = 0.0) -> float:
    """Largest removal of all kinds of cut that the operation was planned for, mm³/min; of those in layers, a slot.

    Feeds are planned to be right for a slot as deep as a layer; the first line of a field is nearly one. Columns
    that stand `between` mm apart (diagonally) tell of a hole straight down at most what a cutter as much wider takes:
    the squares of all columns that the cutter meets lie within it.
    """
    cutter, run = work.cutter, work.cutting
    disc = np.pi / 4.0 * (cutter.diameter + between) ** 2
    planned = [one.feed * (disc if one.down else one.width * one.depth) for one in cuts_of(work)]
    if cutter.shape != "drill" and (work.deck is None or work.deck.rough > 0.0):
        planned.append(cutter.diameter * min(run.depth, depth_of(work)) * run.feed)
    return float(max(planned))


def check_load(work: Work, path: Path, cut: Cut, grid: Grid, measures: MeasureList, findings: Findings) -> None:
    """Largest removal of one file, and where it takes more at once than any cut that it was planned for."""
    found = removal_along(path, cut)
    if not len(found.rate):
        return
    at = int(np.argmax(found.rate))
    planned = heaviest_planned(work, float(np.hypot(grid.px, grid.py)))
    where = _spot(path, cut, int(found.share[at]))
    says = "cm³/min, the most taken at once along one diameter of way; the heaviest cut planned beside it"
    measures.take("largest removal", float(found.rate[at]) / 1e3, planned / 1e3, says, where[:2])
    if planned < _LEAST_PLANNED:
        return
    heavy = np.flatnonzero(found.rate > planned * SLACK)
    motions = path.pieces.owner[cut.of[found.share[heavy]]]
    once = heavy[np.flatnonzero(np.diff(motions, prepend=-1))]
    for index in once[: findings.keep]:
        share = int(found.share[index])
        says = (
            f"takes {found.rate[index] / 1e3:.1f} cm³/min, the heaviest cut planned for takes {planned / 1e3:.1f}: "
            "more wood stands in its way than it was planned for"
        )
        line = int(path.line[path.pieces.owner[cut.of[share]]])
        findings.add("load", says, line=line, place=_spot(path, cut, share), depth=float(found.depth[index]))
    findings.more("load", len(once) - findings.keep)


def _spot(path: Path, cut: Cut, share: int) -> tuple[float, float, float]:
    """Where a share of the way begins."""
    piece = int(cut.of[share])
    first = int(np.searchsorted(cut.of, piece))
    count = int(np.searchsorted(cut.of, piece, side="right")) - first
    low, high = path.pieces.lower[piece], path.pieces.upper[piece]
    x, y, z = (float(value) for value in low + (high - low) * ((share - first) / count))
    return x, y, z
