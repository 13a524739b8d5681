"""How far the work has come by a record, and what must come before what."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

from corepath.job.record_facts import CastingFacts, JobFacts
from corepath.job.record_kinds import Entry

__all__ = ["Progress", "Reason", "Rule", "before"]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an entry cannot be, and what can."""

    says: str
    allowed: str = ""


@dataclass(slots=True)
class Progress:
    """How far the work has come, gathered entry by entry."""

    thickness: list[Entry] = field(default_factory=list)
    after: list[Entry] = field(default_factory=list)
    depths: list[Entry] = field(default_factory=list)
    cut: dict[str, Entry] = field(default_factory=dict)
    poured: dict[str, Entry] = field(default_factory=dict)
    passes: list[Entry] = field(default_factory=list)
    stop: Entry | None = None

    def take(self, entry: Entry) -> None:
        """Add an entry that stands."""
        if entry.kind == "thickness":
            self.thickness.append(entry)
        elif entry.kind == "thickness-after":
            self.after.append(entry)
        elif entry.kind in ("groove-depth", "pocket-depth"):
            self.depths.append(entry)
        elif entry.kind == "cut" and entry.operation is not None:
            self.cut.setdefault(entry.operation, entry)
            if entry.number is not None:
                self.passes.append(entry)
        elif entry.kind in ("fill", "top-up", "void", "leak") and entry.casting is not None:
            self.poured.setdefault(entry.casting, entry)
        elif entry.kind == "stop":
            self.stop = entry
            self.passes.append(entry)

    @property
    def stage(self) -> str:
        """The stage that the work has come to."""
        if "deck" in self.cut or "deck-rough" in self.cut:
            return "C"
        if "inserts" in self.cut:
            return "inserts"
        if self.skimmed is not None:
            return "B"
        if self.poured or "flush" in self.cut:
            return "cast"
        return "A" if self.cut or self.depths else "blank"

    @property
    def skimmed(self) -> Entry | None:
        """The entry that shows that the skim has begun."""
        return self.passes[-1] if self.passes else self.cut.get("skim")

    @property
    def deepest_pass(self) -> int:
        """The highest number of a pass that is cut; 0 where none is known."""
        return max((entry.number or 0 for entry in self.passes), default=0)

    def is_cut(self, casting: CastingFacts) -> bool:
        """Whether anything shows that this casting's pocket is cut."""
        shown = casting.operation in self.cut or "groove" in self.cut or casting.id in self.poured
        plug = casting.operation != "groove"
        return shown or any(plug or entry.kind == "groove-depth" for entry in self.depths)

    def is_done(self, operation: str, facts: JobFacts) -> bool:
        """Whether anything shows that an operation is done."""
        if operation == "skim":
            return self.skimmed is not None
        of_it = [casting for casting in facts.castings.values() if casting.operation == operation]
        return operation in self.cut or any(self.is_cut(casting) for casting in of_it)


Rule: TypeAlias = Callable[[Entry, Progress, JobFacts], Iterator[Reason]]
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


def before(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """An operation whose forerunner is not yet cut."""
    operation = "skim" if entry.kind == "stop" else entry.operation or ""
    for needed in _NEEDS.get(operation, ()):
        if needed in facts.operations and not progress.is_done(needed, facts):
            if needed == "skim":
                yield Reason("no pass of the skim is recorded", "the pass it stopped at first: --stop PASS")
            else:
                says = f"the operation {needed} is not yet recorded as cut, and {operation} comes after it"
                yield Reason(says, f"with --cut {needed} in the same command or before")
