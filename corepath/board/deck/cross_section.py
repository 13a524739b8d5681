"""The cross-section of a deck of stations: crowned, flat or concave, mm.

The thickness at (x, y) is t(x) - k(x) (y / w(x))^2: t the thickness along the X axis, k the *crown*
there, w the *half width* of the board. So the X axis keeps t, at the half width the deck lies k
lower (higher where k is below 0), and across the board the section is a parabola, even about the X
axis, whose slope and curvature never jump. k is the curve of the profile's stations (one alone
holds everywhere), smoothed as t is; w is the larger of the board's two half widths, averaged over
the same width, but no less than `LEAST_AVERAGE`, so that the vertices of the outline do not show as
facets in the deck.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, get_coordinates

from corepath.board.deck.thickness import Thickness

__all__ = ["LEAST_AVERAGE", "Profile"]

LEAST_AVERAGE = 40.0  # mm
_NARROWEST = 1.0  # mm; at a pointed end the half width goes to 0, and (y / w)² beyond all bounds

Floats = NDArray[np.float64]


class Profile:
    """Holds k and w for the pairs `stations` (n, 2) of ascending x and crown, mm, and the board's
    `outline`; `smooth` is the kernel's total width, mm."""

    __slots__ = ("_crown", "_width")

    def __init__(self, stations: Floats, outline: Polygon, smooth: float) -> None:
        self._crown = Thickness(stations, smooth)
        self._width = Thickness(_half_widths(outline), max(smooth, LEAST_AVERAGE))

    def crown(self, x: Floats) -> Floats:
        """k at `x` (n,), mm."""
        return self._crown(x)

    def fall(self, xs: Floats, ys: Floats) -> Floats:
        """How far (n, m) the thickness at the nodes `xs` (n,) by `ys` (m,) lies below t, mm."""
        width = np.maximum(self._width(xs), _NARROWEST)
        share = np.abs(ys)[None, :] / width[:, None]
        # beyond the board it no longer grows: nothing of it shows there, and at tips it would grow
        # without bound
        return np.asarray(self.crown(xs)[:, None] * np.minimum(share, 2.0) ** 2)


def _half_widths(outline: Polygon) -> Floats:
    """(n, 2) of x and half width, every mm along the outline."""
    # The larger half width at each x, whatever the outline does: each edge raises the places that
    # it passes over. An edge straight across has no such place; its ends belong to others.
    ring = get_coordinates(outline.exterior)
    xs = np.linspace(ring[:, 0].min(), ring[:, 0].max(), max(3, round(float(np.ptp(ring[:, 0])))))
    width = np.zeros(len(xs))
    for (x1, y1), (x2, y2) in pairwise(ring):
        if x1 > x2:
            x1, y1, x2, y2 = x2, y2, x1, y1
        i, j = np.searchsorted(xs, x1, "left"), np.searchsorted(xs, x2, "right")
        if j > i and x2 > x1:
            reach = np.abs(y1 + (xs[i:j] - x1) * ((y2 - y1) / (x2 - x1)))
            width[i:j] = np.maximum(width[i:j], reach)
    return np.column_stack([xs, width])
