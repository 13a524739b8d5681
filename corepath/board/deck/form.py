"""The form of the deck before its creases are rounded: heights h, mm, above the finished bottom.

h = e up to `edge_band` inside the outline, e being the edge thickness; from there h = e + (t(x) -
e) S(u) with u = (d - edge_band) / blend, d the distance inside the outline and t the thickness
along the board; outside the outline h = e. With a profile (see `corepath.board.deck.cross_section`)
t falls from the X axis outwards. S is the smoothstep of degree 7, whose first three derivatives
vanish at both ends: a jump in the third would be a line load on the skin.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.cross_section import Profile
from corepath.board.deck.distance import OutlineDistance
from corepath.board.deck.thickness import Thickness

__all__ = ["DeckForm", "smoothstep7"]

Floats = NDArray[np.float64]


def smoothstep7(u: Floats) -> Floats:
    """Returns the smoothstep of degree 7, S(u) = 35 u^4 - 84 u^5 + 70 u^6 - 20 u^7, of `u` (any
    shape): 0 below u = 0 and 1 above u = 1."""
    v = np.clip(u, 0.0, 1.0)
    return v**4 * (35.0 + v * (-84.0 + v * (70.0 - 20.0 * v)))


class DeckForm:
    """Answers h on any grid, from distance, thickness, the numbers `edge`, `band` and `blend` (mm),
    and a cross-section where the job has one."""

    __slots__ = ("band", "blend", "distance", "edge", "profile", "thickness")

    def __init__(
        self, distance: OutlineDistance, thickness: Thickness, edge: float, band: float,
        blend: float,
        profile: Profile | None = None,
    ) -> None:  # fmt: skip
        self.distance = distance
        self.thickness = thickness
        self.edge = edge
        self.band = band
        self.blend = blend
        self.profile = profile

    def on_grid(self, xs: Floats, ys: Floats) -> Floats:
        """h (n, m) on the nodes `xs` (n,) by `ys` (m,), both ascending."""
        d = self.distance.on_grid(xs, ys, self.band + self.blend)
        # the distance is asked for no farther than the blend reaches: beyond it S is 1
        rise = (self.thickness(xs) - self.edge)[:, None]
        if self.profile is not None:
            rise = rise - self.profile.fall(xs, ys)
        return np.where(
            d > self.band, self.edge + rise * smoothstep7((d - self.band) / self.blend), self.edge
        )
