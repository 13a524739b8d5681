"""The end of a cutter as a solid of revolution: its height z over the tip at the distance r from the axis, all in mm.

It is level up to the radius `flat` and from there bends up round a corner of radius `corner`, to
the radius `radius`: a ball has flat 0, a flat cutter corner 0. Elementary geometry, no source
needed. All that plans asks here, compiled loops through `corepath.motion.cutter_profile_kernels`,
which compiles `height` and `widest` as they stand; the read-back judges by a profile of its own.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["CutterProfile", "contact_reach", "footprint", "height", "heights", "widest"]

Array = NDArray[np.float64]


class CutterProfile(NamedTuple):
    """What forms a cutter's end, mm; a plain tuple, so that compiled loops take it as it is."""

    radius: float
    flat: float
    corner: float


def height(out: float, profile: CutterProfile) -> float:
    """Height over the tip at `out` (mm) beyond the flat end, at most `profile.radius` from the axis."""
    if out <= 0.0 or profile.corner <= 0.0:
        return 0.0
    return profile.corner - math.sqrt(max(profile.corner * profile.corner - out * out, 0.0))


def widest(up: float, profile: CutterProfile) -> float:
    """Largest radius at which the end is less than `up` (mm, above 0) over the tip."""
    if up >= profile.corner:
        return profile.radius
    return profile.flat + math.sqrt(up * (2.0 * profile.corner - up))


def heights(away: Array, profile: CutterProfile) -> Array:
    """Heights over the tip at the distances `away` (any shape, mm) from the axis; inf beyond the cutter."""
    from corepath.motion.cutter_profile_kernels import heights

    flat = heights(np.ascontiguousarray(away, dtype=np.float64).ravel(), profile)
    return np.asarray(flat).reshape(np.shape(away))


def footprint(profile: CutterProfile, cell: float) -> tuple[NDArray[np.bool_], Array]:
    """A cutter over a grid as grey morphology takes it: the nodes under it, and less its heights there.

    Both are (2k + 1, 2k + 1), the axis in the middle; `cell` (mm) is the distance of the grid's nodes.
    """
    reach = math.floor(profile.radius / cell)
    along = np.arange(-reach, reach + 1) * cell
    over = heights(np.hypot(along[:, None], along[None, :]), profile)
    under = np.isfinite(over)
    return under, np.where(under, -over, 0.0)


def contact_reach(slope: Array, profile: CutterProfile) -> Array:
    """How far down the slope from a place the axis stands that finishes it, as a factor of the gradient; mm.

    On ground of the gradient g the end touches flat·g/|g| + corner·g/√(1 + g²) up the slope from its axis.
    """
    found: Array = profile.flat / np.maximum(slope, 1e-9) + profile.corner / np.sqrt(1.0 + slope**2)
    return found
