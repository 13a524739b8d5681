"""Paths for every operation: from a `Work`, which says what to reach and what to spare, to
programs.

`programs` picks the kind of path by what the work holds; there is no menu of methods.
"""

from __future__ import annotations

from corepath.errors import CorepathError
from corepath.motion.program import Program
from corepath.motion.reachable import reachable
from corepath.work.works import Work

__all__ = ["programs"]


def programs(work: Work) -> tuple[Program, ...]:
    """The programs of one work, in the order of cutting: several for a skim, one otherwise.

    No feed is higher than the machine can reach on a bend. Raises `CorepathError` where no path can
    do what the work asks.
    """
    return tuple(reachable(program, work.milling.limits.accel) for program in _planned(work))


def _planned(work: Work) -> tuple[Program, ...]:
    if work.pockets:
        from corepath.operations.pockets.pocketing import pocket_programs

        return pocket_programs(work)
    if work.holes:
        from corepath.operations.bores.stepped_holes import hole_programs

        return hole_programs(work)
    if work.facing is not None:
        from corepath.operations.facing.skim_paths import skim_programs

        return skim_programs(work)
    if work.deck is not None:
        from corepath.operations.deck.surfacing import deck_programs

        return deck_programs(work)
    if work.trim is not None:
        from corepath.operations.trim import trim_programs

        return trim_programs(work)
    raise CorepathError(f"{work.stem}: nothing to cut")
