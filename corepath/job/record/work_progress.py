"""How far the work has come by a record."""

from __future__ import annotations

from dataclasses import dataclass, field

from corepath.job.record.entry import Entry
from corepath.job.record.record_facts import CastingFacts, JobFacts

__all__ = ["Progress"]


@dataclass(slots=True)
class Progress:
    """How far the work has come, gathered entry by entry.

    `taken` holds all entries by kind; `cut` the first entry that records each operation as cut,
    `shown` the first that proves an operation done without recording it, `poured` the first that
    proves each casting poured; `passes` all entries of passes and stops of the skim.
    """

    taken: dict[str, list[Entry]] = field(default_factory=dict)
    cut: dict[str, Entry] = field(default_factory=dict)
    shown: dict[str, Entry] = field(default_factory=dict)
    poured: dict[str, Entry] = field(default_factory=dict)
    passes: list[Entry] = field(default_factory=list)

    def take(self, entry: Entry, shows: str) -> None:
        """Add a standing entry; `shows` is what an entry of its kind proves done, "" for nothing
        (`entry_kinds.shown_by`)."""
        self.taken.setdefault(entry.kind, []).append(entry)
        if entry.kind == "stop" or (entry.kind == "cut" and entry.number is not None):
            self.passes.append(entry)
        if entry.kind == "cut" and entry.operation is not None:
            self.cut.setdefault(entry.operation, entry)
        elif shows == "resin" and entry.casting is not None:
            self.poured.setdefault(entry.casting, entry)
        elif shows:
            self.shown.setdefault(shows, entry)

    def of(self, *kinds: str) -> list[Entry]:
        """Return the entries of some kinds, in the order of the work within each."""
        return [entry for kind in kinds for entry in self.taken.get(kind, ())]

    @property
    def thickness(self) -> list[Entry]:
        return self.of("thickness")

    @property
    def after(self) -> list[Entry]:
        return self.of("thickness-after")

    @property
    def depths(self) -> list[Entry]:
        return self.of("groove-depth", "pocket-depth")

    @property
    def stop(self) -> Entry | None:
        """The stop that counts: the latest."""
        stops = self.of("stop")
        return stops[-1] if stops else None

    @property
    def stage(self) -> str:
        """The stage that the work has reached, one of `STAGES`."""
        if "deck" in self.cut or "deck-rough" in self.cut:
            return "C"
        if "inserts" in self.cut or "inserts" in self.shown:
            return "inserts"
        if self.skimmed is not None:
            return "B"
        if self.poured or "flush" in self.cut:
            return "cast"
        return "A" if self.cut or self.shown else "blank"

    @property
    def skimmed(self) -> Entry | None:
        """The entry that shows that the skim has begun; None before."""
        return self.passes[-1] if self.passes else self.cut.get("skim")

    @property
    def deepest_pass(self) -> int:
        """The highest number of a pass that is cut; 0 where none is known."""
        return max((entry.number or 0 for entry in self.passes), default=0)

    @property
    def deepest_plane(self) -> float | None:
        """The lowest plane that is cut; None where none is known."""
        return min((entry.plane for entry in self.passes if entry.plane is not None), default=None)

    def is_cut(self, casting: CastingFacts) -> bool:
        """Return whether any entry shows that the pocket of a casting is cut."""
        # plug pockets are cut before the groove, so a groove that is cut shows them as well
        shown = casting.operation in self.cut or "groove" in self.cut or casting.id in self.poured
        plug = casting.operation != "groove"
        return shown or "groove" in self.shown or (plug and "plug-pockets" in self.shown)

    def is_done(self, operation: str, facts: JobFacts) -> bool:
        """Return whether any entry shows that an operation is done."""
        if operation == "skim":
            return self.skimmed is not None
        of_it = [casting for casting in facts.castings.values() if casting.operation == operation]
        return (
            operation in self.cut
            or operation in self.shown
            or any(self.is_cut(casting) for casting in of_it)
        )
