"""Whether the thickness measured after the skim agrees with the pass that was recorded as its stop.

Passes are numbered by the plan; a figure recorded after it (a groove depth, say) may number them anew. Whoever counts
by the old drawing then records a plane that was not cut, and inserts and deck would be planned for it. Lengths in mm.
"""

from __future__ import annotations

from corepath.stackup.heights import Heights
from corepath.stackup.linear import Linear
from corepath.stackup.skim import SkimPlan

__all__ = ["stop_doubts"]


def stop_doubts(heights: Heights, skim: SkimPlan) -> tuple[str, ...]:
    """In plain words, the thickness after the skim that lies farthest outside what the recorded stop can have left.

    Empty where all agree in the worst case (plane, gap under the blank, callipers), or where one of the two is missing.
    """
    if not skim.recorded:
        return ()
    gauge = Linear.term("callipers", heights.job.tolerances.gauge)
    worst: tuple[float, str] | None = None
    for x, y, thickness in heights.settled.thickness_after:
        low, high = (heights.plane(skim.planned_plane) - heights.gap("B", (x, y)) + gauge).worst()
        off = max(low - thickness, thickness - high)
        if off <= (0.0 if worst is None else worst[0]):
            continue
        says = (
            f"{thickness:.2f} at X{x:g} Y{y:g} after the skim does not agree with its stop, "
            f"pass {skim.planned_stop} at {skim.planned_plane:.2f}, which leaves {low:.2f} to {high:.2f}"
        )
        worst = off, says + _other_pass(skim, thickness)
    return () if worst is None else (worst[1],)


def _other_pass(skim: SkimPlan, thickness: float) -> str:
    """Which pass it rather was, and what to correct."""
    nearest = min(range(len(skim.planes)), key=lambda k: (round(abs(skim.planes[k] - thickness), 6), k)) + 1
    if nearest == skim.planned_stop:
        return "; measure again, and correct the figure that is wrong"
    plane = skim.planes[nearest - 1]
    return f"; it looks like pass {nearest} at {plane:.2f}: correct the stop, or the thickness, before B goes on"
