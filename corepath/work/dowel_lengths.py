"""How long a dowel may be in each set-up: its depth in the bed and how far it may stand up below
the lowest cut over it.

Lengths in mm above the bed, in the worst case. In A only a flush of the whole face cuts over a
dowel, so there it may stand up to the raw top; in C inside a frame up to the raw top after the
skim.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapely import Point, Polygon

from corepath.board.features import Board
from corepath.job.model import DowelSection
from corepath.lengths import mm
from corepath.motion.program import Setup
from corepath.reported import report_keys
from corepath.stackup.linear import Linear
from corepath.stackup.stackup import Stackup

__all__ = ["DowelLength", "dowel_lengths", "dowel_words"]

_STEP = 0.1  # lengths are given to this, rounded down


@report_keys("dowel", "setup", "over", "stand", "length", "fits")
@dataclass(frozen=True, slots=True)
class DowelLength:
    """The longest that `dowel` (from 1) may be in a set-up: `stand` above the bed, and `length`
    with its depth in it.

    `over` is the lowest cut over it (or its face), in the worst case; `fits`: the job's own stand
    is no longer.
    """

    dowel: int
    setup: Setup
    over: float
    stand: float
    length: float
    fits: bool


def dowel_lengths(stack: Stackup, board: Board) -> tuple[DowelLength, ...]:
    """The greatest length of every dowel in A, B and C."""
    return tuple(
        _length(stack, number, dowel, setup, over)
        for number, dowel in enumerate(board.dowels, start=1)
        for setup, over in _over(stack, board, dowel).items()
    )


def _over(stack: Stackup, board: Board, dowel: DowelSection) -> dict[Setup, Linear]:
    heights, skim = stack.heights, stack.skim
    hole: Polygon = Point(dowel.at).buffer(dowel.diameter / 2.0, quad_segs=64)
    flushed = heights.face_flush
    inner = board.blank.buffer(-stack.job.deck.margin, join_style="mitre")
    # Inside a frame the deck is cut over the dowel; under the frame the raw top stays.
    if hole.intersects(inner):
        deck = heights.deck(board.deck.lowest_over(hole)[0], skim.planned_plane)
    else:
        deck = heights.skimmed(skim.planned_plane, dowel.at)
    return {
        "A": heights.thickness(dowel.at) if flushed is None else flushed.top,
        "B": heights.plane(skim.judged_plane),
        "C": deck,
    }


def _length(
    stack: Stackup, number: int, dowel: DowelSection, setup: Setup, over: Linear
) -> DowelLength:
    lowest = over.worst()[0]
    most = lowest - stack.job.limits.dowels
    # Rounded down, but not by a whole tenth for a rounding error.
    stand = max(0.0, math.floor(most / _STEP + 1e-9) * _STEP)
    return DowelLength(
        number, setup, lowest, stand, dowel.depth_in_bed + stand, dowel.stand <= most + 1e-9
    )


def dowel_words(stack: Stackup, board: Board, setup: Setup) -> str:
    """A line for the head of the first file of a set-up."""
    mine = [one for one in dowel_lengths(stack, board) if one.setup == setup]
    lengths = [f"{mm(one.length):.1f} long, {mm(one.stand):.1f} over the bed" for one in mine]
    if len(set(lengths)) == 1:
        return f"dowels here at most {lengths[0]}; wood or plastic"
    return "dowels here at most " + "; ".join(
        f"{one.dowel}: {words}" for one, words in zip(mine, lengths, strict=True)
    )
