"""Tool profile z(r): the height of a cutter's end over its tip at the radius r, in mm.

Level up to `flat`, then round a corner of radius `corner` out to `radius`: a ball has flat 0, a
flat cutter corner 0. A tapered ball is round up to `cone_from`, where a cone of `cone_slope` goes
on tangentially out to `radius`. Elementary geometry, no source needed. This is the planner's only
profile; compiled loops call `corepath.motion.cutter_profile_kernels`, which compiles `height` and
`widest` as they are written here. The read-back has a profile of its own, so that it can judge.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CutterProfile", "contact_reach", "footprint", "height", "heights", "sections", "widest",
]  # fmt: skip

Array = NDArray[np.float64]

_ROUNDING = 1e-9
"""mm; a grid node this close to the rim counts as under the cutter, whatever rounding does."""


class CutterProfile(NamedTuple):
    """Sizes of a cutter's end, mm: its `radius`, that of the `flat` part, the `corner` radius.

    A tuple, so that compiled loops take it as an argument.

    `cone_from` is the distance beyond the flat part at which the corner passes into a cone, and
    `cone_slope` how much that cone rises per mm outwards; both are infinite where there is none.
    """

    radius: float
    flat: float
    corner: float
    cone_from: float = math.inf
    cone_slope: float = math.inf


def height(out: float, profile: CutterProfile) -> float:
    """Returns the height over the tip, mm, at `out` (mm) beyond the flat part; no farther than the
    rim."""
    # at the rim rounding may take `out` past the corner: its root must not be NaN there, hence max
    if out <= 0.0 or profile.corner <= 0.0:
        return 0.0
    if out > profile.cone_from:
        top = profile.corner - math.sqrt(profile.corner**2 - profile.cone_from**2)
        return top + (out - profile.cone_from) * profile.cone_slope
    return profile.corner - math.sqrt(max(profile.corner * profile.corner - out * out, 0.0))


def widest(up: float, profile: CutterProfile) -> float:
    """Returns the largest radius, mm, at which the end is less than `up` (mm, above 0) over the
    tip."""
    if profile.cone_from < math.inf:
        over = up - profile.corner + math.sqrt(profile.corner**2 - profile.cone_from**2)
        if over > 0.0:
            out = profile.cone_from + over / profile.cone_slope
            return min(profile.flat + out, profile.radius)
    elif up >= profile.corner:
        return profile.radius
    return profile.flat + math.sqrt(up * (2.0 * profile.corner - up))


def heights(away: Array, profile: CutterProfile) -> Array:
    """Returns the heights over the tip, mm, at the radii `away` (any shape, mm); inf beyond the
    cutter."""
    rim = profile.radius + _ROUNDING
    over = [
        height(r - profile.flat, profile) if r <= rim else math.inf for r in away.ravel().tolist()
    ]
    return np.array(over, dtype=np.float64).reshape(away.shape)


def footprint(profile: CutterProfile, cell: float) -> Array:
    """Returns the end as a structuring element for `corepath.geometry.morphology`, (2k + 1, 2k + 1)
    with the axis in the middle; `cell` (mm) is the distance of the grid's nodes."""
    reach = math.floor(profile.radius / cell)
    along = np.arange(-reach, reach + 1) * cell
    return heights(np.hypot(along[:, None], along[None, :]), profile)


def sections(profile: CutterProfile, cell: float, aside: Array, more: float = 0.0) -> Array:
    """Returns the end over the tip along lines in X for `eroded_along`, (k, 2r + 1), at nodes
    `cell` mm apart: one row for each distance `aside` (k,) of its axis from the line of nodes;
    `more` (mm) is added to each node's distance from the axis."""
    ahead = np.arange(math.floor(profile.radius / cell) + 1) * cell
    half = heights(np.hypot(ahead, aside[:, None]) + more, profile)
    return np.hstack((half[:, :0:-1], half))


def contact_reach(slope: Array, profile: CutterProfile) -> Array:
    """Returns the distance from the cutter's axis to its contact on a slope, as a factor (mm) of
    the gradient; the shape of `slope`.

    `slope` is |g|, the length of the gradient g of the ground. The end touches at
    flat·g/|g| + corner·g/√(1 + g²) from its axis, up the slope; a tapered ball does so where the
    ground is less steep than its cone.
    """
    # level ground has no way up: the factor stays finite, so that times the gradient it is nothing
    found: Array = profile.flat / np.maximum(slope, 1e-9) + profile.corner / np.sqrt(1.0 + slope**2)
    return found
