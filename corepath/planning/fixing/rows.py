"""What a job must keep, as margins that are linear in the levers (mm for each mm of a lever).

A goal is that checks hold with all errors against them, or that none fails: the margin of a check
is then that of its worst case or of its root sum square. Slopes
follow from the relations (docs/arithmetic.md). They only propose: what is proposed is tried.

The skim stops on the first of its planes, lowest plane + k x step, at which all castings surely
show. The clean-up asks for a rise of the stop over the lowest plane, which comes about by steps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from corepath.job.model import InsertSection
from corepath.planning.prepare import Prepared
from corepath.stackup import Check
from corepath.stackup.checks.depth_checks import holds_at, inserts_at
from corepath.stackup.checks.place_checks import standing
from corepath.stackup.pour.pour import depth_loss

__all__ = ["Goal", "Row", "Weakest", "beyond", "rise_needed", "rows_of", "weakest_of"]

Slopes = Mapping[str, float]

_OF_PLANE: Slopes = {"clean_up": 1.0, "core": 1.0}
"""How the planes of the skim move."""

_CLEAR = 0.002
"""mm: how far a margin that must be more than nothing is kept from it."""


class Goal(Enum):
    """What is asked of a job."""

    ALL = "every check holds with all errors against it"
    CARE = "the heights do not fail, all else holds with all errors against it"
    HELD = "no check fails"


@dataclass(frozen=True, slots=True)
class Row:
    """One margin, mm, and how it moves with each lever."""

    check: str
    margin: float
    slopes: Slopes


_LEVERS_OF_HEIGHTS = frozenset({"window", "floor", "shows", "clean-up", "fill", "hold"})
_OF_INSERTS = frozenset({"seat", "wood-over-seat", "barrel", "opens"})
_ROWS = _LEVERS_OF_HEIGHTS | _OF_INSERTS


def beyond(found: Prepared) -> tuple[Check, ...]:
    """Returns the checks that no lever moves: of tools, feeds, places, and the dowels' pattern."""
    dowels = {check.where for check in standing(found.stackup, found.board)}
    return tuple(
        check
        for check in found.checks
        if check.id not in _ROWS and not (check.id == "dowels" and check.where in dowels)
    )


_WITH_CARE = frozenset({"window", "floor", "shows", "fill"})
"""Checks whose errors nobody chose: they may hold only by root sum square."""


def _slack(check: Check, goal: Goal) -> float:
    careful = goal is Goal.HELD or (goal is Goal.CARE and check.id in _WITH_CARE)
    return (check.rss if careful else check.worst) - check.limit


class Weakest(NamedTuple):
    """What a job has whatever the goal and the rise. `inserts`, of each table of them: by what
    share of the core the deck rises over it, and its weakest seat, wood over a seat and barrel.
    `dowels`: the room over each, in B and in C."""

    inserts: tuple[tuple[float, tuple[Check, ...]], ...]
    dowels: tuple[Check, ...]


def rows_of(
    found: Prepared, goal: Goal, up: float | None, stands: Weakest | None = None
) -> tuple[Row, ...]:
    """Returns all margins of a job whose skim is to stop `up` mm above its lowest plane; None: on
    the lowest plane, if need be. `stands` is its `weakest_of`, where it is known."""
    rise, stands = up or 0.0, stands or weakest_of(found)
    return (
        *_window(found, goal),
        *_clean_up(found, goal, up),
        *_fills(found, goal, rise),
        *_holds(found, goal, rise),
        *_inserts(stands.inserts, goal),
        *_dowels(found, stands.dowels, goal, rise),
    )


def rise_needed(found: Prepared, goal: Goal) -> float | None:
    """Returns how far above the lowest plane the skim must stop for the clean-up, mm, at most 0
    where it may stop on it; None once it has stopped."""
    skim = found.stackup.skim
    return None if skim.recorded else _lacks(found, goal) + skim.planned_plane - skim.lowest_plane


def _of(checks: Sequence[Check], name: str) -> Check:
    return next(check for check in checks if check.id == name)


def _window(found: Prepared, goal: Goal) -> Iterator[Row]:
    wood, window = _of(found.checks, "floor"), _of(found.checks, "window")
    yield Row("floor", _slack(wood, goal), {"floor": 1.0, "least_floor": -1.0})
    yield Row("window", _slack(window, goal), _deeper(found))


def _deeper(found: Prepared) -> Slopes:
    """Returns how the room between what shows and the core moves."""
    slopes = {"floor": -1.0, "blank": 1.0, "core": -1.0}
    return slopes if found.stackup.skim.recorded else {**slopes, "clean_up": -1.0}


def _lacks(found: Prepared, goal: Goal) -> float:
    """Returns what the clean-up lacks at the planned stop, mm; negative where it has more."""
    check, wanted = _of(found.checks, "clean-up"), found.resolved.deck.clean_up
    if goal is Goal.ALL:
        return check.limit - check.worst
    # a caution as long as anything is left; without a clean-up raw top may stay
    return _CLEAR - check.rss if wanted > 0.0 else -math.inf


