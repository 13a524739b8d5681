"""Why an entry of a record is rejected: the form of a rule, and which operation needs which."""

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
    """Why an entry is rejected, and what is allowed instead, in words."""

    message: str
    allowed: str = ""


Rule: TypeAlias = "Callable[[Entry, Progress, JobFacts], Iterator[Reason]]"
"""Yields why an entry of one kind is impossible, given the entries before it and the job."""

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
    """Reject an entry of an operation before the operations that it needs are cut.

    `operation` is that of the entry unless given.
    """
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
