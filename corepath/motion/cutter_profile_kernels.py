"""The profile of a cutter's end for compiled loops: `corepath.motion.cutter_profile`, compiled."""

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
"""mm; a node of a grid this little beyond the cutter lies on its rim, and is under it."""

height = njit(inline="always")(plain.height)
widest = njit(inline="always")(plain.widest)


@njit()
def heights(away: Array, profile: CutterProfile) -> Array:
    """Heights over the tip (n,) at the distances `away` (n,) from the axis, mm; inf beyond the cutter."""
    over = np.empty(away.shape[0])
    for k in range(away.shape[0]):
        over[k] = height(away[k] - profile.flat, profile) if away[k] <= profile.radius + _ROUNDING else math.inf
    return over
