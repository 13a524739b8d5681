"""Rules for the steps of the work: passes of the skim, its stop, operations cut. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from corepath.job.record.entry import Entry
from corepath.job.record.reasons import Reason, before
from corepath.job.record.record_facts import JobFacts

if TYPE_CHECKING:
    from corepath.job.record.work_progress import Progress

__all__ = ["cut", "stop"]

SAME_PLANE = 1e-4
"""mm: planes closer than this are the same, since files have four decimals."""

_AFTER_SKIM = ("inserts", "deck-rough", "deck")


def stop(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a stop before the groove, above a pass that is cut, or after a later operation."""
    yield from before(entry, progress, facts, "skim")
    yield from _grown(entry, progress, facts)
    later = next((progress.cut[name] for name in _AFTER_SKIM if name in progress.cut), None)
    if later is not None:
        says = f"the {later.operation} is cut (entry {later.n}), so the skim stopped before"
        yield Reason(says, "--correct N to fix the recorded stop")


def _grown(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a stop above a pass that is cut, compared by height, or by the number of the file
    where no height is known."""
    plane, deepest = entry.plane, progress.deepest_plane
    if plane is not None and deepest is not None:
        if plane > deepest + SAME_PLANE:
            cut = next(other for other in progress.passes if other.plane == deepest)
            at = facts.height(deepest)
            says = f"the pass at {at} is cut already (entry {cut.n}), and wood does not grow back"
            yield Reason(says, f"{at} or lower, or --correct {cut.n}")
        return
    if plane is None and (entry.number or 0) < progress.deepest_pass:
        cut = next(other for other in progress.passes if other.number == progress.deepest_pass)
        says = f"pass {cut.number} is cut already (entry {cut.n}), and wood does not grow back"
        yield Reason(says, f"{cut.number} or more, or --correct {cut.n}")


def cut(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a pass of an operation that has none, or an operation before one that it needs."""
    if entry.number is not None and entry.operation != "skim":
        yield Reason("only the skim is cut in passes", "--cut skim-pass-N")
    yield from before(entry, progress, facts)
