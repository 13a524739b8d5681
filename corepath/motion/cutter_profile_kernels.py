"""The profile of a cutter's end for compiled loops: `corepath.motion.cutter_profile` compiled."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion import cutter_profile as plain
from corepath.motion.compiled import njit
from corepath.motion.cutter_profile import CutterProfile

__all__ = ["footprint", "height", "heights", "widest"]

Array = NDArray[np.float64]

_ROUNDING = 1e-9
"""mm; a grid node this close to the rim counts as under the cutter, whatever rounding does."""

height = njit(inline="always")(plain.height)
widest = njit(inline="always")(plain.widest)


@njit()
def _heights(away: Array, profile: CutterProfile) -> Array:
    """Returns the heights over the tip (n,), mm, at the radii `away` (n,), mm; inf beyond the
    cutter."""
    over = np.full(away.shape[0], math.inf)
    for k in range(away.shape[0]):
        if away[k] <= profile.radius + _ROUNDING:
            over[k] = height(away[k] - profile.flat, profile)
    return over


def heights(away: Array, profile: CutterProfile) -> Array:
    """Returns the heights over the tip, mm, at the radii `away` (any shape, mm); inf beyond the
    cutter."""
    flat = _heights(np.ascontiguousarray(away, dtype=np.float64).ravel(), profile)
    return np.asarray(flat).reshape(np.shape(away))


def footprint(profile: CutterProfile, cell: float) -> tuple[NDArray[np.bool_], Array]:
    """Returns footprint and structuring element of the cutter for grey-scale morphology on a grid.

    Both are (2k + 1, 2k + 1) with the axis in the middle: which nodes lie under the cutter, and
    minus its height over the tip there, mm. `cell` (mm) is the distance of the grid's nodes.
    """
    reach = math.floor(profile.radius / cell)
    along = np.arange(-reach, reach + 1) * cell
    over = heights(np.hypot(along[:, None], along[None, :]), profile)
    under = np.isfinite(over)
    return under, np.where(under, -over, 0.0)
