"""What raises the planned stop to a higher pass, in numbers that pass when typed into the job.

The planned stop is the highest pass at or below the plane where all castings surely show. Passes
lie on lowest plane + k x step, so a deeper groove raises the stop only once it reaches the next of
them; or a finer step puts a pass just where one is needed.
"""

from __future__ import annotations

import math

from corepath.lengths import mm
from corepath.stackup.skim import TIE
from corepath.stackup.stackup import Stackup

__all__ = ["higher_stop"]


def higher_stop(stack: Stackup, needed: float) -> str:
    """Return in words the changes of the job, each enough by itself, after which the planned stop
    is at `needed` (mm above the bed in B) or above it."""
    lowest, step = stack.skim.lowest_plane, stack.job.skim.step
    shows = min(_surely_shows(stack))
    # the lowest pass of today's schedule at or above `needed`: what deeper castings must reach
    aim = lowest + math.ceil((needed - lowest - TIE) / step) * step
    by, finer = _up(aim - shows), _up(needed - lowest)
    ways = ["a core thinner by as much"]
    if _uncut(stack):
        ways.insert(0, f"a blank {mm(by):.2f} thicker")
    else:
        ways = [f"a core {mm(by):.2f} thinner"]
    if _uncut(stack) and by <= _wood_to_spare(stack) + TIE:
        ways.insert(0, f"{_floors(stack)} {mm(by):.2f} lower")
    # A step of needed - lowest puts the pass k = 1 there; that helps only if all shows by then.
    if 0.0 < finer <= shows - lowest + TIE:
        ways.insert(0, f"skim.step = {mm(finer):.2f}")
    return ", or ".join(ways)


def _up(value: float) -> float:
    """Return a length rounded up to 0.01 mm, or one more."""
    # The 0.1 takes what lies less than 0.001 below a step to the next: in a job in inches the
    # figure is rounded again, and must still pass when it is typed.
    return math.ceil(100.0 * value + 0.1) / 100.0


def _surely_shows(stack: Stackup) -> list[float]:
    """Return for each casting the highest plane at which it shows in the worst case, mm."""
    heights = stack.heights
    return [
        (casting.shows_at(heights, casting.shallowest_at) - heights.plane(0.0)).worst()[0]
        for casting in stack.castings
    ]


def _uncut(stack: Stackup) -> bool:
    settled = stack.heights.settled
    return not (
        settled.groove_depth or settled.pocket_depth or settled.stopped or settled.cut - {"dowels"}
    )


def _wood_to_spare(stack: Stackup) -> float:
    """Return by how much all floors may be lowered with enough wood left under them in the worst
    case, mm."""
    heights = stack.heights
    left = [
        heights.wood_under(casting.casting.floor, casting.operation, casting.widest_gap_at).worst()[
            0
        ]
        for casting in stack.castings
    ]
    return min(left) - stack.job.groove.least_floor


def _floors(stack: Stackup) -> str:
    own = any(plug.floor is not None for plug in stack.job.plug)
    return "groove.floor and plug.floor" if own else "groove.floor"
