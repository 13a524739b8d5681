"""The stack-up of a job, with those passes of the skim that may be cut.

Passes below a planned stop that is sure are a reserve: the operator takes them only if a casting does not show when it
should. One at which clean-up or seats would fail spoils the core, so it is not offered; it is no reason to refuse the
job either. Fill and rim are judged at the lowest pass that is offered, so that none of these can spoil them.
"""

from __future__ import annotations

from dataclasses import replace

from corepath.board.model import Board
from corepath.job.model import Job
from corepath.job.record_settled import Settled
from corepath.lengths import Said, marked, mm
from corepath.stackup.blank import Blank
from corepath.stackup.check import Check
from corepath.stackup.depth_checks import clean_up_at, inserts_at
from corepath.stackup.stackup import CastingStack, Stackup, stack_heights

__all__ = ["build_stackup"]


def build_stackup(job: Job, board: Board, blank: Blank | None = None, settled: Settled | None = None) -> Stackup:
    """Work out the stack-up of a job and its board, for a blank as measured or else as assumed.

    `settled` is what the as-cut record holds; it replaces what would be predicted.
    """
    stack = stack_heights(job, board, blank, settled)
    if stack.skim.recorded or stack.skim.latest is None:
        return stack
    first = stack.skim.planned_stop
    for number, plane in enumerate(stack.skim.planes[first:], start=first):
        spoilt = _spoilt(stack, plane)
        if spoilt is not None:
            return _down_to(stack, number, spoilt)
    return stack


def _spoilt(stack: Stackup, plane: float) -> Check | None:
    """The first of the checks that are judged at the planned stop alone and would fail after a stop at `plane`."""
    checks = (clean_up_at(stack, plane), *inserts_at(stack, plane))
    return next((check for check in checks if check.verdict == "fail"), None)


def _down_to(stack: Stackup, count: int, spoilt: Check) -> Stackup:
    """The stack-up with the first `count` passes only, since `spoilt` fails at the next."""
    planes, dropped = stack.skim.planes[:count], stack.skim.planes[count:]
    skim = replace(stack.skim, planes=planes, not_offered=dropped)
    heights = ", ".join(f"{mm(plane):.2f}" for plane in dropped)
    says = f"no pass at {heights}: {spoilt.id} would fail there, {marked(spoilt.says)}"
    castings = tuple(_with_limit(stack, casting, planes[-1]) for casting in stack.castings)
    return replace(stack, skim=skim, castings=castings, withheld=(Said(says),))


def _with_limit(stack: Stackup, casting: CastingStack, plane: float) -> CastingStack:
    limit = plane - casting.deck_highest - stack.job.cast.fill_margin
    return replace(casting, pour=replace(casting.pour, p_limit=limit))
