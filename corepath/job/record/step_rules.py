"""Rules for the steps of the work: passes of the skim, its stop, operations cut. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from corepath.job.record.entry import SETUPS, Entry, operation_of
from corepath.job.record.reasons import Reason, before
from corepath.job.record.record_facts import JobFacts

if TYPE_CHECKING:
    from corepath.job.record.work_progress import Progress

__all__ = ["cut", "minutes", "off_place", "shift", "stop", "stopped"]

LARGEST_SHIFT = 50.0
"""mm: a blank that lies farther off than this was seen at once (common practice, no source)."""

LONGEST_RUN = 1440.0
"""Minutes: no file of a core runs for a day."""

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


def stopped(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a file that is none of the plan's, or whose operation is done."""
    yield from _no_file(entry, facts)
    operation = operation_of(entry.file or "")
    if operation in progress.cut:
        says = f"the {operation} is recorded as cut (entry {progress.cut[operation].n})"
        yield Reason(says, f"--withdraw {progress.cut[operation].n} first, if it is not")


def minutes(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject minutes of a file that is none of the plan's, or more than a day."""
    yield from _no_file(entry, facts)
    if (entry.value or 0.0) > LONGEST_RUN:
        yield Reason("is too large: minutes, not seconds?", f"at most {LONGEST_RUN:g}")


def _no_file(entry: Entry, facts: JobFacts) -> Iterator[Reason]:
    """Reject a file that is none of the plan's."""
    operation = operation_of(entry.file or "")
    if operation is None or operation not in facts.operations:
        says = f"{entry.file} is no file of this job's plan"
        yield Reason(says, "a file of its folder, such as 03-A-groove.nc")


def shift(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a shift of no set-up, of nothing, or one that is too large to be meant."""
    by = entry.by or (0.0, 0.0, 0.0)
    if entry.setup not in SETUPS:
        yield Reason(f"there is no set-up {entry.setup}", ", ".join(SETUPS))
    if not any(by):
        yield Reason("is no shift", "DX DY DZ, one of them at least not 0")
    elif max(map(abs, by)) > LARGEST_SHIFT:
        yield Reason("is too large: units, digits?", f"at most {facts.shown(LARGEST_SHIFT)} each")


def off_place(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject an insert off its place before it is bored, or by more than can be meant."""
    yield from before(entry, progress, facts, "inserts")
    if max(map(abs, entry.by or (0.0,))) > LARGEST_SHIFT:
        yield Reason("is too large: units, digits?", f"at most {facts.shown(LARGEST_SHIFT)} each")


def cut(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a pass of an operation that has none, or an operation before one that it needs."""
    if entry.number is not None and entry.operation != "skim":
        yield Reason("only the skim is cut in passes", "--cut skim-pass-N")
    yield from before(entry, progress, facts)
