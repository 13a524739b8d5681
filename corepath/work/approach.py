"""The first way down of each file whose zero is another than that of the file before.

Whoever forgets to touch the new zero has the old one still in the control. So the first way down goes at feed to a
height that is clear of everything under either zero, and stops there for someone to look. Bed frame, mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from shapely import Point

from corepath.motion.program import Approach, Zero
from corepath.work.model import Work

__all__ = ["APPROACH_FEED", "CLEAR", "with_approaches"]

CLEAR = 3.0
"""mm over everything that stands on the bed, under the old zero as well as under the new one."""

APPROACH_FEED = 1000.0
"""mm/min: slow enough to stop by hand (common practice, no source)."""

Face = Callable[[Work], tuple[float, float, float]]


def with_approaches(
    works: Sequence[Work], face: Face, *, safe_z: float, travel: float, rapid: float, drop: float = 0.0
) -> tuple[Work, ...]:
    """The works in their order, each with its approach where its zero differs from that of the work before.

    `face` gives where a work's tip is looked at and the height of the blank there; `drop` is how far the bed lies below
    the zero height of set-up D. `travel` is that of Z, `rapid` the fastest of the machine.
    """
    feed = min(APPROACH_FEED, rapid)
    found = list(works[:1])
    for before, work in pairwise(works):
        if _same(before.zero, work.zero):
            found.append(work)
            continue
        highest = max(one.clear for one in works if one.setup == work.setup) - safe_z
        old = before.zero.z - (drop if work.setup == "D" else 0.0)
        found.append(replace(work, approach=_approach(work, before.zero.on, old, highest, face(work), travel, feed)))
    return tuple(found)


def _same(one: Zero, other: Zero) -> bool:
    return (one.x, one.y, one.z, one.touch, one.system) == (other.x, other.y, other.z, other.touch, other.system)


def _approach(
    work: Work, on: str, old: float, highest: float, face: tuple[float, float, float], travel: float, feed: float
) -> Approach:
    x, y, under = face
    if not work.blank.contains(Point(x, y)):
        x, y = 0.0, 0.0
    higher = max(0.0, work.zero.z - old)
    height = max(work.clear, highest + CLEAR + higher)
    # A cradle may stand so high that the axis cannot show both: then as high as the axis goes.
    height = max(work.clear, min(height, work.lowest + travel))
    return Approach(
        x, y, round(height, 4), feed, _FACES[work.name if work.name == "inserts" else work.setup],
        height - under, on, height - under - (work.zero.z - old),
    )  # fmt: skip


_FACES = {
    "A": "the raw top",
    "B": "the raw bottom",
    "inserts": "the skimmed face",
    "C": "the raw top",
    "D": "the laminate",
}
