"""Findings of the read-back: each has a kind, a file, a line, a place and a plain reason.

Kinds are words joined by hyphens and never change their meaning. Places are (x, y, z) in the bed
frame of the set-up, mm; a depth is a positive length in mm. Of each kind the first hundred are kept
and all are counted, so that a bad file gives a short answer. Lines count from 1.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from corepath.lengths import Said
from corepath.reported import Key, report_keys

__all__ = ["KINDS", "Finding", "Findings", "Place3"]

Place3 = tuple[float, float, float]

KINDS: dict[str, str] = {
    "after-end": "text after the end of the program",
    "arc-mismatch": "an arc's start and end lie at different distances from its centre",
    "below-lowest": "a cut goes lower than its operation may",
    "block-delete": "whether a line counts hangs on a switch of the machine",
    "bore-closed": "a bore is not open at the end",
    "changed": "the file is not the one that was planned",
    "collet": "the cutter is deeper than it sticks out, or its collet meets stock or an obstacle",
    "deck-height": "the deck is not at its height",
    "direction": "material on the other side of the cutter than the job wishes",
    "engagement": "a cut wider than the cutter may take, outside entries",
    "feed-missing": "a cutting move without a feed",
    "feed-too-high": "a cut runs faster than the cutter is planned for",
    "feed-too-low": "a cut runs so slowly that the cutter's edges rub",
    "first-way": "no slow first way down with a stop, where zero or cutter is another than before",
    "floor": "a floor is not at its height",
    "layer-missed": "a layer leaves wood standing that the next one meets at its whole depth",
    "length-offset": "the length offset of another cutter than the one called, one that is not "
    "planned, or none",
    "load": "a cut takes away more at once than any that its operation was planned for",
    "missing-end": "the program does not end with M2 or M30",
    "missing-file": "the file of an operation is not there",
    "missing-stop": "no stop where the shop must look, fits the cutter or takes up the blank",
    "mixed-plans": "the files are of two plans",
    "not-reached": "something that must be cut was not",
    "obstacle": "the cutter meets an obstacle",
    "order": "the file belongs to no operation of the plan, or is not the one that its name says",
    "outside-area": "a cut outside what the operation may touch",
    "path-mode": "the control is asked to keep to the path otherwise than the job says",
    "plane": "the skim does not leave the plane that it should",
    "peck": "a drill goes deeper at once than it clears its chips from",
    "plunge": "straight down into solid wood with a cutter that does not cut to its centre",
    "plunge-at-rapid": "a rapid goes down into material",
    "preamble": "a modal state is not stated before the first move",
    "rapid-through-material": "a rapid passes through material",
    "rehearsal": "a rehearsal starts the spindle, comes down too fast or too low, or shows a wrong "
    "place",
    "seat": "a seat or bore has not its diameter or depth",
    "speed-off": "the spindle does not turn at the speed that the cutter is planned for",
    "spindle-not-up": "a cut before the spindle had time to come up to speed",
    "spindle-off": "a cut while the spindle is stopped",
    "spoil-board": "a cut passes through the spoil board",
    "start-unknown": "a cutting move from a place that the program has not given",
    "steep-ramp": "a way down into solid wood steeper than the cutter takes",
    "stop-low": "a stop, the end, a wait, or the spindle started or stopped, in the stock",
    "stop-with-spindle-on": "a stop or the end while the spindle turns",
    "syntax": "a line that RS-274 does not allow",
    "too-deep-for-cutter": "the cutter is deeper than its edges are long",
    "touch": "a touch file moves into something, touches nothing, is too fast, or feels elsewhere",
    "travel": "the program needs more room than the machine has",
    "units": "the units are not stated, or not before the first number that needs them",
    "unknown-cutter": "the cutter is not in the list",
    "unsupported": "a word that the read-back does not simulate; of most, the rest of the file is "
    "not read",
    "width": "a wall is not in its place",
    "words": "words that someone obeys at the machine, in a head or message, differ from the plan",
    "wrong-cutter": "another cutter than the operation was planned for",
    "zero": "the work zero is not the one that follows from the blank",
}


@report_keys("kind", "file", "line", "place", "depth", Key("says", "message"))
@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong. `line` is None where it belongs to no single line."""

    kind: str
    file: str
    line: int | None
    place: Place3 | None
    depth: float | None
    message: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "message", Said(self.message))

    def __str__(self) -> str:
        where = self.file + (f":{self.line}" if self.line else "")
        at = ""
        if self.place is not None:
            at = " at X{:.2f} Y{:.2f} Z{:.3f}".format(*self.place)
        return f"{where}: {self.kind}{at}: {self.message}"


class Findings:
    """Collects findings; each kind keeps its first `keep` and a count of all."""

    def __init__(self, file: str = "", keep: int = 100) -> None:
        self.file = file
        self.keep = keep
        self.counts: dict[str, int] = {}
        self._kept: list[Finding] = []

    def add(
        self,
        kind: str,
        message: str,
        *,
        file: str | None = None,
        line: int | None = None,
        place: Place3 | None = None,
        depth: float | None = None,
    ) -> None:
        """Record one finding of a known kind; the file is the collector's own if not given."""
        self._record(
            Finding(kind, self.file if file is None else file, line, place, depth, message)
        )

    def _record(self, finding: Finding) -> None:
        if finding.kind not in KINDS:
            raise KeyError(finding.kind)
        count = self.counts.get(finding.kind, 0) + 1
        self.counts[finding.kind] = count
        if count <= self.keep:
            self._kept.append(finding)

    def more(self, kind: str, count: int) -> None:
        """Count `count` further findings of a kind without keeping them."""
        if count > 0:
            self.counts[kind] = self.counts.get(kind, 0) + count

    def extend(self, others: Findings | Iterable[Finding], *, file: str | None = None) -> None:
        """Take over others, with their counts; `file`, if given, replaces the name of their
        file."""
        for finding in others:
            self._record(finding if file is None else replace(finding, file=file))
        if isinstance(others, Findings):
            for kind, count in others.counts.items():
                self.more(kind, count - min(count, others.keep))

    def __iter__(self) -> Iterator[Finding]:
        return iter(self._kept)

    def __len__(self) -> int:
        return len(self._kept)

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds found, sorted."""
        return tuple(sorted(self.counts))

    @property
    def by_kind(self) -> dict[str, int]:
        """How many of each kind, all counted, kinds sorted."""
        return {kind: self.counts[kind] for kind in self.kinds}
