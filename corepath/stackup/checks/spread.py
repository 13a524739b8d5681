"""RSS of heights whose weakest place moves with the errors, over a measured blank: by Monte Carlo.

None where no place can become another: the blank was not measured, or a gauge has settled the
depth. The draws of the map are kept: the stops of a casting differ only in what all places share.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from corepath.stackup.checks.montecarlo import least_over, low_quantile, sample
from corepath.stackup.linear import Linear
from corepath.stackup.stacks import CastingStack
from corepath.stackup.stackup import Stackup

__all__ = ["spread_of_depth", "spread_of_wood"]

# places of a casting that are drawn over, at most; draws x places bounds the time
MOST_PLACES = 400

_MOST_MAPS = 256
"""Minima that are kept, 80 kB each. All castings are gone through for each check: where fewer are
kept than a board has, each is gone before it is asked for again."""

Floats = NDArray[np.float64]


def spread_of_depth(stack: Stackup, casting: CastingStack, value: Linear) -> float | None:
    """Return the lower three-sigma value of a height that grows with D, mm; None where RSS holds.

    `value` is that height at the shallowest place of the casting.
    """
    heights = stack.heights
    settled = casting.casting.id in heights.settled.pocket_depth or (
        casting.operation == "groove" and bool(heights.settled.groove_depth)
    )
    if not heights.blank.measured or settled or heights.face_flush is not None:
        return None
    places = _thinned(casting.places)
    top, here = (
        heights.blank.raw_top(*places.T),
        float(heights.blank.raw_top(*casting.shallowest_at)),
    )
    # `value` holds the map's error at one place. Take it out: the field draws it for every place.
    if heights.blank.top_map is None:
        common, error = value.without("thickness"), heights.blank.thickness_error(*places.T)
    else:
        common, error = value.without("height as held"), heights.blank.top_error(*places.T)
    return _low(common, places, top - here, error)


def spread_of_wood(stack: Stackup, casting: CastingStack, value: Linear) -> float | None:
    """Return the same of the wood under a floor, which depends on the gap gA.

    `value` is the wood at the place where the gap may be widest.
    """
    blank = stack.heights.blank
    if not blank.gap_measured:
        return None
    places = _thinned(casting.places)
    here = float(blank.gap(*casting.widest_gap_at))
    gap, error = blank.gap(*places.T), blank.gap_error(*places.T)
    return _low(value.without("lying flat in A"), places, here - gap, error)


def _low(common: Linear, places: Floats, nominal: Floats, error: Floats) -> float:
    """Return `low_quantile(least_over(common, ...))` with the draws of the map taken from a
    cache."""
    least = _least_of_map(
        *(np.ascontiguousarray(part).tobytes() for part in (places, nominal, error))
    )
    return low_quantile(least + sample(common))


@lru_cache(maxsize=_MOST_MAPS)
def _least_of_map(places: bytes, nominal: bytes, error: bytes) -> Floats:
    """Return (draws,) minima over the places of a map with its error, mm.

    The float64 arrays are given as bytes, which `lru_cache` can hash.
    """
    where = np.frombuffer(places).reshape(-1, 2)
    least = least_over(Linear.of(0.0), where, np.frombuffer(nominal), np.frombuffer(error))
    least.flags.writeable = False
    return least


def _thinned(places: Floats) -> Floats:
    return places[:: max(1, -(-len(places) // MOST_PLACES))]
