"""How much of each casting shows after each pass of the skim, as a share of its footprint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corepath.reported import Key, report_keys
from corepath.stackup.checks.depth_checks import seen_at
from corepath.stackup.skim import TIE
from corepath.stackup.stacks import CastingStack
from corepath.stackup.stackup import Stackup

__all__ = ["PassShows", "showing"]


@report_keys(Key("pass", "number"), "plane", Key("shows", "shares"))
@dataclass(frozen=True, slots=True)
class PassShows:
    """One pass: its plane (mm above the bed in B) and, by casting id, the share of the footprint
    that shows, each as (worst, nominal, best case) from 0 to 1.
    """

    number: int
    plane: float
    shares: dict[str, tuple[float, float, float]]


def showing(stack: Stackup) -> tuple[PassShows, ...]:
    """Return what shows after every pass, in the order cut."""
    return tuple(
        PassShows(
            number,
            plane,
            {casting.casting.id: _shares(stack, casting, plane) for casting in stack.castings},
        )
        for number, plane in enumerate(stack.skim.planes, start=1)
    )


def _shares(stack: Stackup, casting: CastingStack, plane: float) -> tuple[float, float, float]:
    if seen_at(stack, casting, plane):
        return 1.0, 1.0, 1.0
    heights = stack.heights
    at = casting.shallowest_at
    name, floor, operation = casting.casting.id, casting.casting.floor, casting.operation
    there = heights.depth_over(floor, operation, casting.places, name)
    here = heights.depth_over(floor, operation, np.array([at]), name)
    # The room is worked out in full at one place. Elsewhere its nominal, least and largest value
    # differ by as much as those of D.
    room = casting.shows_at(heights, at) - heights.plane(plane)
    low, high = room.worst()
    value, least, largest = (some - known[0] for some, known in zip(there, here, strict=True))
    return (
        float((least + low >= -TIE).mean()),
        float((value + room.nominal >= -TIE).mean()),
        float((largest + high >= -TIE).mean()),
    )
