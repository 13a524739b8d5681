"""The data of the set-up sheet, and how its figures are written. Lengths in mm, times in
minutes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from corepath import lengths
from corepath.board.features import Board
from corepath.job.model import Job
from corepath.job.record.record_facts import JobFacts
from corepath.job.record.settled import Settled
from corepath.kept import Kept
from corepath.motion.program import Program, Setup
from corepath.reported import PLACES
from corepath.stackup.checks.verdict import Check
from corepath.stackup.height_table import HeightTable
from corepath.stackup.measuring.facts_for_record import facts_of
from corepath.stackup.stackup import Stackup
from corepath.views.drawings.scene import Scene
from corepath.views.sheet_html.page_parts import Command, Slot, State
from corepath.work.lists import Lists
from corepath.work.touching import Untouched
from corepath.work.works import Work

__all__ = ["Facts", "PlannedFile", "figure", "mm", "place", "size"]


def mm(value: float, places: int = 2) -> str:
    """Return a length as the sheet shows it: the figure of the report, always with its places,
    never "-0.00"."""
    # Rounded as in the report first: rounding 0.00496 at once would give another figure than
    # rounding the report's 0.0050.
    value = round(value, PLACES)
    return f"{lengths.mm(value if round(value, places) else 0.0):.{places}f}"


def figure(value: float, unit: str) -> str:
    """The figure of a check in its unit; a length in that of the job. Never "-0.00"."""
    value = round(value, PLACES)
    return f"{lengths.in_unit(value if round(value, 2) else 0.0, unit):.2f}"


def size(value: float) -> str:
    """Return a length as it is typed into a job."""
    return f"{lengths.mm(value):g}"


def place(x: float, y: float) -> str:
    """Return a place on the bed or board as the sheet shows it: `X120 Y−40`."""
    return lengths.with_minus(f"X{lengths.mm(x + 0.0):g} Y{lengths.mm(y + 0.0):g}")


@dataclass(frozen=True, slots=True)
class PlannedFile:
    """A file of the plan: the `minutes` of its moves, and in `reach` the least and largest X, Y
    (from the middle of the blank) and height of the tip, mm on the bed."""

    program: Program
    minutes: float
    reach: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]

    @property
    def name(self) -> str:
        return f"{self.program.stem}.nc"


@dataclass(frozen=True)
class Facts:
    """One plan: `digest` names it, `settled` holds the record, `file` is the name of the job file,
    `done` has the names of the operations that have been cut, `lists` the lists of the report.

    `planned` are the files made by this plan, empty where a check failed; `minutes` is the sum of
    those that are run. `findings` of the read-back are (what, file). `despite_failures`: files are
    written although something failed. `player` is the name of the page beside the sheet that plays
    the files; empty where there is none, `short` that of the short sheet. `touches` are the names
    of the files that find zero with a probe, `untouched` those that are not made, each with the
    reason.
    """

    job: Job
    board: Board
    stackup: Stackup
    works: Sequence[Work]
    settled: Settled
    file: str
    digest: str
    done: frozenset[str]
    checks: Sequence[Check]
    cautions: Sequence[str]
    lists: Lists
    planned: Sequence[PlannedFile] = ()
    minutes: float = 0.0
    findings: Sequence[tuple[str, str]] = ()
    despite_failures: bool = False
    player: str = ""
    short: str = ""
    touches: Sequence[str] = ()
    untouched: Sequence[Untouched] = ()

    @property
    def failing(self) -> tuple[Check, ...]:
        """The failed checks whose risk the job does not accept."""
        return () if self.lists.outcome.accepted else self.failed

    @property
    def failed(self) -> tuple[Check, ...]:
        return tuple(check for check in self.checks if check.verdict == "fail")

    @property
    def despite(self) -> bool:
        """Whether files were written although something failed."""
        return self.despite_failures and bool(self.failing or self.findings)

    @property
    def withheld(self) -> bool:
        """Whether no file was written, since something failed."""
        return bool(self.failing or self.findings) and not self.despite

    @cached_property
    def record(self) -> JobFacts:
        """The facts about the job that the commands of the record need."""
        return facts_of(self.job, self.file, self.board, self.stackup)

    @cached_property
    def drawn(self) -> Kept:
        """The drawings of set-ups made so far: sheet, short sheet and the lines of the record all
        go over the same pages."""
        return Kept(most=32)

    @property
    def unit(self) -> str:
        """The unit in which the job's figures are typed."""
        return "in" if self.job.units == "inch" else "mm"

    @cached_property
    def table(self) -> HeightTable:
        """All heights that the sheet shows."""
        return self.stackup.table

    def scene(self, setup: Setup) -> Scene:
        """Return what lies where in a set-up."""
        return Scene(self.job, self.board, self.stackup, setup)

    def works_of(self, setup: str, *names: str) -> tuple[Work, ...]:
        """Return the works of a set-up; where `names` are given, only those of that name."""
        return tuple(
            work for work in self.works if work.setup == setup and (not names or work.name in names)
        )

    def files(self, work: Work) -> tuple[PlannedFile, ...]:
        """Return the files of a work: of the skim all passes and the combined file."""
        stem = work.stem
        return tuple(
            file
            for file in self.planned
            if file.program.stem == stem
            or (work.facing is not None and file.program.stem.startswith(f"{stem}-"))
        )

    def state(self, names: Sequence[str], before: Sequence[str] = ()) -> State:
        """Return "done" if all operations `names` have been cut, "now" if all of `before` have,
        otherwise "ahead"."""
        if all(name in self.done for name in names):
            return "done"
        return "now" if all(name in self.done for name in before) else "ahead"

    def held(self, figures: Iterable[tuple[str, float]]) -> str:
        """Return the recorded `figures` (name, mm) in words, in the job's units; empty without
        any."""
        told = ", ".join(f"{name} {self.record.shown(value)}".strip() for name, value in figures)
        return f"recorded: {told}" if told else ""

    def command(self, *pieces: str | Slot) -> Command:
        """Return a `corepath record` command for this job from texts and boxes to fill in."""
        import shlex

        return Command((f"corepath record {shlex.quote(self.file)}", *pieces))
