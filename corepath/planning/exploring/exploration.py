"""All that `plan --explore` tells: what limits cost, and what cutters and numbers would save."""

from __future__ import annotations

from dataclasses import dataclass

from corepath.caching.store import NOTHING, Store
from corepath.planning.exploring.explore import Explored, explore
from corepath.planning.exploring.limit_costs import LimitCosts, limit_costs
from corepath.planning.exploring.tried_numbers import TriedNumber, numbers
from corepath.planning.plan import Plan
from corepath.planning.progress import Progress, quiet, within

__all__ = ["Exploration", "exploration"]


@dataclass(frozen=True, slots=True)
class Exploration:
    """Cutters that were added, each tried; what each limit costs in each file; numbers that were
    tried."""

    cutters: tuple[Explored, ...] = ()
    limits: tuple[LimitCosts, ...] = ()
    numbers: tuple[TriedNumber, ...] = ()


def exploration(made: Plan, *, progress: Progress = quiet, store: Store = NOTHING) -> Exploration:
    """Return all of it for a plan; nothing of it is written."""
    stop = made.prepared.stackup.skim.planned_stop
    return Exploration(
        explore(made, progress=within(progress, 0.0, 0.4), store=store),
        limit_costs(made.prepared.job, made.made, stop),
        numbers(made, progress=within(progress, 0.4, 1.0), store=store),
    )
