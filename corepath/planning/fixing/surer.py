"""To know the blank better, and to face and touch better: what can be done. Lengths in mm."""

from __future__ import annotations

import math

import numpy as np

from corepath.job.measured import Measured
from corepath.lengths import units_of
from corepath.planning.fixing.solving import typed_up
from corepath.planning.prepare import Prepared
from corepath.stackup.advice.fix import Value
from corepath.stackup.measuring.places_to_measure import measuring_places

__all__ = ["can_be_measured", "measured_as_assumed", "read_closely", "tight_tolerances"]

_TIGHT = {"flat": 0.05, "touch": 0.02, "bed": 0.03}
"""Tolerances that care alone reaches: feeler gauge, a touch plate, a bed faced anew (common
practice, no source)."""

_CALLIPERS = 0.05
"""± of a thickness that is read by callipers three times at each place (common practice, no
source)."""


def can_be_measured(start: Prepared) -> bool:
    """Returns whether the blank was neither measured nor cut yet."""
    known = start.known
    return known.measured is None and not known.settled.gauged and not known.settled.cut


def measured_as_assumed(start: Prepared) -> Measured:
    """Returns the figures of a blank that was measured at all places that are worth it and is just
    as the job assumes it."""
    places = measuring_places(start.resolved, start.board)
    thick = start.stackup.heights.blank.nominal
    x, y = np.array([(place.x, place.y) for place in places]).T
    callipers = np.array([thick if "thickness" in place.what else math.nan for place in places])
    return Measured(x, y, callipers, np.full(len(places), thick))


def read_closely(start: Prepared) -> dict[str, Value]:
    """Returns the tolerance of a figure that is read with care, by its key, where the job's is
    wider."""
    return _tighter(start, {"thickness": _CALLIPERS})


def tight_tolerances(start: Prepared) -> dict[str, Value]:
    """Returns the tolerances that care makes tighter, by key, what is dearest to reach first."""
    return _tighter(start, dict(reversed(_TIGHT.items())))


def _tighter(start: Prepared, tight: dict[str, float]) -> dict[str, Value]:
    values: dict[str, Value] = {}
    for name, size in tight.items():
        *_, typed = typed_up(size, units_of(start.job.units))
        if typed < getattr(start.job.tolerances, name):
            values[f"tolerances.{name}"] = typed
    return values
