"""The first way down of each file whose zero is another than that of the file before.

Whoever forgets to touch the new zero has the old one still in the control. So the first way down
goes at feed to a height that is clear of everything under either zero, and stops there for someone
to look. Bed frame, mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from shapely import Point

from corepath.motion.program import Approach, Zero
from corepath.work.cutting.running import BELOW_RAPID
from corepath.work.works import Work

__all__ = ["CLEAR", "seen_from", "with_approaches"]

CLEAR = 3.0
"""mm over everything that stands on the bed, under the old zero as well as under the new one."""

APPROACH_FEED = 1000.0
"""mm/min towards the blank: slow enough to stop by hand (common practice, no source)."""

WALK = 2000.0
"""The same on a level way (common practice, no source)."""

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
    """The works in their order, each with its approach where its zero differs from that of the work
    before.

    `face` gives where a work's tip is looked at and the height of the blank there; `drop` is how
    far the bed lies below the zero height of set-up D. `travel` is that of Z, `rapid` the fastest
    of the machine.
    """
    found: list[Work] = []
    for bare in works:
        work = replace(bare, look=_within(bare, face(bare)))
        before = found[-1] if found else None
        if before is not None and _same(before.zero, work.zero):
            kept = before.stem if before.setup == work.setup and not work.zero.again else ""
            work = replace(work, kept=kept)
        elif before is not None:
            highest = max(one.clear for one in works if one.setup == work.setup) - safe_z
            old = before.zero.z - (drop if work.setup == "D" else 0.0)
            work = replace(
                work, approach=_approach(work, before.zero.on, old, highest, travel, rapid)
            )
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
    """The place looked at; the middle where it lies beside the blank."""
    x, y, under = face
    return (x, y, under) if work.blank.contains(Point(x, y)) else (0.0, 0.0, under)


def _approach(
    work: Work, on: str, old: float, highest: float, travel: float, rapid: float
) -> Approach:
    higher = max(0.0, work.zero.z - old)
    height = max(work.clear, highest + CLEAR + higher)
    # A cradle may stand so high that the axis cannot show both: then as high as the axis goes.
    height = max(work.clear, min(height, work.lowest + travel))
    return seen_from(work, round(height, 4), rapid, on, work.zero.z - old)


def seen_from(
    work: Work, height: float, rapid: float, on: str = "", higher: float = 0.0
) -> Approach:
    """A way down to a height (bed frame) over the place where a work's tip is looked at.

    `rapid` is the fastest of the machine, mm/min. `on` is what the zero before was touched on and
    `higher` how much higher than that this one lies; without, there is none before.
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
