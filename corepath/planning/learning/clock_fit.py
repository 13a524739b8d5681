"""Acceleration and corner time of a machine, from the minutes that its files took.

The clock of `corepath.motion.clock` runs over the files as they were cut, with other limits, until
it gives the minutes measured. Two ways of cornering are tried: the machine passes corners as its
deviation allows, or it comes to rest at sharp ones and stands there for a time, which enters the
minutes linearly and so follows from a line of least squares. The acceleration is searched on a
grid in its logarithm that is made finer twice. Rapid, feeds and deviation are the job's.

Minutes are weighted as they are read: a second, what the last digit written leaves open, and half
a percent for what the model leaves out. Lengths in mm, accelerations in mm/s², times in minutes
unless named otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from corepath.motion.clock import Limits

__all__ = ["ClockFit", "FileFit", "Timed", "fit_clock"]

_READ = 1.0 / 60.0
_SHARE = 0.005
# half a percent of an acceleration that the job has anyway is no news; a factor of e is one sigma
_BELIEF = 1.0
_RANGE = (20.0, 20_000.0)
_COARSE, _FINE, _TIMES = 25, 9, 3
# how much better, in sigmas squared, a machine that stands at corners must fit to be believed
_WORTH = 1.0
# a corner time that changes no minutes, with which the machine comes to rest all the same
_REST = 1e-9


@dataclass(frozen=True, slots=True)
class Timed:
    """A file that was timed: its `minutes` at the machine, and a clock that gives them for other
    limits."""

    name: str
    minutes: float
    clock: Callable[[Limits], float]


@dataclass(frozen=True, slots=True)
class FileFit:
    """Minutes of a file: as measured, by the job's limits, and by those that were fitted."""

    name: str
    measured: float
    planned: float
    fitted: float

    @property
    def off(self) -> float:
        """By which share the fitted minutes are more than those measured."""
        return self.fitted / self.measured - 1.0


@dataclass(frozen=True, slots=True)
class ClockFit:
    """The limits that fit; `low` and `high` are accelerations that fit as well, within the error of
    reading. `files` are those that were timed."""

    limits: Limits
    low: float
    high: float
    files: tuple[FileFit, ...]

    @property
    def worst(self) -> FileFit:
        """The file that the fit misses most."""
        return max(self.files, key=lambda one: abs(one.off))

    @property
    def sure(self) -> bool:
        """Whether it is known well enough to be typed: three files, none missed by a twentieth, the
        acceleration within a quarter."""
        near = self.high <= 1.25 * self.limits.accel and self.low >= self.limits.accel / 1.25
        return len(self.files) >= 3 and abs(self.worst.off) <= 0.05 and near


@dataclass(frozen=True, slots=True)
class _Found:
    cost: float
    accel: float
    corner: float


def fit_clock(files: Sequence[Timed], limits: Limits) -> ClockFit | None:
    """Return the acceleration and corner time with which the clock gives the minutes measured; None
    without a file. `limits` are the job's; one file alone tells the acceleration only."""
    if not files:
        return None
    passing = replace(limits, corner_time=0.0)
    ways = [_Way(files, passing, limits.accel)]
    if len(files) > 1:
        ways.append(_Way(files, replace(limits, corner_time=_REST), limits.accel))
    found = [way.best() for way in ways]
    best = 0
    if len(found) > 1 and found[1].cost + _WORTH < found[0].cost:
        best = 1
    low, high = ways[best].range_of(found[best])
    accel, corner = found[best].accel, found[best].corner
    fitted = replace(limits, accel=accel, corner_time=corner)
    rows = tuple(
        FileFit(one.name, one.minutes, one.clock(limits), one.clock(fitted)) for one in files
    )
    return ClockFit(fitted, low, high, rows)


class _Way:
    """One way of cornering: what the minutes measured cost for each acceleration."""

    def __init__(self, files: Sequence[Timed], limits: Limits, usual: float) -> None:
        self.files, self.limits, self.usual = files, limits, usual
        self.measured = np.array([one.minutes for one in files])
        self.sigma = np.array([_sigma(one.minutes) for one in files])
        self.costs: dict[float, _Found] = {}
        # minutes that one second at each sharp corner adds
        self.corners = np.zeros(len(files))
        if limits.corner_time:
            second = replace(limits, corner_time=1.0)
            self.corners = np.array([one.clock(second) - one.clock(limits) for one in files])

    def cost(self, log_accel: float) -> _Found:
        """Return the cost of an acceleration with the corner time that fits it best."""
        if log_accel not in self.costs:
            accel = math.exp(log_accel)
            limits = replace(self.limits, accel=accel)
            left = self.measured - np.array([one.clock(limits) for one in self.files])
            corner = 0.0
            if self.corners.any():
                weighted = self.corners / self.sigma**2
                corner = max(0.0, float((left * weighted).sum() / (self.corners * weighted).sum()))
            missed = (left - corner * self.corners) / self.sigma
            belief = (log_accel - math.log(self.usual)) / _BELIEF
            total = float((missed**2).sum()) + belief**2
            self.costs[log_accel] = _Found(total, accel, max(corner, self.limits.corner_time))
        return self.costs[log_accel]

    def best(self) -> _Found:
        """Return the acceleration with the least cost."""
        low, high = map(math.log, _RANGE)
        count = _COARSE
        for _ in range(_TIMES):
            grid = [round(low + (high - low) * k / (count - 1), 9) for k in range(count)]
            best = min(range(count), key=lambda k: self.cost(grid[k]).cost)
            low, high = grid[max(best - 1, 0)], grid[min(best + 1, count - 1)]
            count = _FINE
        return min(self.costs.values(), key=lambda one: one.cost)

    def range_of(self, best: _Found) -> tuple[float, float]:
        """Return the least and the largest acceleration that were tried and cost at most four more
        than the best: two sigmas."""
        near = [one.accel for one in self.costs.values() if one.cost <= best.cost + 4.0]
        return min(near), max(near)


def _sigma(minutes: float) -> float:
    """Return the error of minutes as read: 10.4 may be anything from 10.35 to 10.45."""
    _, _, decimals = f"{minutes:.6g}".partition(".")
    # the spread of what is even within one step is its length over the root of 12
    return math.hypot(_READ, _SHARE * minutes, 10.0 ** -len(decimals) / math.sqrt(12.0))
