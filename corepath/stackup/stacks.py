"""One casting and one insert as they stand in the stack-up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.board.features import Casting, Place
from corepath.reported import Key, report_keys
from corepath.stackup.heights import At, Heights
from corepath.stackup.linear import Linear
from corepath.stackup.pour.flush import LocalFlush
from corepath.stackup.pour.pour import CastingPour

__all__ = ["CastingStack", "PlaceStack"]


@report_keys(
    Key("id", "casting.id"), Key("floor", "casting.floor"), Key("p_expected",
        "pour.p_expected.nominal"),
    Key("p_limit", "pour.p_limit"),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class CastingStack:
    """One casting in the stack-up: the operation that cuts it and the deck over its own footprint.

    `places` (n, 2) sample the footprint (board frame, mm). The places named `..._at` are those
    where the deck over it is highest and lowest, where the pocket may be deepest and shallowest,
    and where the gap under the blank may be widest. `deck_highest` and `deck_lowest` are mm above
    the finished bottom.
    """

    casting: Casting
    operation: str
    places: NDArray[np.float64]
    deck_highest: float
    deck_lowest: float
    highest_at: At
    lowest_at: At
    deepest_at: At
    shallowest_at: At
    widest_gap_at: At
    pour: CastingPour
    flush: LocalFlush | None = None

    def depth_at(self, heights: Heights, at: At) -> Linear:
        """Return D at a place (board frame, mm)."""
        return heights.depth(self.casting.floor, self.operation, at, self.casting.id)

    def shows_at(self, heights: Heights, at: At) -> Linear:
        """Return the highest skim plane at which the casting shows at a place: D + gB."""
        return heights.shows_at(self.casting.floor, self.operation, at, self.casting.id)


@dataclass(frozen=True, slots=True)
class PlaceStack:
    """One insert in the stack-up: depths (mm) below the skimmed face, and the deck over it."""

    place: Place
    at: At
    seat_depth: float
    bore_depth: float
    deck_over_seat: float
    deck_over_bore: float
    highest_over_bore: float
