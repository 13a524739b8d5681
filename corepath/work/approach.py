"""The first descent of each file whose zero or cutter differs from that of the file before.

Whoever forgets to touch the new zero still has the old one in the control. So the first descent
goes at feed to a height that is clear of everything under either zero, and stops there for someone
to look. So it does where another cutter is fitted, whose length may be a wrong one: the tip then
stands higher or lower than it should. Bed frame, mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from shapely import Point

from corepath.lengths import mm
from corepath.motion.program import Approach, Zero
from corepath.work.cutting.running import BELOW_RAPID
from corepath.work.works import Work

__all__ = ["CLEAR", "seen_from", "with_approaches"]

CLEAR = 3.0
"""mm above everything that stands on the bed, under the old zero as well as the new one."""

APPROACH_FEED = 1000.0
"""mm/min towards the blank: slow enough to stop by hand (common practice, no source)."""

WALK = 2000.0
"""mm/min on a level move (common practice, no source)."""

LAST_DIGIT = 1e-3
"""mm: the last digits of two heights in a file, four decimals in mm or five in inches, and more."""

_TOLD = 0.05
"""mm of travel that are missing before it is told."""

Face = Callable[[Work], tuple[float, float, float]]


def with_approaches(
    works: Sequence[Work],
    face: Face,
    *,
    safe_z: float,
    travel: float,
    rapid: float,
    drop: float = 0.0,
) -> tuple[Work, ...]:
    """The works in their order, each with its approach where its zero or cutter differs from that
    of the work before.

    `face` gives the place (x, y) where the tip of a work is looked at and the height of the blank
    there; `drop` is how far the bed lies below the zero height of set-up D. `travel` is that of Z,
    mm, `rapid` the fastest of the machine, mm/min.
    """
    found: list[Work] = []
    for bare in works:
        work = replace(bare, look=_within(bare, face(bare)))
        before = found[-1] if found else None
        if before is not None and _same(before.zero, work.zero):
            kept = before.stem if before.setup == work.setup and not work.zero.again else ""
            work = replace(work, kept=kept)
            if work.cutter.number != before.cutter.number:
                work = replace(work, approach=seen_from(work, work.clear, rapid))
        elif before is not None:
            # The highest of blank and obstacles: `clear` without its own margin.
            highest = max(one.clear for one in works if one.setup == work.setup) - safe_z
            old = before.zero.z - (drop if work.setup == "D" else 0.0)
            way = _approach(work, before.zero.on, old, highest, travel, rapid)
            short = _clear_height(work, old, highest) - way.height
            watch = (*work.watch, _short_travel(short)) if short > _TOLD else work.watch
            work = replace(work, approach=way, watch=watch)
        found.append(work)
    return tuple(found)


def _same(one: Zero, other: Zero) -> bool:
    return (one.x, one.y, one.z, one.touch, one.system) == (
        other.x,
        other.y,
        other.z,
        other.touch,
        other.system,
    )


def _within(work: Work, face: tuple[float, float, float]) -> tuple[float, float, float]:
    """The place looked at, or the middle of the blank where that place lies beside it."""
    x, y, under = face
    return (x, y, under) if work.blank.contains(Point(x, y)) else (0.0, 0.0, under)


def _approach(
    work: Work, on: str, old: float, highest: float, travel: float, rapid: float
) -> Approach:
    height = _clear_height(work, old, highest)
    # Under a high cradle the axis may not have the travel for both: then as high as it goes, less
    # what the last digit of a file may add at either end.
    height = max(work.clear, min(height, work.lowest + travel - LAST_DIGIT))
    return seen_from(work, round(height, 4), rapid, on, work.zero.z - old)


def _clear_height(work: Work, old: float, highest: float) -> float:
    """Height that is clear under either zero: under a forgotten old one the tip ends lower by what
    the new one lies higher."""
    return max(work.clear, highest + CLEAR + max(0.0, work.zero.z - old))


def _short_travel(short: float) -> str:
    return (
        f"machine.travel on Z is {mm(short):.1f} short: if Z was not touched anew, the first way "
        "down is clear over the middle of the board, not over its ends: jog there before the start"
    )


def seen_from(
    work: Work, height: float, rapid: float, on: str = "", higher: float = 0.0
) -> Approach:
    """The descent to `height` (bed frame, mm) over the place where the tip of a work is looked at.

    `rapid` is the fastest of the machine, mm/min. `on` is what the zero before was touched on and
    `higher` how much higher than that this one lies; empty if there is none before.
    """
    x, y, under = work.look
    face = _FACES[work.name if work.name == "inserts" else work.setup]
    feed, walk = (min(each, BELOW_RAPID * rapid) for each in (APPROACH_FEED, WALK))
    return Approach(x, y, height, feed, walk, face, height - under, on, height - under - higher)


_FACES = {
    "A": "the raw top",
    "B": "the raw bottom",
    "inserts": "the skimmed face",
    "C": "the raw top",
    "D": "the laminate",
}
