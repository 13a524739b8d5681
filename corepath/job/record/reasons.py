"""Why an entry of a record cannot be: the form of a rule, and what must come before what."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from corepath.job.record.entry import Entry
from corepath.job.record.record_facts import JobFacts

if TYPE_CHECKING:
    from corepath.job.record.work_progress import Progress

__all__ = ["Reason", "Rule", "before"]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an entry cannot be, and what can."""

    says: str
    allowed: str = ""


Rule: TypeAlias = "Callable[[Entry, Progress, JobFacts], Iterator[Reason]]"
"""Why an entry of one kind cannot be, by what stands before it and the job."""

_NEEDS = {
    "flush": ("groove",),
    "skim": ("groove",),
    "inserts": ("skim",),
    "deck-rough": ("skim",),
    "deck": ("skim",),
    "trim": ("deck",),
    "bolt-holes": ("deck",),
}
"""What must be cut before an operation."""


def before(
    entry: Entry, progress: Progress, facts: JobFacts, operation: str = ""
) -> Iterator[Reason]:
    """An operation whose forerunner is not yet cut; `operation` is the entry's own where none is
    given."""
    operation = operation or entry.operation or ""
    for needed in _NEEDS.get(operation, ()):
        if needed in facts.operations and not progress.is_done(needed, facts):
            if needed == "skim":
                yield Reason(
                    "no pass of the skim is recorded",
                    "the height it stopped at first: --stop-at HEIGHT",
                )
            else:
                says = (
                    f"the operation {needed} is not yet recorded as cut, and {operation} "
                    "comes after it"
                )
                yield Reason(says, f"with --cut {needed} in the same command or before")
