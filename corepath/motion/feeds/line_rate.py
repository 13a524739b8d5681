"""Feeds at which a control can read what it runs: at most `MOST_A_SECOND` moves in any second.

A control takes in line after line while it runs, and one that cannot stops between them. Curves in
chords are what comes too fast: chords that leave a circle by e, run at the speed v = sqrt(a·r) that
the acceleration a allows, last sqrt(8·e/a) each, whatever the radius (elementary geometry and
mechanics). Where arcs are arcs there is nothing to do. Lengths in mm, feeds in mm/min.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.masks import runs
from corepath.motion.clock import Limits, move_table, moves_a_second, seconds, with_feeds
from corepath.motion.program import Kind, Pass

__all__ = ["MOST_A_SECOND", "paced"]

Floats = NDArray[np.float64]

MOST_A_SECOND = 150
"""Moves in one second: some controls read no more lines than that in time (common practice, no
source)."""

_LEAST = 0.55
"""Share of a feed that is left at least: edges rub at half of what the cutter is run at."""
_RUN = 0.505
"""Share of what the cutter is run at that is left at least, on a bend of what can be reached there.
Where a bore opens its feed is half of that by plan, and stays."""
_GUILTY = 0.8 * MOST_A_SECOND
"""Moves a second from which on a cut has a share in a second that is too full."""
_ROUNDS = 8
"""Slower moves share a second with fewer others, so that a few rounds do; a move at its least stays
as it is."""
_CUTS = (Kind.LINE, Kind.CW, Kind.CCW)
_STEP = 0.97
"""Feeds fall in steps of this, so that neighbours share a word F."""


def paced(stretch: Pass, limits: Limits, run: Floats) -> Pass:
    """Returns a pass with lower feeds where more than `MOST_A_SECOND` of its moves end in one
    second.

    `run` (n,) is the feed, mm/min, that the cutter is run at in each of its moves, or what can be
    reached there if that is less. All short cuts of such a stretch are slowed alike, but none below
    0.55 of its feed or just over half of `run`. Drilling cycles and rapids stay as they are.
    """
    moves, table = stretch.moves, move_table(stretch.moves)
    feeds, cuts = table[:, 4], np.isin(table[:, 0], _CUTS)
    least = np.maximum(_LEAST * feeds, np.minimum(_RUN * run, feeds))
    fast = 60.0 * _GUILTY * _spans(table[:, 1:4])
    for _ in range(_ROUNDS):
        share = _shares(seconds(moves, limits))
        guilty = (share < 1.0) & cuts & (feeds > fast)
        # 1e-9: a share that is a step must not fall to the next by rounding
        steps = np.ceil(np.log(share) / math.log(_STEP) - 1e-9)
        slow = np.maximum(np.round(feeds * _STEP**steps, 1), least)
        slow = np.where(guilty & (slow < feeds), slow, feeds)
        if (slow == feeds).all():
            break
        moves, feeds = with_feeds(moves, slow), slow
    return stretch if moves is stretch.moves else replace(stretch, moves=moves)


def _shares(spent: Floats) -> Floats:
    """(n,) by what share of its feed each move of a crowded stretch would be slow enough, from the
    fullest second of the stretch; 1 elsewhere. `spent` has the seconds of each move."""
    counts = moves_a_second(spent)
    full = np.flatnonzero(counts > MOST_A_SECOND)
    share = np.ones(len(spent))
    # +1 where a full second begins, -1 behind its end: where the sum is above 0 one holds the move
    marks = np.zeros(len(spent) + 1)
    np.add.at(marks, full, 1.0)
    np.add.at(marks, full + counts[full] + 1, -1.0)
    for first, end in runs(np.cumsum(marks[:-1]) > 0.0):
        share[first:end] = MOST_A_SECOND / counts[first:end].max()
    return share


def _spans(ends: Floats) -> Floats:
    """(n,) the length of each move to `ends` (n, 3), mm, or the mean of it and the longer neighbour
    if that is more: one short move among longer ones keeps nobody waiting. Arcs count by their
    chord."""
    length = np.sqrt((np.diff(ends, axis=0, prepend=ends[:1]) ** 2).sum(axis=1))
    pairs = 0.5 * (length[1:] + length[:-1])
    spans: Floats = length.copy()
    spans[1:] = np.maximum(spans[1:], pairs)
    spans[:-1] = np.maximum(spans[:-1], pairs)
    return spans
