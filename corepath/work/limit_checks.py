"""The checks that need the chosen cutters: reach and travel."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from corepath.job.model import Job
from corepath.stackup.check import Check
from corepath.stackup.judge import judge, weakest
from corepath.stackup.linear import Linear
from corepath.work.model import Work
from corepath.work.running import FINISH_DEPTH

__all__ = ["limit_checks"]


def limit_checks(job: Job, works: Sequence[Work]) -> tuple[Check, ...]:
    """reach and travel over all works."""
    return weakest(_reach(work) for work in works), weakest(check for work in works for check in _travel(job, work))


def depth_of(work: Work) -> float:
    """How deep the cutter stands in the stock at its deepest, mm (nominal).

    Facing and roughing go down in layers over the whole blank, so that no stock beside the cutter is higher than one.
    """
    if work.deck is not None:
        layer = work.cutting.depth if work.deck.rough else FINISH_DEPTH
        return min(layer, work.stock_top - work.lowest)
    if work.facing is not None:
        planes = (work.facing.top, *work.facing.planes)
        return max(above - below for above, below in itertools.pairwise(planes))
    if work.trim is not None:
        return work.trim.depth
    if work.sloped:
        return max(hole.top - hole.steps[-1].floor for hole in work.holes)
    return work.stock_top - work.lowest


def _reach(work: Work) -> Check:
    depth = depth_of(work)
    room = work.cutter.cutting_length - depth
    return judge(
        "reach",
        Linear.of(room),
        0.0,
        says=f"{work.cutter.describe()} cuts {work.cutter.cutting_length:g} long, {work.name} goes {depth:.2f} deep",
        where=work.name,
        mend=f"a cutter whose edges are {-room:.2f} longer",
    )


def _travel(job: Job, work: Work) -> list[Check]:
    """Spans of each axis over the operation; where on the table the blank lies is the user's."""
    min_x, min_y, max_x, max_y = work.blank.bounds
    over = work.cutter.diameter if work.facing is not None or work.deck is not None else 0.0
    spans = {
        "X": max_x - min_x + over,
        "Y": max_y - min_y + over,
        "Z": work.clear - work.lowest,
    }
    return [
        judge(
            "travel",
            Linear.of(job.machine.travel[k] - span),
            0.0,
            says=f"{work.name} spans {span:.1f} on {axis}, the machine travels {job.machine.travel[k]:.1f}",
            where=f"{axis} in {work.name}",
            mend=f"a machine that travels {span - job.machine.travel[k]:.1f} more on {axis}, or a smaller blank",
        )
        for k, (axis, span) in enumerate(spans.items())
    ]
