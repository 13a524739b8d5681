"""Holes of the cutter's own size: straight down, by drilling cycles. Bed frame of the set-up, mm.

A drill goes down in one stroke where the hole is at most `DEEP` of its diameters deep (G81), and by
pecks of `PECK` diameters where it is deeper, all the way out in between (G83): common practice, no
source. Where the control takes no cycles the writer spells out the same motions. An end mill that
cuts to its centre pecks by its layers.

A cycle has one feed. A hole that breaks through is drilled by a cycle down to where the feed is to
change, and by plain motions at half the feed from there. The point of a drill (118 degrees: its
height is `POINT` of the diameter, tan 31 degrees / 2) comes out that much before the full diameter
does, so the change lies higher by as much.
"""

from __future__ import annotations

from corepath.geometry.step_counts import fewest_steps
from corepath.motion.cycles import BACK_OFF
from corepath.operations.bores.boring import BoreTrail, slow_below
from corepath.work.works import Hole, Step, Work, point_of

__all__ = ["DEEP", "PECK", "peck_of", "straight"]

DEEP = 3.0
"""Diameters of depth beyond which a drill pecks."""

PECK = 1.0
"""Diameters in a peck."""


def peck_of(work: Work, depth: float) -> float:
    """Depth of a peck, mm, for a hole of `depth` mm with the work's cutter; 0 where one stroke is
    enough."""
    cutter = work.cutter
    if cutter.shape != "drill":
        return work.cutting.depth
    return PECK * cutter.diameter if depth > DEEP * cutter.diameter else 0.0


def straight(trail: BoreTrail, hole: Hole, step: Step, above: float, first: bool) -> None:
    """Makes one step of a hole from the stock at `above` straight down, ending over the hole, clear
    of the stock.

    Only the `first` step comes from elsewhere, over the safe height.
    """
    work = trail.work
    out, feed = trail.above(hole.top), work.cutting.plunge
    slow = slow_below(work, hole) + point_of(work.cutter)
    peck = peck_of(work, min(above, hole.top) - step.floor)
    if first:
        trail.hop(hole.x, hole.y, work.clear)
    # One feed from top to bottom, so a cycle can do it.
    if slow <= step.floor or slow >= above:
        trail.cycle(
            hole.x, hole.y, step.floor, feed if slow <= step.floor else feed / 2.0, out, peck
        )
        return
    trail.cycle(hole.x, hole.y, slow, feed, out, peck)
    reached = slow
    # Below the change of feed the same strokes, written as plain moves: all the way out, back to
    # just above the last floor, and on.
    for low in _pecks(slow, step.floor, peck):
        trail.drop(out)
        trail.drop(min(reached + BACK_OFF, out))
        trail.to(hole.x, hole.y, low, feed / 2.0)
        reached = low
    trail.drop(out)


def _pecks(top: float, floor: float, peck: float) -> list[float]:
    count = 1 if peck <= 0.0 else max(1, fewest_steps(top - floor, peck))
    return [*(top - (top - floor) * k / count for k in range(1, count)), floor]
