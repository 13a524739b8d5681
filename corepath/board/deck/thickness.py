"""Thickness along the board: t(x), the height of the deck where the board is wide enough, mm.

The monotone cubic with the slopes of Fritsch and Butland (1984) through the stations, its
ends extended level, averaged by a cubic B-spline kernel of total width `smooth`. One station alone
holds everywhere. An average of a curve that never passes its stations never passes them either. The
average is exact: between the knots of curve and kernel the product is a polynomial of degree 6, for
which Gauss-Legendre quadrature with 4 places is exact.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.geometry.cubics import monotone_cubic

__all__ = ["Thickness"]

_PLACES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_CHUNK = 4096  # places worked out at once: each needs a row of knots times quadrature places
_LEAST_KERNEL = 1e-6  # mm; a narrower average is the curve itself

Floats = NDArray[np.float64]


class Thickness:
    """Answers t(x) for `stations` (n, 2) of ascending x and thickness, mm; `smooth` is the kernel's
    total width, mm."""

    __slots__ = ("_curve", "_knots", "_smooth")

    def __init__(self, stations: Floats, smooth: float) -> None:
        # level through one station: a second one is added only where there is no other, since it
        # levels the curve
        pairs = (
            np.vstack([stations, stations + np.array([1.0, 0.0])])
            if len(stations) == 1
            else stations
        )
        self._knots = np.array(pairs[:, 0], dtype=float)
        self._curve = monotone_cubic(self._knots, pairs[:, 1])
        self._smooth = float(smooth)

    def __call__(self, x: ArrayLike) -> Floats:
        """Thickness (mm) at `x`, of any shape."""
        places = np.asarray(x, dtype=float)
        flat = places.ravel()
        if self._smooth <= _LEAST_KERNEL:
            return self._raw(flat).reshape(places.shape)
        parts = [self._averaged(flat[i : i + _CHUNK]) for i in range(0, len(flat), _CHUNK)]
        return np.concatenate(parts or [flat]).reshape(places.shape)

    def _raw(self, x: Floats) -> Floats:
        return np.asarray(self._curve(np.clip(x, self._knots[0], self._knots[-1])))

    def _averaged(self, x: Floats) -> Floats:
        # The pieces end at the knots of the kernel and of the curve, so that in each the product is
        # one polynomial; knots of the curve that lie outside the kernel collapse onto its ends.
        step = self._smooth / 4.0
        knots = x[:, None] + step * np.arange(-2.0, 3.0)
        inner = np.clip(self._knots[None, :], knots[:, :1], knots[:, -1:])
        ends = np.sort(np.concatenate([knots, inner], axis=1), axis=1)
        half = 0.5 * np.diff(ends, axis=1)[:, :, None]
        at = ends[:, :-1, None] + half * (1.0 + _PLACES)
        share = _cubic_b_spline((at - x[:, None, None]) / step) * half * _WEIGHTS
        total = np.sum(self._raw(at.ravel()).reshape(at.shape) * share, axis=(1, 2))
        # divided by the weights' own sum: exactly the stations' level where all of them are equal
        return np.asarray(total / np.sum(share, axis=(1, 2)))


def _cubic_b_spline(u: Floats) -> Floats:
    """The cardinal cubic B-spline on [-2, 2]."""
    a = np.abs(u)
    return np.where(a < 1.0, 2.0 / 3.0 - a**2 + a**3 / 2.0, np.clip(2.0 - a, 0.0, None) ** 3 / 6.0)
