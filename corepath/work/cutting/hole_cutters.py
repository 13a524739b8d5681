"""Which cutter makes which hole. Lengths in mm, bed frame of the set-up.

An operation of holes has a file for each of its cutters. Where the control takes drilling cycles
and a drill of a hole's size is listed, that hole, or the bore under its seat, goes to a file of the
drill; seats and all other holes are milled by the first file. Without cycles holes are milled where
a cutter fits and reaches, otherwise drilled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from corepath.errors import Fault
from corepath.job.model import CutterSection, Job
from corepath.lengths import mm
from corepath.motion.cutter import Cutter
from corepath.work.cutting.cutters import Chosen, Need, choose, drills_of
from corepath.work.cutting.running import CutRequest
from corepath.work.works import Hole, point_of

__all__ = ["HolePart", "drill_watch", "hole_parts"]


@dataclass(frozen=True, slots=True)
class HolePart:
    """The holes of one file, and the cutter that makes them."""

    chosen: Chosen
    holes: tuple[Hole, ...]


_WOOD = CutRequest()


def hole_parts(
    job: Job,
    title: str,
    key: str,
    holes: Sequence[Hole],
    drills_instead: bool,
    asked: CutRequest = _WOOD,
) -> list[HolePart] | Fault:
    """The files of an operation of holes in order: what is milled first, then drill by drill; or
    the fault where no listed cutter makes a hole.

    `title` and `key` name the operation in a fault. `drills_instead`: a drill may be used where no
    flat cutter fits or reaches. `asked` is how the cutters are run.
    """
    deepest = max(hole.top - hole.steps[-1].floor for hole in holes)
    narrowest = min(hole.steps[-1].diameter for hole in holes)
    shapes = ("flat", "drill") if drills_instead else ("flat",)
    instead = choose(job, Need(title, shapes, narrowest, deepest, key, asked))
    # No flat cutter fits or reaches every hole: all that a drill can make are drilled, even without
    # cycles.
    only = isinstance(instead, Chosen) and instead.cutter.shape == "drill"
    drilled: dict[int, list[Hole]] = {}
    milled: list[Hole] = []
    for hole in holes:
        section = _drill(job, hole, only) if job.machine.canned_cycles or only else None
        if section is None:
            milled.append(hole)
            continue
        above, last = hole.steps[:-1], hole.steps[-1:]
        drilled.setdefault(section.number, []).append(
            replace(hole, top=above[-1].floor if above else hole.top, steps=last)
        )
        if above:
            # What the drill then breaks through stays blind for the milled part.
            milled.append(replace(hole, steps=above, breaks_through=None))
    parts: list[HolePart] = []
    if milled:
        width = min(step.diameter for hole in milled for step in hole.steps)
        depth = max(hole.top - hole.steps[-1].floor for hole in milled)
        chosen = choose(job, Need(title, ("flat",), width, depth, key, asked))
        if isinstance(chosen, Fault):
            return instead if isinstance(instead, Fault) else chosen
        parts.append(HolePart(chosen, tuple(milled)))
    for number in sorted(drilled):
        mine = tuple(drilled[number])
        need = Need(title, ("drill",), mine[0].steps[-1].diameter, 0.0, key, asked)
        chosen = choose(_with_only(job, number), need)
        assert not isinstance(chosen, Fault)
        parts.append(HolePart(chosen, mine))
    return parts


def drill_watch(cutter: Cutter) -> tuple[str, ...]:
    """Lines for the head of a file that a drill runs; nothing for other cutters."""
    if cutter.shape != "drill":
        return ()
    return (
        "depths count at the drill's full diameter: where its point touches, Z is the height of "
        "the point, not 0 "
        f"({mm(point_of(cutter)):.2f~} at 118 degrees; measure yours)",
    )


def _drill(job: Job, hole: Hole, only: bool) -> CutterSection | None:
    """The drill for the last step of a hole, or None: the longest that reaches; with `only`, the
    longest if none reaches."""
    drills = drills_of(job, hole.steps[-1].diameter)
    reaching = [drill for drill in drills if drill.cutter.reaches(hole.top - hole.steps[-1].floor)]
    if not reaching and not only:
        return None
    return max(
        reaching or drills, key=lambda drill: (drill.cutting_length, -drill.number), default=None
    )


def _with_only(job: Job, number: int) -> Job:
    return job.model_copy(update={"cutter": tuple(c for c in job.cutter if c.number == number)})
