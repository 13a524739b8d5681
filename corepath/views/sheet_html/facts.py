"""What the set-up sheet is made from, and how its figures are written. Lengths in mm, times in minutes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from corepath import lengths
from corepath.board.model import Board
from corepath.job.model import Job
from corepath.job.record_facts import JobFacts
from corepath.job.record_settled import Settled
from corepath.motion.program import Setup
from corepath.stackup.record_facts import facts_of
from corepath.stackup.stackup import Stackup
from corepath.stackup.table import HeightTable
from corepath.views.scene import Scene
from corepath.views.sheet_html.parts import Command, Slot, State
from corepath.work.model import Work

__all__ = ["Facts", "mm", "place", "size"]


def mm(value: float, places: int = 2) -> str:
    """A length as the sheet gives it: always with its places, never "-0.00"."""
    return f"{lengths.mm(value if round(value, places) else 0.0):.{places}f}"


def size(value: float) -> str:
    """A length as it is typed into a job."""
    return f"{lengths.mm(value):g}"


def place(x: float, y: float) -> str:
    """A place on the bed or board as the sheet gives it."""
    return lengths.with_minus(f"X{lengths.mm(x + 0.0):g} Y{lengths.mm(y + 0.0):g}")


@dataclass(frozen=True)
class Facts:
    """One plan: `report` is that of `report.json`, `settled` what the record holds, `file` the name of the job file,
    `player` that of the page that plays its files, beside the sheet; empty where there is none."""

    job: Job
    board: Board
    stackup: Stackup
    works: Sequence[Work]
    report: Mapping[str, Any]
    settled: Settled
    file: str
    player: str = ""

    @property
    def digest(self) -> str:
        return str(self.report["plan"])

    @property
    def done(self) -> frozenset[str]:
        """Names of the operations that are cut."""
        return frozenset(self.report["done"])

    @property
    def operations(self) -> Sequence[Mapping[str, Any]]:
        """Files made by this plan; empty where a check failed."""
        found: Sequence[Mapping[str, Any]] = self.report.get("operations") or ()
        return found

    @property
    def checks(self) -> Sequence[Mapping[str, Any]]:
        found: Sequence[Mapping[str, Any]] = self.report["checks"]
        return found

    @property
    def failing(self) -> tuple[Mapping[str, Any], ...]:
        return tuple(check for check in self.checks if check["verdict"] == "fail")

    @property
    def findings(self) -> Sequence[Mapping[str, Any]]:
        readback = self.report.get("readback") or {}
        found: Sequence[Mapping[str, Any]] = readback.get("findings") or ()
        return found

    @property
    def despite(self) -> bool:
        """Whether files were written although something failed."""
        return bool(self.report.get("despite_failures")) and bool(self.failing or self.findings)

    @property
    def withheld(self) -> bool:
        """Whether no file was written, since something failed."""
        return bool(self.failing or self.findings) and not self.despite

    @property
    def record(self) -> JobFacts:
        """What the record's commands need to know of the job."""
        return facts_of(self.job, self.file, self.board, self.stackup)

    @property
    def unit(self) -> str:
        """The unit in which the job's figures are typed."""
        return "in" if self.job.units == "inch" else "mm"

    @cached_property
    def table(self) -> HeightTable:
        """All heights that the sheet shows."""
        return self.stackup.table

    def scene(self, setup: Setup) -> Scene:
        return Scene(self.job, self.board, self.stackup, setup)

    def of(self, setup: str, *names: str) -> tuple[Work, ...]:
        """The works of a set-up, of those names where any are given."""
        return tuple(work for work in self.works if work.setup == setup and (not names or work.name in names))

    def files(self, work: Work) -> tuple[Mapping[str, Any], ...]:
        """The files of a work: of the skim all passes and the one with all of them."""
        stem = f"{work.stem}."
        return tuple(
            entry
            for entry in self.operations
            if entry["file"].startswith(stem) or (work.facing is not None and entry["file"].startswith(work.stem + "-"))
        )

    def state(self, names: Sequence[str], before: Sequence[str] = ()) -> State:
        """Whether all of `names` are cut, or they come next since all `before` them are."""
        if all(name in self.done for name in names):
            return "done"
        return "now" if all(name in self.done for name in before) else "ahead"

    def held(self, figures: Iterable[tuple[str, float]]) -> str:
        """What the record holds of something, in the job's units; empty where it holds nothing."""
        told = ", ".join(f"{name} {self.record.shown(value)}".strip() for name, value in figures)
        return f"recorded: {told}" if told else ""

    def command(self, *pieces: str | Slot) -> Command:
        """A `corepath record` command for this job."""
        import shlex

        return Command((f"corepath record {shlex.quote(self.file)}", *pieces))
