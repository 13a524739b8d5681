"""The check `spoil-board`: what is left of the spoil board under the deepest hole that passes into
it, mm.

A dowel's hole ends `depth_in_bed` below the bed, zeroed in A as the other files. A bore with
`through = true` ends `milling.into_bed` below the bed after the earliest stop of the skim (the
thickest core); after the latest stop it goes deeper by as much as the planes lie apart, because it
is measured from the skimmed face. The point of a drill goes deeper still.
"""

from __future__ import annotations

from collections.abc import Sequence

from corepath.job.model import Job
from corepath.lengths import mm
from corepath.stackup.checks.judge import judge, weakest
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.stackup.stackup import Stackup
from corepath.work.works import Hole, Work, point_of

__all__ = ["hole_checks", "hole_checks_at"]


def hole_checks(job: Job, stack: Stackup, works: Sequence[Work]) -> tuple[Check, ...]:
    """The check spoil-board over all holes that pass through the blank, for the lowest pass; empty
    if none does."""
    return hole_checks_at(job, stack, works, stack.skim.judged_plane)


def hole_checks_at(
    job: Job, stack: Stackup, works: Sequence[Work], plane: float
) -> tuple[Check, ...]:
    """The same if the skim stops at `plane` (mm above the bed): bores are measured from the skimmed
    face."""
    checks = [
        _left(job, work, hole, _floor(stack, work, hole, plane))
        for work in works
        if work.setup in ("A", "B")
        for hole in work.holes
        if hole.breaks_through is not None
    ]
    return (weakest(checks),) if checks else ()


def _floor(stack: Stackup, work: Work, hole: Hole, plane: float) -> Linear:
    """Lowest height of the full diameter above the bed under the blank, with its errors.

    The floor of a bore is planned for the planned stop, and lies lower by as much as the skim goes
    deeper than that.
    """
    floor = hole.steps[-1].floor
    # Zeroed on the bed or the raw face as all of A; the stack-up knows the errors of its floors.
    if work.setup == "A":
        return stack.heights.floor(floor, work.name)
    touch = Linear.term("touch for inserts", stack.job.tolerances.touch)
    machine = Linear.term("machine in inserts", stack.job.tolerances.machine)
    return stack.heights.plane(plane) - stack.skim.planned_plane + floor + touch + machine


def _left(job: Job, work: Work, hole: Hole, floor: Linear) -> Check:
    point = point_of(work.cutter)
    left = floor + (job.blank.spoil_board - point)
    limit = job.limits.under_holes
    tip = f", its point {mm(point):.2f} deeper" if point else ""
    drilled = work.setup == "A" and any(dowel.in_bed == "drill" for dowel in job.dowel)
    key = "dowel.depth_in_bed" if drilled else "milling.into_bed"
    return judge(
        "spoil-board",
        left,
        limit,
        message=f"{hole.id} goes {mm(-floor.nominal):.2f} into the spoil board of "
        f"{mm(job.blank.spoil_board):g}{tip}",
        where=f"{hole.id} ({work.name})",
        fix=f"less {key}, or a spoil board thicker by {mm(limit - left.worst()[0]):.2f}",
    )
