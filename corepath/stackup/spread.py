"""RSS for relations whose weakest place moves about over a measured blank: drawn by Monte Carlo.

None where nothing moves about: the blank was not measured, or a gauge has settled the depth.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.stackup.linear import Linear
from corepath.stackup.montecarlo import least_over, low_quantile
from corepath.stackup.stackup import CastingStack, Stackup

__all__ = ["spread_of_depth", "spread_of_wood"]

MOST_PLACES = 400


def spread_of_depth(stack: Stackup, casting: CastingStack, value: Linear) -> float | None:
    """Low three-sigma value of a relation that grows with D, `value` being that at the shallowest place."""
    heights = stack.heights
    settled = casting.casting.id in heights.settled.pocket_depth or (
        casting.operation == "groove" and bool(heights.settled.groove_depth)
    )
    if not heights.blank.measured or settled or heights.face_flush is not None:
        return None
    places = _thinned(casting.places)
    top, here = heights.blank.raw_top(*places.T), float(heights.blank.raw_top(*casting.shallowest_at))
    if heights.blank.top_map is None:
        common, error = value.without("thickness"), heights.blank.thickness_error(*places.T)
    else:
        common, error = value.without("height as held"), heights.blank.top_map.uncertainty(*places.T)
    return low_quantile(least_over(common, places, top - here, error))


def spread_of_wood(stack: Stackup, casting: CastingStack, value: Linear) -> float | None:
    """The same of the wood under a floor, which hangs on the gap, `value` being that at the hollowest place."""
    blank = stack.heights.blank
    if not blank.gap_measured:
        return None
    places = _thinned(casting.places)
    here = float(blank.gap(*casting.widest_gap_at))
    gap, error = blank.gap(*places.T), blank.gap_error(*places.T)
    return low_quantile(least_over(value.without("lying flat in A"), places, here - gap, error))


def _thinned(places: NDArray[np.float64]) -> NDArray[np.float64]:
    return places[:: max(1, -(-len(places) // MOST_PLACES))]
