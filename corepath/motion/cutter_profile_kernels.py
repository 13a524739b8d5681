"""The profile of a cutter's end for compiled loops: `corepath.motion.cutter_profile` compiled."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion import cutter_profile as plain
from corepath.motion.compiled import njit
from corepath.motion.cutter_profile import CutterProfile

__all__ = ["height", "heights", "widest"]

Array = NDArray[np.float64]

_ROUNDING = 1e-9
"""mm; a grid node this close to the rim counts as under the cutter, whatever rounding does."""

height = njit(inline="always")(plain.height)
widest = njit(inline="always")(plain.widest)


@njit()
def heights(away: Array, profile: CutterProfile) -> Array:
    """Returns the heights over the tip (n,), mm, at the radii `away` (n,), mm; inf beyond the
    cutter."""
    over = np.full(away.shape[0], math.inf)
    for k in range(away.shape[0]):
        if away[k] <= profile.radius + _ROUNDING:
            over[k] = height(away[k] - profile.flat, profile)
    return over
