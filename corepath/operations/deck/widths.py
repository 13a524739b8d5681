"""The width that each line of the finished deck meets, and the feed that this allows.

Lengths in mm, bed frame of C. Lines beside one another are cut at the feed of thin chips. The first
line of a region, one that leads to the next region and any other in whole wood take more: they get
the feed of a full-width cut. The ground is followed as a grid of cells that are cut once; the width
is the ground newly cut over the way, averaged over half a diameter of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.masks import runs
from corepath.geometry.polylines import along, place_at
from corepath.motion.clock import move_table, with_feeds
from corepath.motion.program import Kind, Move
from corepath.work.cutting.loads import cuts_of
from corepath.work.works import Work

__all__ = ["fed", "fed_feeds"]

Array = NDArray[np.float64]

_PARTS = 6
"""Places to a diameter of way; between them the swept strip is narrower than the disc by less than
two hundredths of its radius."""
_WINDOW = 3
"""Places over which the width is averaged: half a diameter of way."""
_CELLS = (6.0, 24.0)
"""Cells to the width of a line, and to the diameter that cuts: the more of both."""
_LEAST_CELL = 0.1
_MORE = 1.4
"""A line that meets up to this share of its width counts as one beside another: cells tell a width
to a sixth, and the chip is thicker by a fifth at most."""

_HEAVIER = 1.1
"""A cut that takes at most this much more than the heaviest one planned is left as it is: the
estimate of what goes down at once is a bound."""
_STEP = 0.1
"""Shares of the feed in steps, so that a slope does not change it at each move."""
_LEAST = 0.5
"""Share of the feed down a ramp below which the edges rub instead of cutting: no cut is slower,
since what it takes is a bound."""


def fed(moves: Sequence[Move], work: Work) -> list[Move]:
    """The moves with cuts at the feed of lines slowed to that of a full-width cut where they meet
    more than such a line was planned for, and further where they go down into whole wood."""
    return list(with_feeds(moves, fed_feeds(move_table(moves), work)))


def fed_feeds(table: Array, work: Work) -> Array:
    """The feeds (n,), mm/min, that moves have then, given as a table (n, 7) of their fields."""
    run = work.cutting
    places, feeds = table[:, 1:4], table[:, 4]
    cutting = table[:, 0] != Kind.RAPID
    sinking = np.where(cutting, _sinking(places), 0.0)
    if run.finish <= run.feed and not (sinking > 0.0).any():
        return feeds
    first, lines = cuts_of(work)
    cell = max(_LEAST_CELL, min(lines.width / _CELLS[0], first.width / _CELLS[1]))
    met = _met(places[:, :2], cutting, work, (first.width, cell))
    feeds = np.where((met > _MORE * lines.width) & (feeds > run.feed), run.feed, feeds)
    # Going down a slope the front of the cutter hangs over wood that it has not reached. Where the
    # slope ends, all that is under it goes at once, beside what stands before it: at most the
    # ground under the cutter, as far as it is fresh, times the way down.
    planned = max(first.width * first.depth * first.feed, lines.width * lines.depth * lines.feed)
    taken = met * (first.depth + sinking * math.pi / 4.0 * first.width)
    share = planned / np.maximum(taken, 1e-9) / run.feed
    least = _LEAST * min(run.ramp, run.feed) / run.feed
    share = np.maximum(np.floor(share / _STEP + 1e-9) * _STEP, least)
    heavy = (sinking > 0.0) & (feeds * taken > _HEAVIER * planned)
    return np.asarray(np.where(heavy, np.minimum(feeds, share * run.feed), feeds))


def _sinking(places: Array) -> Array:
    """(n,) how far each move to the `places` (n, 3) goes down for each mm of its way in plan, 0
    where it does not; one that only goes down is a way in, with a feed of its own."""
    step = np.diff(places, axis=0, prepend=places[:1])
    way = np.hypot(step[:, 0], step[:, 1])
    sinks = np.where(way > 1e-6, -step[:, 2] / np.maximum(way, 1e-6), 0.0)
    return np.asarray(np.maximum(sinks, 0.0))


def _met(ends: Array, cutting: NDArray[np.bool_], work: Work, size: tuple[float, float]) -> Array:
    """(n,) the greatest width (mm) that each move to the `ends` (n, 2) meets; 0 where it is not
    `cutting` (n,). `size`: the width of the cutter and of a cell, mm."""
    across, cell = size
    left, low, right, high = work.blank.bounds
    fresh = np.ones((int((right - left) / cell) + 1, int((high - low) / cell) + 1), np.bool_)
    found = np.zeros(len(ends))
    # Each run of cuts between rapids: it begins where the rapid ends.
    for start, end in runs(cutting):
        begin = max(start - 1, 0)
        found[begin + 1 : end] = _along(ends[begin:end], across, fresh, (left, low), cell)
    return found


def _along(
    track: Array, across: float, fresh: NDArray[np.bool_], corner: tuple[float, float], cell: float
) -> Array:
    """(n - 1,) the greatest width that each piece of a track (n, 2) meets on `fresh` ground, which
    it cuts."""
    from corepath.operations.deck.width_kernels import newly_cut

    way = along(track)
    if way[-1] <= 0.0:
        return np.zeros(len(track) - 1)
    at = np.linspace(0.0, way[-1], math.ceil(way[-1] * _PARTS / across) + 1)
    new = newly_cut(place_at(track, way, at), across / 2.0, fresh, *corner, cell)
    # what the disc covers where it comes down is no way; window k begins at place k
    new[0] = 0.0
    sums = np.concatenate([np.cumsum(new), np.full(_WINDOW, new.sum())])
    widths = (sums[_WINDOW:] - sums[: len(at)]) / (_WINDOW * at[1])
    # A long move has windows of its own; a short one takes those that reach into it. So a brief
    # turn in whole wood slows itself alone and not the long lines at its ends.
    first = np.searchsorted(at, way[:-1] - 1e-9)
    last = np.searchsorted(at, way[1:] + 1e-9) - 1 - _WINDOW
    short = last < first
    first = np.where(short, np.maximum(first - _WINDOW, 0), first)
    last = np.where(short, np.minimum(last + _WINDOW, len(at) - 1), last)
    # one more, so that a stretch may end at the last of them
    return np.maximum.reduceat(np.append(widths, 0.0), np.column_stack([first, last + 1]).ravel())[
        ::2
    ]
