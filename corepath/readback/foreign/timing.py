"""Times of a program as read: the clock of `corepath.motion.clock` over its motions, and its
dwells.

Lengths in mm, feeds in mm/min, times in minutes. Stops wait for a person and are not counted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.motion.clock import Limits, seconds
from corepath.motion.program import Kind, Move
from corepath.stock.path import Path

__all__ = ["Minutes", "motion_seconds", "time_path"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Motions timed at once: each becomes a Python object, so this bounds memory. The clock starts from
# rest at each block, which adds less than a second to a hundred thousand motions.
_BLOCK = 100_000
_NO_ARC = 0.1  # mm between the radii at both ends: an arc in name only, timed as a line
_RESTS = ("stop", "optional-stop", "dwell", "tool-change", "end")


@dataclass(frozen=True, slots=True)
class Minutes:
    """Minutes at feed, at rapid, and dwelling; `known` is false if a cut has no feed and its time
    is left out."""

    feed: float
    rapid: float
    dwell: float
    known: bool

    @property
    def total(self) -> float:
        return self.feed + self.rapid + self.dwell

    def plus(self, other: Minutes) -> Minutes:
        """Return the times of both, one after the other."""
        return Minutes(
            self.feed + other.feed,
            self.rapid + other.rapid,
            self.dwell + other.dwell,
            self.known and other.known,
        )


def time_path(path: Path, limits: Limits) -> Minutes:
    """Return the time of all motions with known ends; the machine comes to rest at every stop and
    dwell."""
    cuts = path.kind > 0
    spent, counted = motion_seconds(path, limits)
    dwell = sum(event.value for event in path.program.events if event.name == "dwell")
    return Minutes(
        float(spent[cuts].sum()) / 60,
        float(spent[~cuts].sum()) / 60,
        dwell / 60,
        bool(counted.all()),
    )


def motion_seconds(path: Path, limits: Limits) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the seconds of each motion (n,), and which of them are counted (n,): the time of a cut
    without a feed is not known, and 0 here."""
    feed = path.program.feed[path.index]
    counted = (path.kind == 0) | (feed > 0.0)
    rests = np.array(
        [event.index for event in path.program.events if event.name in _RESTS], dtype=np.int64
    )
    spent = np.zeros(len(path.kind))
    chosen = np.flatnonzero(counted)
    for begin in range(0, len(chosen), _BLOCK):
        block = chosen[begin : begin + _BLOCK]
        spent[block] = _block(path, block, feed, rests, limits)
    return spent, np.asarray(counted, dtype=np.bool_)


def _block(path: Path, block: Ints, feed: Floats, rests: Ints, limits: Limits) -> Floats:
    end, centre = path.end[block], path.centre[block]
    apart = np.hypot(*(path.start[block, :2] - centre).T) - np.hypot(*(end[:, :2] - centre).T)
    kind = np.where((path.kind[block] >= 2) & (np.abs(apart) > _NO_ARC), 1, path.kind[block])
    offset = np.where((kind >= 2)[:, None], centre - path.start[block, :2], 0.0)
    table = np.column_stack((end, np.where(kind > 0, feed[block], 0.0), offset)).tolist()
    moves = [Move(Kind(k), *row) for k, row in zip(kind.tolist(), table, strict=True)]
    at = np.unique(np.searchsorted(path.index[block], rests))
    at = at[(at > 0) & (at < len(block))]
    x, y, z = path.start[block[0]].tolist()
    return np.asarray(seconds(moves, limits, rests=at.tolist(), start=(x, y, z)))
