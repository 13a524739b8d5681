"""Set-up C with the zero on the face: the raw top is touched once, and the first cutter takes it
away.

A second cutter then has nothing to be touched off on. So one cutter must do everything, unless a
frame keeps the touched place at full height (`deck.margin`), or the control knows the lengths of
its cutters (`machine.length_offset`).
"""

from __future__ import annotations

from collections.abc import Sequence

from corepath.job.model import Job
from corepath.stackup.stackup import Stackup
from corepath.work.works import Work

__all__ = ["one_touch", "only_cutter", "touch_cautions"]


def one_touch(job: Job, stack: Stackup) -> bool:
    """Whether all of C must be cut with the cutter whose Z was touched off."""
    return (
        job.machine.z_zero == "face"
        and not job.machine.length_offset
        and not stack.touch_stays("C")
    )


def only_cutter(job: Job, number: int) -> Job:
    """The job with one cutter on its list."""
    return job.model_copy(
        update={"cutter": tuple(one for one in job.cutter if one.number == number)}
    )


def touch_cautions(job: Job, stack: Stackup, works: Sequence[Work]) -> tuple[str, ...]:
    """Cautions about what one touch in C costs: the deck is roughed with the cutter that finishes
    it."""
    if not one_touch(job, stack) or len(job.cutter) < 2:
        return ()
    mine = [work for work in works if work.name == "deck-rough"]
    return tuple(
        f"{work.cutter.describe()} roughs the deck as well as it finishes it: the raw top touched "
        "in C is gone once "
        'the first cutter has been over it. To rough with a larger one: machine.z_zero = "bed", '
        "deck.margin with "
        "machine.touch_at on the frame, or machine.length_offset"
        for work in mine
    )
