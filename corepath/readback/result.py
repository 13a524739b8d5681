"""Results of the read-back: findings, measures, and the blank after each set-up."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from corepath.gcode.read.findings import Finding, Findings
from corepath.readback.remaining import KeptBlank, Remaining
from corepath.readback.surfaces.measures import Measure
from corepath.reported import Key, report_keys
from corepath.stock.material import BlankFaces
from corepath.stock.path import Path

__all__ = ["Case", "CaseOutcome", "FileCount", "FileStep", "ReadBack", "Span"]

Span = tuple[float, float, float, float]
"""A rectangle on the bed: least x, least y, largest x, largest y; mm."""


@report_keys(
    "file", "lines", "motions", Key("cut_length", places=3), Key("rapid_length", places=3),
    Key("removed", places=1),
    "deepest",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class FileCount:
    """One file in figures: lines, motions, length cut and travelled at rapid (mm), volume removed
    (mm³)."""

    file: str
    lines: int
    motions: int
    cut_length: float
    rapid_length: float
    removed: float
    deepest: float


@dataclass(frozen=True, slots=True)
class FileStep:
    """One file as it was cut: its motions on the bed, its zero there, and the blank before and
    after it as kept: every n-th column."""

    file: str
    setup: str
    name: str
    path: Path
    zero: tuple[float, float, float]
    kept_before: KeptBlank
    kept_after: KeptBlank

    @property
    def before(self) -> Remaining:
        return self.kept_before.blank()

    @property
    def after(self) -> Remaining:
        return self.kept_after.blank()


@dataclass(frozen=True, slots=True)
class Case:
    """A case to try the files on: the skim stops after the pass `stop`, on a blank `thicker` by so
    much (mm) than planned. `message` describes it, as in "if the skim stops at 11.90"; `lies` is
    the blank if it was measured."""

    name: str
    message: str
    stop: int
    thicker: float = 0.0
    lies: BlankFaces | None = None


@report_keys(
    Key("name", "case.name"), Key("says", "case.message"), Key("stop", "case.stop"), Key("thicker",
        "case.thicker"),
    Key("planned_again", "again"), "kinds", Key("*", "figures"),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class CaseOutcome:
    """The result of one case: findings, and `figures` by name (mm; `load` is removal over planned
    removal). `again`: C is planned again in this case."""

    case: Case
    findings: tuple[Finding, ...]
    figures: Mapping[str, float]
    again: bool

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of its findings."""
        return tuple(sorted({one.kind for one in self.findings}))


@report_keys("ok", "counts", "findings", "measures", "files", "left", "cases")
@dataclass(frozen=True, slots=True)
class ReadBack:
    """All that was found and measured. `remaining` has the blank after A, B and C, as far as cut.

    `cases` are further blanks and stops that the files were tried on. `steps` are the files in the
    order read, where they were asked for. `travelled` is by set-up the rectangle that its files
    stay in.
    """

    findings: Findings
    measures: tuple[Measure, ...]
    files: tuple[FileCount, ...]
    remaining: Mapping[str, Remaining]
    cases: tuple[CaseOutcome, ...] = ()
    steps: tuple[FileStep, ...] = ()
    travelled: Mapping[str, Span] = field(default_factory=dict)

    @property
    def ok(self) -> bool:
        """True if nothing wrong was found."""
        return not self.findings.counts

    @property
    def counts(self) -> dict[str, int]:
        """Findings by kind, all counted."""
        return self.findings.by_kind

    def of(self, id: str, file: str | None = None) -> Measure:
        """Return the first measure of an id (and file). Raises KeyError where there is none."""
        for measure in self.measures:
            if measure.id == id and file in (None, measure.file):
                return measure
        raise KeyError(id)

    def left(self) -> Iterator[Remaining]:
        """Yield the blank after each set-up, in their order."""
        return (self.remaining[setup] for setup in sorted(self.remaining))
