"""Works planned on with the cutters that are left."""

from __future__ import annotations

from collections.abc import Collection

from corepath.board.features import Board
from corepath.errors import Fault
from corepath.job.model import Job
from corepath.stackup.stackup import Stackup
from corepath.work.make_works import build_works
from corepath.work.works import Work

__all__ = ["works_left"]


def works_left(
    job: Job, board: Board, stack: Stackup, done: Collection[str]
) -> tuple[tuple[Work, ...], list[Fault]]:
    """Return all works in order, and the faults where no cutter fits, as `build_works` does: those
    whose operation is not `done` without the cutters that are recorded as broken."""
    works, faults = build_works(job, board, stack)
    broken = stack.heights.settled.broken
    if not broken:
        return works, faults
    left, missing = build_works(job.without_cutters(broken), board, stack)
    ahead = [work for work in left if work.name not in done]
    kept = [work for work in works if work.name in done]
    lost = {work.name for work in works} - {work.name for work in (*ahead, *kept)}
    found = sorted((*kept, *ahead), key=lambda work: (work.order, work.part))
    return tuple(found), [*faults, *(missing if lost else ())]
