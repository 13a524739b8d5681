"""Round holes in steps: seat first, then bore; milled, or straight down where the cutter has the
hole's size.

Bed frame of the set-up, mm. Milling of a step is in `boring`, drilling in `drilling`. From
`milling.break_through` above the place where a hole leaves the wood the feed is halved, so that the
last fibres are cut and not pushed out.
"""

from __future__ import annotations

from corepath.errors import CorepathError
from corepath.lengths import mm
from corepath.motion.program import Program
from corepath.operations.bores.boring import BoreTrail, mill
from corepath.operations.bores.drilling import straight
from corepath.operations.facing.facing_paths import program
from corepath.operations.order import short_order
from corepath.work.works import SAME_SIZE, Hole, Work

__all__ = ["hole_programs"]

_TIGHT = 1.25  # diameters of the cutter: in a hole narrower than this its middle cuts


def hole_programs(work: Work) -> tuple[Program, ...]:
    """The program that makes all holes of `work`, in a short order, in one pass.

    Raises `CorepathError` where a step is narrower than the cutter, where a drill does not have the
    size of a step, where a cutter without edges to its centre would have to go straight down, or
    where the path would meet an obstacle.
    """
    if not work.holes:
        raise CorepathError(f"{work.stem}: no holes to make")
    trail = BoreTrail(work)
    for hole in work.holes:
        _refuse(work, hole)
    for k in short_order([(hole.x, hole.y) for hole in work.holes], work.park):
        _make(trail, work.holes[k])
    return (program(work, [trail.finish()], watch=_watch(work)),)


def _refuse(work: Work, hole: Hole) -> None:
    cutter = work.cutter
    above = hole.top
    for step in hole.steps:
        if step.diameter < cutter.diameter - SAME_SIZE:
            raise CorepathError(
                f"{work.stem}, {hole.id}: {cutter.describe()} is wider than the hole of "
                f"{mm(step.diameter):g~} "
                f"at X{mm(hole.x):.2f} Y{mm(hole.y):.2f}; list a cutter of at most "
                f"{mm(step.diameter):g~}"
            )
        if cutter.shape == "drill" and step.diameter > cutter.diameter + SAME_SIZE:
            raise CorepathError(
                f"{work.stem}, {hole.id}: {cutter.describe()} cannot make a hole of "
                f"{mm(step.diameter):g~}; "
                "list a drill of that size or a smaller flat cutter"
            )
        # Only edges that reach the centre can go straight down.
        if not cutter.centre_cutting and step.diameter <= cutter.diameter + SAME_SIZE:
            raise CorepathError(
                f"{work.stem}, {hole.id}: {cutter.describe()} would have to go straight down at "
                f"X{mm(hole.x):.2f} "
                f"Y{mm(hole.y):.2f}, for the hole is as wide as it; "
                f"list a drill of {mm(step.diameter):g~} or a smaller cutter, "
                "or say centre_cutting = true where its edges reach the centre"
            )
        if step.floor >= above:
            raise CorepathError(
                f"{work.stem}, {hole.id}: the floor at {mm(step.floor):g} is not "
                f"below {mm(above):g}"
            )
        above = step.floor


def _watch(work: Work) -> tuple[str, ...]:
    """Holes in which the cutter's middle has to cut."""
    cutter = work.cutter
    if cutter.centre_cutting:
        return ()
    tight = [
        hole.id
        for hole in work.holes
        if min(s.diameter for s in hole.steps) < _TIGHT * cutter.diameter
    ]
    return (f"needs a cutter that cuts to its centre: {', '.join(tight)}",) if tight else ()


def _make(trail: BoreTrail, hole: Hole) -> None:
    above, first = hole.top, True
    for step in hole.steps:
        # A step of the cutter's own size has no room for a helix.
        make = straight if step.diameter <= trail.work.cutter.diameter + SAME_SIZE else mill
        make(trail, hole, step, above, first)
        above, first = step.floor, False
