"""The stack-up of a job, with only those passes of the skim that may be cut.

Passes below a planned stop that is sure are a reserve: the operator takes them only if a casting
does not show when it should. A reserve pass at which anything would fail (clean-up, a fill, a seat,
the rim, a dowel in the cutter's way) would spoil the core, so it is not offered; but it is no
reason to refuse the job. Checks on the lowest pass judge the lowest pass that is offered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.job.record.settled import Settled
from corepath.lengths import Said, marked, mm
from corepath.stackup.checks.depth_checks import clean_up_at, fill_at, hold_at, inserts_at
from corepath.stackup.checks.place_checks import standing_at
from corepath.stackup.checks.verdict import Check
from corepath.stackup.measuring.blank import Blank
from corepath.stackup.stacks import CastingStack
from corepath.stackup.stackup import Stackup, stack_heights

__all__ = ["ChecksAt", "build_stackup", "withhold"]

ChecksAt = Callable[[Stackup, float], Iterable[Check]]
"""Checks of a stack-up, judged as if the skim went down to a plane, mm above the bed in B."""


SAID = 0.01
"""mm: heights of passes are printed with two decimals, and a pass is recorded by that figure. The
recorded height may therefore differ from the plane by this much and still mean it."""


def build_stackup(
    job: Job, board: Board, blank: Blank | None = None, settled: Settled | None = None
) -> Stackup:
    """Work out the stack-up of a job and its board.

    `blank` is the blank as measured (assumed from the job if None); `settled` what the as-cut
    record holds, which replaces what would be predicted.
    """
    return withhold(
        stack_heights(job, board, blank, settled), lambda stack, plane: _spoils(stack, board, plane)
    )


def withhold(stack: Stackup, checks_at: ChecksAt) -> Stackup:
    """Return the stack-up without the first reserve pass at which a check fails and those below it.

    `checks_at(stack, plane)` gives the checks of a stop at `plane`. Nothing is left out where the
    stop is recorded, or where no pass surely shows all castings: then every pass is needed. Passes
    that the record says are cut stay too.
    """
    if stack.skim.recorded or stack.skim.latest is None:
        return stack
    # What fails at the planned stop already fails the job. It must not take passes away as well:
    # its check would then be judged at a higher plane and look better than it is.
    fails = {
        (check.id, check.where)
        for check in checks_at(stack, stack.skim.planned_plane)
        if check.verdict == "fail"
    }
    for number, plane in enumerate(stack.skim.planes, start=1):
        if number <= stack.skim.planned_stop or _is_cut(stack, number, plane):
            continue
        judged = (check for check in checks_at(stack, plane) if check.verdict == "fail")
        spoilt = next((check for check in judged if (check.id, check.where) not in fails), None)
        if spoilt is not None:
            return _down_to(stack, number - 1, spoilt)
    return stack


def _is_cut(stack: Stackup, number: int, plane: float) -> bool:
    settled = stack.heights.settled
    return number <= settled.passes or (
        settled.deepest is not None and plane >= settled.deepest - SAID
    )


def _spoils(stack: Stackup, board: Board, plane: float) -> Iterable[Check]:
    """Yield the checks that a stop at `plane` may fail, gravest for the core first."""
    yield clean_up_at(stack, plane)
    yield from (fill_at(stack, casting, plane) for casting in stack.castings)
    yield from inserts_at(stack, plane)
    yield hold_at(stack, plane)
    yield from standing_at(stack, board, plane)


def _down_to(stack: Stackup, count: int, spoilt: Check) -> Stackup:
    """Return the stack-up with the first `count` passes only; `spoilt` is the check that fails at
    the next."""
    planes, dropped = stack.skim.planes[:count], stack.skim.planes[count:]
    skim = replace(stack.skim, planes=planes, not_offered=(*dropped, *stack.skim.not_offered))
    heights = ", ".join(f"{mm(plane):.2f}" for plane in dropped)
    says = f"no pass at {heights}: {spoilt.id} would fail there, {marked(spoilt.message)}"
    castings = tuple(_with_limit(stack, casting, planes[-1]) for casting in stack.castings)
    return replace(stack, skim=skim, castings=castings, withheld=(*stack.withheld, Said(says)))


def _with_limit(stack: Stackup, casting: CastingStack, plane: float) -> CastingStack:
    # the pour is judged at the lowest plane: fewer passes allow the resin to lie lower
    limit = plane - casting.deck_highest - stack.job.cast.fill_margin
    return replace(casting, pour=replace(casting.pour, p_limit=limit))
