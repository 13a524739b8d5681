"""Whether what was measured after the skim agrees with the pass that was recorded as its stop.

A stop that contradicts the callipers or a touched face is another pass than was cut: inserts and
deck would be planned for a plane that is not there. Lengths in mm.
"""

from __future__ import annotations

from corepath.job.record.record_facts import Within
from corepath.lengths import Said, mm
from corepath.stackup.heights import Heights
from corepath.stackup.linear import Linear
from corepath.stackup.skim import SkimPlan

__all__ = ["AFTER_SKIM", "stop_doubts", "thickness_within", "touch_within"]

AFTER_SKIM = ("inserts", "deck-rough", "deck")
"""Operations that touch a face whose height hangs on the stop."""


def thickness_within(heights: Heights) -> Within:
    """How far the thickness by callipers may lie off the plane of the stop: plane, gap under the
    blank, callipers."""
    gauge = Linear.term("callipers", heights.job.tolerances.gauge)
    return Within(*(heights.plane(0.0) - heights.gap("B", (0.0, 0.0)) + gauge).worst())


def touch_within(heights: Heights, operation: str) -> Within:
    """How far a touched face may stand off the plane of the stop: the skimmed face in B, the raw
    top in C."""
    face = heights.plane(0.0)
    if operation != "inserts":
        face = face - heights.gap("B", (0.0, 0.0)) + heights.gap("C", (0.0, 0.0)) + heights.bed("C")
    return Within(*(face + Linear.term("touch", heights.job.tolerances.touch)).worst())


def stop_doubts(heights: Heights, skim: SkimPlan) -> tuple[str, ...]:
    """In plain words, the figure that lies farthest outside what the recorded stop can have left.

    Empty where all agree in the worst case, or where stop or figures are missing.
    """
    if not skim.recorded:
        return ()
    plane, settled = skim.planned_plane, heights.settled
    figures = [
        (
            f"{mm(thickness):.2f} at X{mm(x):g} Y{mm(y):g} after the skim",
            thickness,
            thickness_within(heights),
        )
        for x, y, thickness in settled.thickness_after
    ]
    figures += [
        (
            f"the touch for {name}, {mm(settled.touches[name]):.2f},",
            settled.touches[name],
            touch_within(heights, name),
        )
        for name in AFTER_SKIM
        if name in settled.touches
    ]
    worst: tuple[float, str] | None = None
    for what, value, within in figures:
        low, high = plane + within.low, plane + within.high
        off = max(low - value, value - high)
        if off <= (0.0 if worst is None else worst[0]):
            continue
        says = (
            f"{what} contradicts the recorded stop at {mm(plane):.2f}, which leaves {mm(low):.2f} "
            f"to {mm(high):.2f}"
        )
        worst = off, says + _other_pass(skim, value)
    return () if worst is None else (Said(worst[1]),)


def _other_pass(skim: SkimPlan, value: float) -> str:
    """Which pass it rather was, and what to correct."""
    nearest = min(skim.planes, key=lambda plane: (round(abs(plane - value), 6), -plane))
    if nearest == skim.planned_plane:
        return "; measure again, and correct the figure that is wrong"
    return (
        f"; it looks like the pass at {mm(nearest):.2f}: correct the stop, or the figure, before "
        "the work goes on"
    )
