"""Whether what was measured after the skim agrees with the pass that was recorded as its stop.

A recorded stop that contradicts the callipers or a touched face was another pass than the one cut:
inserts and deck would be planned for a plane that is not there. Lengths in mm.
"""

from __future__ import annotations

from corepath.job.record.record_facts import Within, off_stop
from corepath.lengths import Said, mm
from corepath.stackup.heights import Heights
from corepath.stackup.linear import Linear
from corepath.stackup.skim import SkimPlan

__all__ = ["AFTER_SKIM", "stop_doubts", "thickness_within", "touch_within"]

AFTER_SKIM = ("inserts", "deck-rough", "deck")
"""Operations that touch a face whose height depends on the stop."""


def thickness_within(heights: Heights) -> Within:
    """Return how far a thickness by callipers may differ from the plane of the stop, mm."""
    # errors of the plane, of the gap under the blank as it was skimmed, of the callipers
    gauge = Linear.term("callipers", heights.job.tolerances.gauge)
    return Within(*(heights.plane(0.0) - heights.gap("B", (0.0, 0.0)) + gauge).worst())


def touch_within(heights: Heights, operation: str) -> Within:
    """Return how far a touched face may differ from the plane of the stop, mm: for `operation`
    "inserts" the skimmed face in B, else the raw top in C."""
    face = heights.plane(0.0)
    if operation != "inserts":
        face = face - heights.gap("B", (0.0, 0.0)) + heights.gap("C", (0.0, 0.0)) + heights.bed("C")
    return Within(*(face + Linear.term("touch", heights.job.tolerances.touch)).worst())


def stop_doubts(heights: Heights, skim: SkimPlan) -> tuple[str, ...]:
    """Return in words the figure that lies farthest outside what the recorded stop can have left.

    One text at most; empty where all figures agree in the worst case, or where stop or figures are
    missing.
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
        off = off_stop(value, within, plane, skim.planes)
        if off is None or off.by <= (0.0 if worst is None else worst[0]):
            continue
        says = (
            f"{what} contradicts the recorded stop at {mm(plane):.2f}, which leaves "
            f"{mm(off.low):.2f} to {mm(off.high):.2f}"
        )
        worst = off.by, says + _other_pass(off.likely)
    return () if worst is None else (Said(worst[1]),)


def _other_pass(likely: float | None) -> str:
    """Return in words which pass it was more likely (plane, mm), and what to correct."""
    if likely is None:
        return "; measure again, and correct the figure that is wrong"
    return (
        f"; it looks like the pass at {mm(likely):.2f}: correct the stop, or the figure, before "
        "the work goes on"
    )
