"""Castings whose fill was measured after the cure: what each stop allows, and what fixes a low
one."""

from __future__ import annotations

from corepath.job.record.settled import Settled
from corepath.lengths import mm
from corepath.stackup.pour.top_up import FillAdvice, Stage, common_stop, judge_fill
from corepath.stackup.stackup import Stackup
from corepath.stackup.stop_table import pours

__all__ = ["fill_advices", "low_fills"]


def fill_advices(stack: Stackup, settled: Settled) -> tuple[FillAdvice, ...]:
    """Judge each casting whose fill was recorded, in the order of the castings."""
    job, skim = stack.job, stack.skim
    stop = skim.planned_stop if skim.recorded else None
    return tuple(
        judge_fill(
            pour,
            pour.p_expected,
            job.cast,
            level=job.tolerances.level,
            stage=_stage(settled),
            stop=stop,
        )
        for pour in pours(stack)
        if pour.id in settled.fill
    )


def low_fills(stack: Stackup, settled: Settled) -> tuple[str, ...]:
    """Return in words each casting that is too low, and the last pass at which the skim may stop
    with all of them as they are."""
    advices = fill_advices(stack, settled)
    lines = [line for advice in advices if advice.verdict != "ok" for line in advice.says]
    if lines and not settled.stopped:
        stop = common_stop(advices)
        if stop is None:
            lines.append("no stop of the skim serves all castings as they are")
        else:
            lines.append(
                "all castings as they are allow a stop at "
                f"{mm(stack.skim.planes[stop - 1]):.2f} or above"
            )
    return tuple(lines)


def _stage(settled: Settled) -> Stage:
    if {"deck", "deck-rough"} & settled.cut:
        return "C"
    if "inserts" in settled.cut:
        return "after B"
    return "B" if settled.stopped or "skim" in settled.cut else "cast"
