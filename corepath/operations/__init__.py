"""Paths for every operation: from a `Work`, which says what to reach and what to spare, to
programs.

`programs` picks the kind of path by what the work holds; there is no menu of methods.
"""

from __future__ import annotations

from collections.abc import Callable

from corepath.caching.store import NOTHING, Store, kept
from corepath.errors import CorepathError
from corepath.motion.program import Program
from corepath.motion.reachable import reachable
from corepath.work.works import Work

__all__ = ["programs"]


def programs(work: Work, store: Store = NOTHING) -> tuple[Program, ...]:
    """The programs of one work, in the order of cutting: several for a skim, one otherwise.

    No feed is higher than the machine can reach on a bend. Paths come from `store` where that has
    them. Raises `CorepathError` where no path can do what the work asks.
    """
    return tuple(reachable(program, work.milling.limits) for program in _planned(work, store))


def _planned(work: Work, store: Store) -> tuple[Program, ...]:
    # A deck's path is kept without what only its feeds and words follow: see there.
    if work.deck is not None:
        from corepath.operations.deck.surfacing import deck_programs

        return deck_programs(work, store)
    from corepath.operations.kept_paths import programs_form

    return kept(store, programs_form(work), (work,), lambda: _finder(work)(work))


def _finder(work: Work) -> Callable[[Work], tuple[Program, ...]]:
    """The function that finds the paths of a work with pockets, holes, a face or a trim."""
    if work.pockets:
        from corepath.operations.pockets.pocketing import pocket_programs

        return pocket_programs
    if work.holes:
        from corepath.operations.bores.stepped_holes import hole_programs

        return hole_programs
    if work.facing is not None:
        from corepath.operations.facing.skim_paths import skim_programs

        return skim_programs
    if work.trim is not None:
        from corepath.operations.trim import trim_programs

        return trim_programs
    raise CorepathError(f"{work.stem}: nothing to cut")
