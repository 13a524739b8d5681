"""The removal rate of a cut: the volume that the virtual blank loses along a stretch of path, over
the time of that stretch.

Removal is in mm³/min, reported in cm³/min. It is averaged over one diameter of path, so that single
columns do not show, and compared with the heaviest cut that the operation was planned for: width ·
depth · feed of each kind of cut of its work. Every shape of cutter is measured alike. Columns
measure a strip badly that is narrower than their spacing: a stretch that seems too heavy is
measured once more on columns of its own (`finer`). Lengths in mm, bed frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.lengths import cubic_cm_per_min, unit_word
from corepath.readback.surfaces.measures import MeasureList
from corepath.stock.finer import finer_volumes, runs
from corepath.stock.material import Cut, Stock
from corepath.stock.path import Path
from corepath.work.checks.limit_checks import depth_of
from corepath.work.cutting.loads import cuts_of
from corepath.work.works import Work

__all__ = ["SLACK", "Removal", "check_load", "heaviest_planned", "removal_along", "true_removal"]

SLACK = 1.15
"""Times the planned removal: columns tell the volume taken along one diameter within a tenth."""

_LEAST_PLANNED = 100.0  # mm³/min: below it columns of the blank cannot tell

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Removal:
    """Stretches of path, one from each share that cuts: `rate` (k,) mm³/min, `share` (k,) the share
    at which each begins.

    Each holds the shares of `feeds` (all shares at feed) from `begin` (k,) to before `end` (k,).
    `depth` (k,) is volume over length and diameter, mm: the depth of a slot as wide as the cutter
    that would take as much.
    """

    rate: Floats
    share: Ints
    depth: Floats
    feeds: Ints
    begin: Ints
    end: Ints

    def shares(self, which: NDArray[np.bool_]) -> Ints:
        """Return all shares of the stretches of a mask (k,), each once."""
        # Stretches overlap. +1 where one begins and -1 behind its end: the running sum is how many
        # cover a share.
        taken = np.zeros(len(self.feeds) + 1, dtype=np.int64)
        np.add.at(taken, self.begin[which], 1)
        np.add.at(taken, self.end[which], -1)
        return self.feeds[np.cumsum(taken)[:-1] > 0]


def removal_along(path: Path, cut: Cut) -> Removal:
    """Return the removal along all feeds of a path, in stretches of at least one diameter of path.

    `cut` is what the path took.
    """
    motion = path.pieces.owner[cut.of]
    # `index`: motions from unknown places are in the program and not in the path.
    feed = path.program.feed[path.index][motion]
    which = np.flatnonzero((path.kind[motion] > 0) & (feed > 0.0) & (cut.way > 0.0))
    ways, volumes = cut.way[which], cut.volume[which]
    way, time, volume = (_sums(values) for values in (ways, ways / feed[which], volumes))
    # 1e-6 mm: a piece that ends just one diameter on completes the window.
    last = np.searchsorted(way, way[:-1] + path.cutter.diameter - 1e-6)
    last = np.minimum(np.maximum(last, np.arange(len(which)) + 1), len(which))
    # At the end of a path a stretch may be short. Under half a diameter it would be divided by
    # almost nothing, and its volume lies in longer stretches as well.
    begin = np.flatnonzero((volumes > 0.0) & (way[last] - way[:-1] > path.cutter.diameter / 2.0))
    end = last[begin]
    long = way[end] - way[begin]
    taken = volume[end] - volume[begin]
    rate, depth = taken / (time[end] - time[begin]), taken / long / path.cutter.diameter
    return Removal(rate, which[begin], depth, which, begin, end)


def _sums(values: Floats) -> Floats:
    return np.concatenate((np.zeros(1), np.cumsum(values)))


def heaviest_planned(work: Work, between: float = 0.0) -> float:
    """Return the largest removal of all kinds of cut that the operation was planned for, mm³/min;
    where it cuts in layers, that of a slot.

    Feeds are planned for a slot as deep as a layer; the first line of a field is nearly one.
    `between` is the distance of the columns along the diagonal, mm. They show at most what a cutter
    wider by that much would take straight down: the squares of all columns that the cutter meets
    lie within it.
    """
    cutter, run = work.cutter, work.cutting
    disc = np.pi / 4.0 * (cutter.diameter + between) ** 2
    planned = [one.feed * (disc if one.down else one.width * one.depth) for one in cuts_of(work)]
    # A drill cuts no slot, and neither does the finishing of the deck.
    if cutter.shape != "drill" and (work.deck is None or work.deck.rough > 0.0):
        planned.append(cutter.diameter * min(run.depth, depth_of(work)) * run.feed)
    return float(max(planned))


def true_removal(path: Path, cut: Cut, stock: Stock, most: float) -> Removal:
    """Return the removal along a path, each stretch that seems to take more than `most` mm³/min
    measured again on finer columns.

    `path` must be the last that was cut on `stock`, `cut` what it took. A share that turns out to
    take more may make another stretch seem too heavy: the measuring goes on until all such
    stretches are done. Each share is measured once, so it ends.
    """
    fine = np.zeros(len(cut.of), dtype=np.bool_)
    while True:
        found = removal_along(path, cut)
        shares = found.shares(found.rate > most)
        left = shares[~fine[shares]]
        if not len(left):
            return found
        volume = cut.volume.copy()
        for run in runs(left, cut, path.cutter.diameter):
            volume[run] = finer_volumes(stock, path, cut, run)
        fine[left] = True
        cut = replace(cut, volume=volume)


def check_load(
    work: Work, path: Path, cut: Cut, stock: Stock, measures: MeasureList, findings: Findings
) -> None:
    """Measure the largest removal of one file, and report where it takes more at once than any cut
    that it was planned for.

    `path` must be the last that was cut on `stock`, `cut` what it took.
    """
    planned = heaviest_planned(work, float(np.hypot(stock.grid.px, stock.grid.py)))
    found = true_removal(path, cut, stock, planned * SLACK)
    if not len(found.rate):
        return
    at = int(np.argmax(found.rate))
    where = _spot(path, cut, int(found.share[at]))
    says = (
        f"{unit_word('cm³/min')}, the most taken at once along one diameter of way; the heaviest "
        "cut planned beside it"
    )
    measures.take_in(
        "cm³/min",
        "largest removal",
        float(found.rate[at]) / 1e3,
        planned / 1e3,
        says,
        where[:2],
    )
    if planned < _LEAST_PLANNED:
        return
    heavy = np.flatnonzero(found.rate > planned * SLACK)
    # One finding a motion, at its first heavy stretch.
    motions = path.pieces.owner[cut.of[found.share[heavy]]]
    once = heavy[np.flatnonzero(np.diff(motions, prepend=-1))]
    for index in once[: findings.keep]:
        share = int(found.share[index])
        says = (
            f"takes {cubic_cm_per_min(found.rate[index] / 1e3):.1f~}, "
            f"the heaviest cut planned for takes {cubic_cm_per_min(planned / 1e3):.1f}: "
            "more wood stands in its way than it was planned for"
        )
        line = int(path.line[path.pieces.owner[cut.of[share]]])
        findings.add(
            "load", says, line=line, place=_spot(path, cut, share), depth=float(found.depth[index])
        )
    findings.more("load", len(once) - findings.keep)


def _spot(path: Path, cut: Cut, share: int) -> tuple[float, float, float]:
    """Return the place at which a share of the path begins."""
    piece = int(cut.of[share])
    first = int(np.searchsorted(cut.of, piece))
    count = int(np.searchsorted(cut.of, piece, side="right")) - first
    low, high = path.pieces.lower[piece], path.pieces.upper[piece]
    x, y, z = (float(value) for value in low + (high - low) * ((share - first) / count))
    return x, y, z
