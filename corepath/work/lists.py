"""What is listed of a core before any path is made; report, sheet and printed tables show the same
lists."""

from __future__ import annotations

from dataclasses import dataclass

from corepath.motion.program import Setup
from corepath.reported import Key, report_keys
from corepath.stackup.core_weight import CoreWeight
from corepath.stackup.odds.outcome import Outcome
from corepath.stackup.pass_shows import PassShows
from corepath.stackup.pour.pour import PourPlan
from corepath.stackup.pour.top_up import FillAdvice
from corepath.stackup.stop_table import StopTable
from corepath.work.dowel_lengths import DowelLength
from corepath.work.lay_ready import Ready

__all__ = ["BoredStep", "FlushFigures", "ListedHardware", "ListedHole", "ListedInsert", "Lists"]


@report_keys("diameter", "depth", "floor", "made", "cutter", "file")
@dataclass(frozen=True, slots=True)
class BoredStep:
    """A seat or bore: `depth` counts from the face that is up, `floor` from the bed, mm; `made`
    in words; the number of its cutter and its file."""

    diameter: float
    depth: float
    floor: float
    made: str
    cutter: int
    file: str


@report_keys("name", "title", Key("says", "message"))
@dataclass(frozen=True, slots=True)
class ListedHardware:
    """A row of the table of hardware, and what it says of an insert."""

    name: str
    title: str
    message: str


@report_keys("name", "hardware")
@dataclass(frozen=True, slots=True)
class ListedInsert:
    """The insert of a hole: its name in the job, and its hardware where that is in the table."""

    name: str
    hardware: ListedHardware | None


@report_keys(
    "id", "kind", "setup", "at", "lies", "ends", Key("*", "insert"), Key("seat", optional=True),
    Key("bore", optional=True),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class ListedHole:
    """A hole of a dowel or an insert: `at` in the board frame, `lies` in the bed frame of its
    set-up; mm."""

    id: str
    kind: str
    setup: Setup
    at: tuple[float, float]
    lies: tuple[float, float]
    ends: str
    insert: ListedInsert | None
    seat: BoredStep | None
    bore: BoredStep | None

    @property
    def name(self) -> str:
        return self.id if self.insert is None else self.insert.name

    @property
    def steps(self) -> tuple[BoredStep, ...]:
        """Seat and bore, as far as it has them."""
        return tuple(step for step in (self.seat, self.bore) if step is not None)


@report_keys("kind", Key("plane", optional=True), Key("window_costs", optional=True))
@dataclass(frozen=True, slots=True)
class FlushFigures:
    """How proud resin is planed off, to which height above the bed in A, and how much of the window
    that takes; mm."""

    kind: str
    plane: float | None = None
    window_costs: float | None = None


@dataclass(frozen=True, slots=True)
class Lists:
    """The verdict, castings whose fill was measured, holes, dowels, what each pass shows, what each
    stop leaves, pour and flush, the weight of the core, what to lay ready."""

    outcome: Outcome
    fills: tuple[FillAdvice, ...]
    holes: tuple[ListedHole, ...]
    dowel_lengths: tuple[DowelLength, ...]
    shows: tuple[PassShows, ...]
    stops: StopTable
    pour: PourPlan
    flush: FlushFigures
    weight: CoreWeight
    ready: tuple[Ready, ...]