def _clean_up(found: Prepared, goal: Goal, up: float | None) -> Iterator[Row]:
    skim, lacks = found.stackup.skim, _lacks(found, goal)
    need = rise_needed(found, goal)
    if need is None:
        yield Row("clean-up", -lacks, {"clean_up": -1.0, "core": -1.0})
        return
    # errors do not change with the clean-up that is asked for: what a caution needs, all of it may
    # give; what is OK, the rise alone must give
    if math.isfinite(need):
        grows = {} if goal is Goal.ALL else {"clean_up": 1.0}
        yield Row("clean-up", (up or 0.0) - need, grows)
    shows, lowest = _of(found.checks, "shows"), skim.planned_plane - skim.lowest_plane
    # the stop is the first plane at which all *surely* show, whatever the goal
    room = _slack(shows, goal) if up is None else shows.worst - shows.limit
    yield Row("shows", room + lowest - (up or 0.0), _deeper(found))


def _judged_higher(found: Prepared, goal: Goal, up: float) -> float:
    """Returns how much higher than now the last pass is that is offered, mm, for a stop `up` over
    the lowest plane: reserve passes below it at which anything fails are left out. One at which
    something holds with care stays, and its check with it."""
    skim = found.stackup.skim
    if skim.recorded or goal is Goal.ALL:
        return 0.0
    return skim.lowest_plane + up - skim.judged_plane


def _fills(found: Prepared, goal: Goal, up: float) -> Iterator[Row]:
    """Yields the fills as they are at the last pass that is offered."""
    skim = found.stackup.skim
    higher = _judged_higher(found, goal, up)
    slopes = _of_pour(found)
    fills = (check for check in found.checks if check.id == "fill")
    for check, casting in zip(fills, found.stackup.castings, strict=True):
        crown = _crown(found, casting.deck_highest)
        planes = {} if skim.recorded else {"clean_up": 1.0, "core": 1.0 - crown}
        yield Row("fill", _slack(check, goal) + higher, {**slopes, **planes})


def _of_pour(found: Prepared) -> dict[str, float]:
    """Returns how the height of the resin moves: a deeper pocket loses more of it."""
    loss = depth_loss(found.resolved.cast)
    return {"pour_short": -1.0, "floor": loss, "blank": -loss}


def _crown(found: Prepared, height: float) -> float:
    """Returns by what share of it the deck rises with the core where it is `height` mm thick: all
    of it in the middle, nothing at the edge."""
    edge, core = found.resolved.board.edge_thickness, found.resolved.core_thickness
    return (height - edge) / (core - edge) if core > edge else 1.0


def _holds(found: Prepared, goal: Goal, up: float) -> Iterator[Row]:
    stack = found.stackup
    skim = stack.skim
    in_b, in_c = holds_at(stack, skim.judged_plane)
    higher = _judged_higher(found, goal, up)
    below = {**_of_pour(found), **_OF_PLANE, "least_height": -1.0}
    yield Row("hold", _slack(in_b, goal) + higher, below)
    yield Row("hold", _slack(in_c, goal), {"least_height": -1.0, "edge": 1.0})


def weakest_of(found: Prepared) -> Weakest:
    """Returns what a job's rows start from, whatever the goal and the rise: with hundreds of
    inserts it takes longer than all else of them."""
    inserts = tuple(_weakest_of(found, insert) for insert in found.resolved.insert)
    return Weakest(inserts, standing(found.stackup, found.board))


def _weakest_of(found: Prepared, insert: InsertSection) -> tuple[float, tuple[Check, ...]]:
    stack = found.stackup
    own = [place for place in stack.places if place.place.insert == insert]
    crown = _crown(found, min(place.deck_over_bore for place in own))
    return crown, inserts_at(stack, stack.skim.planned_plane, own)


def _inserts(inserts: tuple[tuple[float, tuple[Check, ...]], ...], goal: Goal) -> Iterator[Row]:
    """Yields the weakest seat, wood over a seat and barrel of each table of inserts."""
    for k, (crown, (seat, wood, barrel)) in enumerate(inserts, 1):
        lever = f"recess {k}"
        yield Row("seat", _slack(seat, goal), {lever: 1.0})
        yield Row("wood-over-seat", _slack(wood, goal), {lever: -1.0, "core": crown})
        yield Row("barrel", _slack(barrel, goal), {lever: -1.0, "core": crown})


def _dowels(found: Prepared, dowels: Sequence[Check], goal: Goal, up: float) -> Iterator[Row]:
    higher = _judged_higher(found, goal, up)
    for check in dowels:
        number = check.where.split()[1]
        in_b = check.where.endswith(" B")
        slopes = {f"stand {number}": -1.0, **(_OF_PLANE if in_b else {"edge": 1.0})}
        yield Row("dowels", _slack(check, goal) + (higher if in_b else 0.0), slopes)
