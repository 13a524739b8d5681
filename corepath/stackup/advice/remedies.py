"""What a stack-up has room for, in numbers: floors that pass, the thinnest blank, the thickest
core, where a plug can go.

All figures are for the worst case: with them the checks window, floor, shows and clean-up are ok.
What is already cut is fixed: a cut groove keeps its floor, a cut plug its place, a finished skim
its plane.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from corepath.board.features import Board
from corepath.lengths import mm, said_all
from corepath.reported import Key, report_keys
from corepath.stackup.advice.plug_places import PlugPlaces
from corepath.stackup.checks.depth_checks import fill_short
from corepath.stackup.skim import TIE
from corepath.stackup.stacks import CastingStack
from corepath.stackup.stackup import Stackup

__all__ = ["Advice", "Deeper", "PlugAdvice", "advise", "is_cut"]


@dataclass(frozen=True, slots=True)
class PlugAdvice:
    """One plug that can be filled where the deck over it is at most `deck_limit` mm; here it is
    `deck_over` mm.

    `at` is the nearest place where the deck is low enough, None if there is none inside the groove.
    """

    id: str
    deck_over: float
    deck_limit: float
    at: tuple[float, float] | None

    @property
    def fits(self) -> bool:
        return self.deck_over <= self.deck_limit + TIE


@dataclass(frozen=True, slots=True)
class Deeper:
    """A casting that is cut too shallow: `by` how many mm it must be cut deeper, and how much wood
    that `leaves` under it, mm.

    `can`: it is not poured yet, and enough wood is left.
    """

    id: str
    by: float
    leaves: float
    can: bool

    @property
    def message(self) -> str:
        """The advice in words."""
        if self.can:
            again = (
                "a length of it again: corepath recut JOB --groove X1 Y1 X2 Y2; all of it: "
                "withdraw its cut and depth from the record and plan again"
                if self.id == "groove"
                else f"it again: corepath recut JOB --plug {self.id}"
            )
            return (
                f"{self.id} is not poured yet: cut {mm(self.by):.2f} deeper it shows in time, and "
                f"{mm(self.leaves):.2f} of wood stays; find out why it came out shallow, cut "
                f"{again}"
            )
        return f"{self.id} would have to be {mm(self.by):.2f} deeper, which it cannot be any more"


@report_keys(
    "floors",
    "least_blank",
    "possible",
    "thickest_core",
    "lowest_plane",
    "working_stop",
    Key("says", "lines"),
)
@dataclass(frozen=True, slots=True)
class Advice:
    """What would pass, mm.

    `floors`: the least and the largest groove.floor that passes (largest below least: none does).
    `least_blank`: the thinnest blank for this core with the best floor. Both are None once a groove
    or pocket is cut. `short`: by how much the core is too thick for this blank, negative where
    there is room; `thickest_core`: the largest board.thickness on it. `lowest_plane` is that of the
    skim, `working_stop` the lowest plane that keeps the clean-up in the worst case, `stop` the
    plane at which the skim stopped, once recorded.
    """

    floors: tuple[float, float] | None
    least_blank: float | None
    short: float
    thickest_core: float
    lowest_plane: float
    working_stop: float
    plugs: tuple[PlugAdvice, ...]
    stop: float | None = None
    deeper: tuple[Deeper, ...] = ()

    @property
    def possible(self) -> bool:
        return self.short <= TIE

    @property
    def _least_blank(self) -> str:
        floor = "" if self.floors is None else f", with groove.floor = {mm(self.floors[0]):.2f}"
        return f"the least blank for this core is {mm(self.least_blank or 0.0):.2f} thick{floor}"

    @property
    def _thickest(self) -> str:
        return f"the thickest core that this blank still gives is {mm(self.thickest_core):.2f}"

    def lines(self) -> tuple[str, ...]:
        """Return the advice in words, one sentence for each line.

        What would make a job pass of which nothing is cut is not told here: that is what fixes are
        for, which were tried (`corepath.planning.fixing`).
        """
        found: list[str] = []
        if self.floors is None:
            if not self.possible:
                found.append(f"what is cut is {mm(self.short):.2f} short of this core")
                found += [casting.message for casting in self.deeper]
            found.append(self._thickest)
        elif self.possible:
            found.append("groove.floor passes from {:.2f} to {:.2f}".format(*map(mm, self.floors)))
            found += [self._least_blank, self._thickest]
        if self.stop is None:
            low, keeps = self.lowest_plane, self.working_stop
            found.append(
                f"the lowest plane is {mm(low):.2f}, the lowest that keeps the clean-up "
                f"{mm(keeps):.2f}"
            )
        for plug in self.plugs:
            if plug.fits:
                continue
            found.append(
                f"{plug.id}: the deck over it is {mm(plug.deck_over):.2f}, at most "
                f"{mm(plug.deck_limit):.2f} can be filled"
            )
            if plug.at is None:
                found.append(f"{plug.id}: no place inside the groove will do")
            else:
                found.append(
                    f"{plug.id}: the nearest place that will do is X{mm(plug.at[0]):.0f} "
                    f"Y{mm(plug.at[1]):.0f}"
                )
        return said_all(found)


def is_cut(stack: Stackup, casting: CastingStack) -> bool:
    """Return whether the record shows that the pocket of this casting is cut."""
    # The groove comes after the plug pockets: once it is cut or measured, all pockets are there.
    settled, name = stack.heights.settled, casting.casting.id
    measured = settled.groove_depth or name in settled.pocket_depth or name in settled.fill
    return bool(measured) or bool({casting.operation, "groove"} & settled.cut) or settled.stopped


def advise(stack: Stackup, board: Board) -> Advice:
    """Work out what would make this stack-up pass."""
    stop = _working_stop(stack)
    ahead = [casting for casting in stack.castings if not is_cut(stack, casting)]
    # One floor is chosen for all castings, so that nothing may be cut yet.
    floors = _floors(stack, ahead, stop) if len(ahead) == len(stack.castings) else None
    # A thicker blank or a thinner core by this much lets the largest floor meet the least one.
    short = floors[0] - floors[1] if floors is not None else _short(stack, stop)
    return Advice(
        floors=floors,
        least_blank=None if floors is None else stack.job.blank.thickness + short,
        short=short,
        thickest_core=stack.job.board.thickness - short,
        lowest_plane=stack.skim.lowest_plane,
        working_stop=stop,
        plugs=_plugs(stack, board, ahead),
        stop=stack.skim.planned_plane if stack.skim.recorded else None,
        deeper=() if stack.skim.recorded else _deeper(stack, stop),
    )


def _deeper(stack: Stackup, stop: float) -> tuple[Deeper, ...]:
    """Return the castings that are cut and not deep enough to show in time."""
    found = []
    for casting in stack.castings:
        by = casting.casting.floor - _most_floor(stack, casting, stop)
        if not is_cut(stack, casting) or by <= TIE:
            continue
        at = casting.deepest_at
        left = stack.heights.thickness(at) - casting.depth_at(stack.heights, at)
        leaves = left.worst()[0] - by
        poured = casting.casting.id in stack.heights.settled.fill
        found.append(
            Deeper(
                casting.casting.id,
                by,
                leaves,
                not poured and leaves >= stack.job.groove.least_floor - TIE,
            )
        )
    return tuple(found)


def _floors(stack: Stackup, castings: list[CastingStack], stop: float) -> tuple[float, float]:
    least = max(_least_floor(stack, casting) for casting in castings)
    return least, min(_most_floor(stack, casting, stop) for casting in castings)


def _short(stack: Stackup, stop: float) -> float:
    """Return by how much the core is too thick for what is cut, mm: once the skim has stopped, for
    its plane, before that for the castings that must show."""
    if stack.skim.recorded:
        deck, at = stack.weakest_deck, stack.weakest_deck_at
        return (
            stack.job.deck.clean_up
            - stack.heights.clean_up(deck, stack.skim.planned_plane, at).worst()[0]
        )
    cut = [casting for casting in stack.castings if is_cut(stack, casting)]
    ahead = [casting for casting in stack.castings if not is_cut(stack, casting)]
    short = max(casting.casting.floor - _most_floor(stack, casting, stop) for casting in cut)
    if ahead:
        least, most = _floors(stack, ahead, stop)
        short = max(short, least - most)
    return short


def _least_floor(stack: Stackup, casting: CastingStack) -> float:
    floor = casting.casting.floor
    wood = stack.heights.wood_under(floor, casting.operation, casting.widest_gap_at)
    return floor + stack.job.groove.least_floor - wood.worst()[0]


def _working_stop(stack: Stackup) -> float:
    """Return the lowest plane lowest_plane + k x step that keeps the clean-up in the worst case."""
    # With clean_up = 0 the worst case may still not be negative: raw top would stay.
    job, lowest = stack.job, stack.skim.lowest_plane
    left = stack.heights.clean_up(stack.weakest_deck, lowest, stack.weakest_deck_at).worst()[0]
    missing = max(0.0, job.deck.clean_up - left, -left)
    return lowest + math.ceil((missing - TIE) / job.skim.step) * job.skim.step


def _most_floor(stack: Stackup, casting: CastingStack, stop: float) -> float:
    room = casting.shows_at(stack.heights, casting.shallowest_at) - stack.heights.plane(stop)
    return casting.casting.floor + room.worst()[0]


def _plugs(
    stack: Stackup, board: Board, castings: Sequence[CastingStack]
) -> tuple[PlugAdvice, ...]:
    places = PlugPlaces(stack, board)
    return tuple(
        _plug(stack, casting, places) for casting in castings if casting.casting.plug is not None
    )


def _plug(stack: Stackup, casting: CastingStack, places: PlugPlaces) -> PlugAdvice:
    short = fill_short(stack, casting, stack.skim.judged_plane)
    limit = casting.deck_highest - short
    at = None if short <= TIE else places.nearest(casting, limit)
    return PlugAdvice(casting.casting.id, casting.deck_highest, limit, at)
