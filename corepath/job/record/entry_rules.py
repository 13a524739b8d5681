"""Reject impossible entries of a record.

The standing entries are walked in the order of the work, a correction in the place of the entry
that it corrects. Each is compared with the job and with the entries before it. A measured figure
proves that its feature exists: a depth of the groove shows that the groove is cut, and also the
plug pockets, which come before it. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from corepath.job.record.entry_kinds import KINDS, Entry, shown_by
from corepath.job.record.reasons import Reason
from corepath.job.record.record_facts import JobFacts
from corepath.job.record.work_progress import Progress

__all__ = ["refusals"]


def refusals(standing: Sequence[Entry], facts: JobFacts) -> list[tuple[Entry, Reason]]:
    """Return every impossible entry with the reason; `standing` is in the order of the work."""
    progress = Progress()
    found = []
    for entry in standing:
        found += [(entry, reason) for reason in _reasons(entry, progress, facts)]
        # taken although it may be rejected: its consequences would otherwise be reported as well
        progress.take(entry, shown_by(entry))
    return found


def _reasons(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _unknown(entry, facts)
    kind = KINDS.get(entry.kind)
    if kind is not None and kind.rule is not None:
        yield from kind.rule(entry, progress, facts)


def _unknown(entry: Entry, facts: JobFacts) -> Iterator[Reason]:
    """Reject names, numbers and places that the job does not have."""
    if entry.casting is not None and entry.casting not in facts.castings:
        yield Reason(f"this job has no casting {entry.casting}", ", ".join(facts.castings))
    if entry.operation is not None and entry.operation not in facts.operations:
        yield Reason(f"this job has no operation {entry.operation}", ", ".join(facts.operations))
    if entry.insert is not None and entry.insert not in facts.inserts:
        yield Reason(
            f"this job has no insert {entry.insert}",
            ", ".join(facts.inserts) or "it has none at all",
        )
    if entry.cutter is not None and entry.cutter not in facts.cutters:
        yield Reason(
            f"this job has no cutter {entry.cutter}",
            ", ".join(str(number) for number in facts.cutters),
        )
    if entry.at is not None and not facts.on_blank(entry.at):
        half = f"X ±{facts.shown(facts.length / 2)}, Y ±{facts.shown(facts.width / 2)}"
        yield Reason("this place lies off the blank", f"within {half}")
