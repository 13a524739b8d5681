"""Castings whose fill was measured after the cure: whether it fits, what each stop allows, and what
fixes a low one."""

from __future__ import annotations

from corepath.job.record.settled import Settled
from corepath.lengths import mm
from corepath.stackup.pour.top_up import FillAdvice, Reached, Stage, common_stop, judge_fill
from corepath.stackup.skim import TIE
from corepath.stackup.stackup import Stackup
from corepath.stackup.stop_table import pours

__all__ = ["fill_advices", "fill_lines"]


def fill_advices(stack: Stackup, settled: Settled) -> tuple[FillAdvice, ...]:
    """Judge each casting whose fill was recorded, in the order of the castings."""
    job, skim = stack.job, stack.skim
    stop = skim.planned_stop if skim.recorded else None
    reached = Reached(_stage(settled), stop, _passed(stack, settled))
    return tuple(
        judge_fill(pour, pour.p_expected, job.cast, level=job.tolerances.level, reached=reached)
        for pour in pours(stack)
        if pour.id in settled.fill
    )


def fill_lines(stack: Stackup, settled: Settled) -> tuple[str, ...]:
    """Return in words how each recorded fill fits, what fixes a low one and, where one is low, the
    last pass at which the skim may stop with all of them as they are."""
    advices = fill_advices(stack, settled)
    lines = [line for advice in advices for line in advice.message]
    if settled.stopped or all(advice.verdict == "ok" for advice in advices):
        return tuple(lines)
    stop = common_stop(advices)
    # A pass that is cut already cannot be undone: a stop above it serves nobody.
    if stop is None or stop < _passed(stack, settled):
        lines.append("no pass of the skim that is still ahead serves all castings as they are")
    else:
        lines.append(
            "all castings as they are allow a stop at "
            f"{mm(stack.skim.planes[stop - 1]):.2f} or above"
        )
    return tuple(lines)


def _passed(stack: Stackup, settled: Settled) -> int:
    """Return the number of the deepest pass of this plan that is cut, 0 for none.

    By its height where that is recorded: numbers are those of the plan it was cut from.
    """
    if settled.deepest is None:
        return settled.passes
    return sum(plane >= settled.deepest - TIE for plane in stack.skim.planes)


def _stage(settled: Settled) -> Stage:
    if {"deck", "deck-rough"} & settled.cut:
        return "C"
    if "inserts" in settled.cut:
        return "after B"
    return "B" if settled.stopped or "skim" in settled.cut else "cast"
