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
    depth, error = heights.depth_over(
        casting.casting.floor, casting.operation, casting.places, casting.casting.id
    )
    known = heights.depth_over(
        casting.casting.floor, casting.operation, np.array([at]), casting.casting.id
    )
    # The room is worked out in full at one place. Elsewhere it differs by the difference of nominal
    # D, and the part of the error that belongs to the place is exchanged for the one there.
    room = casting.shows_at(heights, at) - heights.plane(plane)
    low, high = room.worst()
    elsewhere = float(known[1][0])
    offset = depth - float(known[0][0])
    return (
        float((offset + low + elsewhere - error >= -TIE).mean()),
        float((offset + room.nominal >= -TIE).mean()),
        float((offset + high - elsewhere + error >= -TIE).mean()),
    )
