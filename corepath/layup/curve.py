"""The curve of the form that the board is laid up on, in the plane along the board.

X runs along the chord, level, 0 under the middle of the blank; Z is the rise, up. *Angle* is that
of the tangent against the level, radians, positive where the form rises towards X+. *Arc* is the
length along a curve that runs parallel to the form at some height over it, from the place over X =
0; positive towards X+. Lengths in mm.

The curve is the cubic spline through the stations whose third derivative does not jump at the
second and the last but one ("not-a-knot"); two stations give a straight line, three a parabola.
Beyond them it goes on straight.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.errors import Fault
from corepath.geometry.cubics import not_a_knot_cubic
from corepath.job.model import Job
from corepath.lengths import mm

__all__ = ["LEAST_RADIUS", "Rocker", "end_rise", "held_curve", "rocker_faults", "rocker_of"]

Floats = NDArray[np.float64]

LEAST_RADIUS = 20.0
"""Least radius of the form as a multiple of the board's thickness; tighter wood breaks (common
practice, no source)."""

_STEP = 5.0  # mm of chord between the places where the length along the curve is kept
# Newton's method for `Rocker.under`: with no radius below 20 thicknesses each round squares an
# error that is small to begin with, and twelve are a bound
_ROUNDS = 12
_GAUSS = np.polynomial.legendre.leggauss(8)


class Rocker:
    """Holds a form's curve through `stations` ((x, rise), mm, ascending in x); level at 0 without
    any."""

    def __init__(self, stations: Sequence[tuple[float, float]] = ()) -> None:
        given = np.array(stations or ((-1.0, 0.0), (1.0, 0.0)), dtype=np.float64)
        self.stations = given
        self._spline = not_a_knot_cubic(given[:, 0], given[:, 1])
        self._first, self._last = float(given[0, 0]), float(given[-1, 0])
        inner = np.arange(self._first, self._last, _STEP)
        self._nodes = np.unique(np.concatenate([inner, given[:, 0], [self._last]]))
        self._at_nodes = np.concatenate(
            [[0.0], np.cumsum(self._pieces(self._nodes[:-1], self._nodes[1:]))]
        )
        self._offset = 0.0
        self._offset = float(self._raw_arc(np.zeros(1))[0])

    @property
    def key_parts(self) -> tuple[object, ...]:
        """All that it was made from, for the key of a kept result."""
        return (self.stations,)

    @property
    def level(self) -> bool:
        """Whether the form is flat and level."""
        return bool(np.ptp(self.stations[:, 1]) == 0.0)

    def rise(self, x: ArrayLike) -> Floats:
        """Returns Z, mm, at chord places `x`, of the same shape; straight beyond the stations."""
        at = np.asarray(x, dtype=np.float64)
        within = np.clip(at, self._first, self._last)
        return np.asarray(
            self._spline(within) + self._spline(within, 1) * (at - within), dtype=np.float64
        )

    def slope(self, x: ArrayLike) -> Floats:
        """Returns dZ/dX at chord places `x`, of the same shape."""
        within = np.clip(np.asarray(x, dtype=np.float64), self._first, self._last)
        return np.asarray(self._spline(within, 1), dtype=np.float64)

    def angle(self, x: ArrayLike) -> Floats:
        """Returns the angle of the tangent, rad, at chord places `x`, of the same shape."""
        return np.asarray(np.arctan(self.slope(x)), dtype=np.float64)

    def bend(self, x: ArrayLike) -> Floats:
        """Returns the curvature Z'' / (1 + Z'^2)^1.5, 1/mm, at chord places `x`; positive where the
        form is hollow."""
        at = np.asarray(x, dtype=np.float64)
        outside = (at < self._first) | (at > self._last)
        second = np.where(outside, 0.0, self._spline(np.clip(at, self._first, self._last), 2))
        return np.asarray(second / (1.0 + self.slope(at) ** 2) ** 1.5, dtype=np.float64)

    def arc(self, x: ArrayLike, height: float = 0.0) -> Floats:
        """Returns the arc, mm, at the places over chord places `x` of the form, along the curve
        `height` mm over it.

        A parallel at height t is shorter by t times the turn of the tangent: its element is (1 - t
        k) ds, and k ds is the turn (differential geometry of parallel curves, textbook).
        """
        at = np.asarray(x, dtype=np.float64)
        turn = self.angle(at) - self.angle(0.0)
        return np.asarray(self._raw_arc(at) - self._offset - height * turn, dtype=np.float64)

    def under(self, arc: ArrayLike, height: float = 0.0) -> Floats:
        """Returns the chord places X (mm, the shape of `arc`) of the form over which the arc at
        `height` (mm) has the lengths `arc`: the inverse of the method `arc`."""
        # Newton's method from the arc itself: on a form much longer than its rise both are close.
        wanted = np.asarray(arc, dtype=np.float64)
        x = wanted.copy()
        for _ in range(_ROUNDS):
            stretch = np.sqrt(1.0 + self.slope(x) ** 2) * (1.0 - height * self.bend(x))
            x = x - (self.arc(x, height) - wanted) / stretch
        return np.asarray(x, dtype=np.float64)

    def tightest(self) -> tuple[float, float]:
        """Returns the largest curvature, 1/mm, either way, and the chord place where it is."""
        # second derivatives of a cubic spline are linear between stations, which are all nodes
        bend = np.abs(self.bend(self._nodes))
        k = int(np.argmax(np.round(bend, 12)))
        return float(bend[k]), float(self._nodes[k])

    def _raw_arc(self, x: Floats) -> Floats:
        """Length from the first station; straight beyond the stations."""
        flat = x.reshape(-1)
        within = np.clip(flat, self._first, self._last)
        k = np.clip(np.searchsorted(self._nodes, within, side="right") - 1, 0, len(self._nodes) - 2)
        length = self._at_nodes[k] + self._pieces(self._nodes[k], within)
        return np.asarray(length + (flat - within) * np.sqrt(1.0 + self.slope(flat) ** 2)).reshape(
            x.shape
        )

    def _pieces(self, start: Floats, end: Floats) -> Floats:
        """Lengths of the curve from `start` to `end` (n,), by Gauss-Legendre with 8 points a
        piece."""
        points, weights = _GAUSS
        half = (end - start)[:, None] / 2.0
        at = (end + start)[:, None] / 2.0 + half * points
        return np.asarray(
            (np.sqrt(1.0 + self._spline(at, 1) ** 2) * weights * half).sum(axis=1), dtype=np.float64
        )


def rocker_of(job: Job) -> Rocker:
    """Returns the curve of the job's form; level where the job gives none, or none that ascends in
    x (a fault of its own)."""
    return Rocker(_stations(job))


def held_curve(job: Job, less: float = 0.0) -> Rocker:
    """Returns the curve of the cradle, which is that of the board off its form: the form's, its
    rises made smaller all alike, so that the ends rise `layup.spring_back` and `less` (mm) less.

    A laminate that springs back turns by the same share everywhere (bending of a beam under the
    stress that its form left in it, textbook).
    """
    stations = _stations(job)
    back = (job.layup.spring_back if job.layup is not None else 0.0) + less
    rise = end_rise(stations)
    if not back or rise == 0.0:
        return Rocker(stations)
    return Rocker([(x, z * (1.0 - back / rise)) for x, z in stations])


def end_rise(stations: Sequence[tuple[float, float]]) -> float:
    """Returns how far a curve through `stations` lies from the line between its ends at most, mm:
    by how much these rise over its middle. 0 where it is straight."""
    if len(stations) < 3:
        return 0.0
    (x0, z0), (x1, z1) = stations[0], stations[-1]
    return max(abs(z0 + (z1 - z0) * (x - x0) / (x1 - x0) - z) for x, z in stations)


def _stations(job: Job) -> tuple[tuple[float, float], ...]:
    given = job.layup.rocker if job.layup is not None else None
    if given is None or any(after[0] <= before[0] for before, after in pairwise(given)):
        return ()
    return given


def rocker_faults(job: Job) -> list[Fault]:
    """Returns a fault for a form that no board of this thickness can follow."""
    faults = _spring_faults(job)
    bend, at = Rocker(_stations(job)).tightest()
    least = LEAST_RADIUS * job.core_thickness
    if bend * least <= 1.0:
        return faults
    says = (
        f"the form turns with a radius of {mm(1.0 / bend):.0f~} at x {mm(at):.0f}: the wood "
        "would break"
    )
    allowed = f"{mm(least):.0f~} or more, {LEAST_RADIUS:g} times board.thickness"
    return [*faults, Fault("layup.rocker", says, f"radius {mm(1.0 / bend):.0f~}", allowed)]


def _spring_faults(job: Job) -> list[Fault]:
    """Returns the fault of a board that would spring back to level or beyond."""
    back = job.layup.spring_back if job.layup is not None else 0.0
    rise = end_rise(_stations(job))
    if not back or abs(back) < rise:
        return []
    says = f"the form rises {mm(rise):.2f~} at its ends" if rise else "there is no curved form"
    allowed = f"less than {mm(rise):.2f~}" if rise else "0"
    return [Fault("layup.spring_back", says, f"{mm(back):g~}", allowed)]
