"""What would mend a stack-up, in numbers: floors that pass, the least blank, the thickest core, where a plug can go.

All figures are for the worst case: with them the checks window, floor, shows and clean-up are ok.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.affinity import translate

from corepath.board.model import Board
from corepath.stackup.depth_checks import fill_room
from corepath.stackup.skim import TIE
from corepath.stackup.stackup import CastingStack, Stackup

__all__ = ["Advice", "PlugAdvice", "advise"]

SEARCH = 4.0
"""mm between the places tried for a plug."""


@dataclass(frozen=True, slots=True)
class PlugAdvice:
    """One plug: the deck over it may be at most `deck_limit` high; `at` is the nearest place where it is.

    `at` is None where no place inside the groove will do.
    """

    id: str
    deck_over: float
    deck_limit: float
    at: tuple[float, float] | None

    @property
    def fits(self) -> bool:
        return self.deck_over <= self.deck_limit + TIE


@dataclass(frozen=True, slots=True)
class Advice:
    """`floors`: least and most that groove.floor may be (most below least: no floor passes).

    `least_blank`: thickness that the blank must at least have for this core with the best floor.
    `thickest_core`: what board.thickness may be on this blank. `working_stop`: the lowest plane at which
    clean-up still holds in the worst case. All mm.
    """

    floors: tuple[float, float]
    least_blank: float
    thickest_core: float
    lowest_plane: float
    working_stop: float
    plugs: tuple[PlugAdvice, ...]

    @property
    def possible(self) -> bool:
        return self.floors[0] <= self.floors[1] + TIE

    def lines(self) -> tuple[str, ...]:
        """In plain words."""
        low, high = self.floors
        if self.possible:
            found = [f"groove.floor passes from {low:.2f} to {high:.2f}"]
        else:
            found = [f"no groove.floor passes: it would have to be at least {low:.2f} and at most {high:.2f}"]
        found += [
            f"the least blank for this core is {self.least_blank:.2f} thick",
            f"the thickest core that this blank still gives is {self.thickest_core:.2f}",
            f"the lowest plane is {self.lowest_plane:.2f}, the lowest that keeps the clean-up {self.working_stop:.2f}",
        ]
        for plug in self.plugs:
            if plug.fits:
                continue
            found.append(
                f"{plug.id}: the deck over it is {plug.deck_over:.2f}, at most {plug.deck_limit:.2f} can be filled"
            )
            if plug.at is None:
                found.append(f"{plug.id}: no place inside the groove will do")
            else:
                found.append(f"{plug.id}: the nearest place that will do is X{plug.at[0]:.0f} Y{plug.at[1]:.0f}")
        return tuple(found)

    def as_dict(self) -> dict[str, Any]:
        return {
            "floors": [round(end, 4) for end in self.floors],
            "least_blank": round(self.least_blank, 4),
            "thickest_core": round(self.thickest_core, 4),
            "lowest_plane": round(self.lowest_plane, 4),
            "working_stop": round(self.working_stop, 4),
            "says": list(self.lines()),
        }


def advise(stack: Stackup, board: Board) -> Advice:
    """Work out what would pass."""
    least = max(_least_floor(stack, casting) for casting in stack.castings)
    stop = _working_stop(stack)
    most = min(_most_floor(stack, casting, stop) for casting in stack.castings)
    short = least - most
    return Advice(
        floors=(least, most),
        least_blank=stack.job.blank.thickness + short,
        thickest_core=stack.job.board.thickness - short,
        lowest_plane=stack.skim.lowest_plane,
        working_stop=stop,
        plugs=tuple(_plug(stack, board, casting) for casting in stack.castings if casting.casting.plug is not None),
    )


def _least_floor(stack: Stackup, casting: CastingStack) -> float:
    floor = casting.casting.floor
    wood = stack.heights.wood_under(floor, casting.operation, casting.widest_gap_at)
    return floor + stack.job.groove.least_floor - wood.worst()[0]


def _working_stop(stack: Stackup) -> float:
    """The lowest plane lowest_plane + k x step at which the clean-up holds in the worst case."""
    job, lowest = stack.job, stack.skim.lowest_plane
    left = stack.heights.clean_up(stack.deck_highest, lowest, stack.deck_highest_at).worst()[0]
    missing = max(0.0, job.deck.clean_up - left, -left)
    return lowest + math.ceil((missing - TIE) / job.skim.step) * job.skim.step


def _most_floor(stack: Stackup, casting: CastingStack, stop: float) -> float:
    room = casting.shows_at(stack.heights, casting.shallowest_at) - stack.heights.plane(stop)
    return casting.casting.floor + room.worst()[0]


def _plug(stack: Stackup, board: Board, casting: CastingStack) -> PlugAdvice:
    room = fill_room(stack, casting, stack.skim.judged_plane) - casting.pour.p_expected
    limit = casting.deck_highest + room.worst()[0]
    at = None if room.worst()[0] >= -TIE else _nearest(stack, board, casting, limit)
    return PlugAdvice(casting.casting.id, casting.deck_highest, limit, at)


def _nearest(stack: Stackup, board: Board, casting: CastingStack, limit: float) -> tuple[float, float] | None:
    """The place nearest to where the plug is now, clear of everything else, where the deck is low enough."""
    area = casting.casting.area
    middle = area.centroid
    spacing = stack.job.limits.spacing
    others = [other.area for other in board.castings if other.id != casting.casting.id]
    others += [shapely.Point(place.x, place.y).buffer(place.seat / 2) for place in board.places]
    taken = shapely.union_all(others).buffer(spacing)
    min_x, min_y, max_x, max_y = board.island.bounds
    columns, rows = np.meshgrid(np.arange(min_x, max_x, SEARCH), np.arange(min_y, max_y, SEARCH), indexing="ij")
    x, y = columns.ravel(), rows.ravel()
    low = shapely.contains_xy(board.island, x, y) & (board.deck.height(x, y) <= limit)
    x, y = x[low], y[low]
    for k in np.argsort(np.round(np.hypot(x - middle.x, y - middle.y), 3), kind="stable"):
        moved = translate(area, x[k] - middle.x, y[k] - middle.y)
        if not moved.within(board.island) or moved.intersects(taken):
            continue
        if board.deck.highest_over(moved)[0] <= limit:
            return float(x[k]), float(y[k])
    return None
