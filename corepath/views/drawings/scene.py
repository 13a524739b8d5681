"""The board's features as they lie on the bed in each set-up, turned as the operator sees them.

Coordinates are those of the bed frame of the set-up (X right, Y away from the operator, from the
middle of the blank; Z up from the bed), mm. In B the blank lies bottom up, so what the board frame
has at (x, y) lies at (x, -y) when the blank was turned over about X, at (-x, y) when about Y.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from shapely import Polygon

from corepath.board.features import Board
from corepath.board.footprints import Footprint
from corepath.job.model import Job
from corepath.job.pose import Pose, pose_of
from corepath.layup.laid import laid_up
from corepath.lengths import mm
from corepath.motion.program import Program, Setup
from corepath.stackup.checks.verdict import Check
from corepath.stackup.height_table import HeightTable
from corepath.stackup.stackup import Stackup
from corepath.views.drawings.cuts import Bands, Strokes
from corepath.work.works import Work

__all__ = ["DrawnOperation", "DrawnPlan", "Scene"]


_SAME = 1e-6  # mm between floors that are one


@dataclass(frozen=True, slots=True)
class Round:
    """A round feature seen from above: a dowel."""

    id: str
    x: float
    y: float
    diameter: float


@dataclass(frozen=True, slots=True)
class SeenInsert:
    """An insert's seat as it lies, and the diameter of the bore under it."""

    id: str
    seat: Footprint
    bore: float

    @property
    def x(self) -> float:
        return self.seat.x

    @property
    def y(self) -> float:
        return self.seat.y


@dataclass(frozen=True, slots=True)
class DrawnPlan:
    """What the drawings show of a plan: its job, board and stack-up, its works with their programs,
    the `minutes` of each program by its stem, where known, its checks and its digest."""

    job: Job
    board: Board
    stackup: Stackup
    works: Sequence[Work]
    digest: str
    programs: Sequence[Program] = ()
    minutes: Mapping[str, float] = field(default_factory=dict)
    checks: Sequence[Check] = ()

    def scene(self, setup: Setup) -> Scene:
        """Return the board and its stack-up as they lie in a set-up."""
        return Scene(self.job, self.board, self.stackup, setup)

    def programs_of(self, work: Work) -> tuple[Program, ...]:
        """Return the programs of one work: its own file, or for the skim all pass files and the
        combined one."""
        return tuple(
            p
            for p in self.programs
            if p.stem == work.stem or (work.facing and p.stem.startswith(work.stem + "-"))
        )


@dataclass(frozen=True, slots=True)
class DrawnOperation:
    """One operation to be drawn: its work with its programs, and their cuts as strokes in bands of
    depth."""

    scene: Scene
    work: Work
    programs: Sequence[Program]
    strokes: Strokes
    bands: Bands


@dataclass(frozen=True)
class Scene:
    """The board and its stack-up in one set-up."""

    job: Job
    board: Board
    stack: Stackup
    setup: Setup

    @cached_property
    def table(self) -> HeightTable:
        """The heights of the stack-up."""
        return self.stack.table

    @property
    def pose(self) -> Pose:
        """How the blank lies."""
        return pose_of(self.job, self.setup)

    def seen(self, shape: Polygon) -> Polygon:
        """Return `shape` of the board frame as it lies in this set-up."""
        if self.setup == "D":
            laid = laid_up(self.job, self.board)
            return laid.shape(shape, laid.edge_middle)
        return self.pose.shape(shape)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return where a place of the board lies in the bed frame of the set-up, mm."""
        if self.setup == "D":
            laid = laid_up(self.job, self.board)
            return float(laid.place(x, laid.edge_middle)[0]), y
        return self.pose.place(x, y)

    @property
    def places(self) -> tuple[SeenInsert, ...]:
        return tuple(SeenInsert(p.id, self.footprint(p.seat), p.bore) for p in self.board.places)

    def footprint(self, one: Footprint) -> Footprint:
        """Return a footprint of the board frame as it lies in this set-up."""
        return Footprint(*self.at(one.x, one.y), self.seen(one.area), one.diameter)

    @property
    def dowels(self) -> tuple[Round, ...]:
        """Dowels, named by their number in the job file."""
        return tuple(
            Round(f"dowel {k}", *self.at(*dowel.at), dowel.diameter)
            for k, dowel in enumerate(self.board.dowels, start=1)
        )

    @property
    def turned(self) -> str:
        """How the blank was turned for this set-up, in words."""
        axis = self.job.machine.flip_about
        if self.setup == "B":
            if axis == "x":
                return "turned over about X: what was the front edge in A now lies at the back"
            return "turned over about Y: what was the left end in A now lies at the right"
        if self.setup == "C":
            return (
                f"turned back about {axis.upper()}: lies in X and Y as in A, on its skimmed bottom"
            )
        if self.setup == "D":
            return "laid up, in its cradle: X along the level chord, Z over the rise 0 of the form"
        return "raw blank, deck side up"

    @property
    def stem_order(self) -> dict[str, int]:
        """Order numbers of the operations whose cuts are already there when a later one runs."""
        return {"dowels": 1, "plug": 2, "groove": 3, "skim": 5, "inserts": 6}

    def top(self, order: int) -> float:
        """Return the nominal height above the bed, over the groove, of the face that operation
        `order` starts from."""
        if self.setup == "B" and order > self.stem_order["skim"]:
            return self.table.stop.nominal
        return self.table.face(self.setup).nominal

    def below(self, work: Work) -> str:
        """Return in words how far below the face the lowest cut of an operation lies: a range where
        pockets differ in depth."""
        # Pockets with one floor still differ in depth where the blank differs in thickness.
        lowest = [pocket.id for pocket in work.pockets if abs(pocket.floor - work.lowest) < _SAME]
        known = {casting.id for casting in self.board.castings}
        if work.setup == "A" and lowest and known.issuperset(lowest):
            return self.depths(lowest)
        return f"{mm(self.top(work.order) - work.lowest):.2f}"

    def depths(self, castings: Iterable[str]) -> str:
        """Return the nominal depth of pockets that are cut in A, as a range where it differs."""
        least, most = self.table.depths(castings)
        return (
            f"{mm(least):.2f}"
            if f"{least:.2f}" == f"{most:.2f}"
            else f"{mm(least):.2f} to {mm(most):.2f}"
        )

    def is_cast(self, order: int) -> bool:
        """Whether the resin has been poured when operation `order` runs: from the flush in A on."""
        return self.setup != "A" or order > self.stem_order["groove"]

    def casting_heights(self, casting_id: str) -> tuple[float, float]:
        """Return the nominal lower and upper height of the cured casting above the bed, in A of its
        pocket."""
        # In C and D the part of the casting below the skimmed bottom is gone; in B it lies bottom
        # up, so that its resin is below its floor.
        if self.setup not in ("A", "B"):
            column = self.table.column("C", casting_id)
            return max(column.floor.nominal, 0.0), column.resin.nominal
        column = self.table.column(self.setup, casting_id)
        if self.setup == "A":
            return column.floor.nominal, self.table.face("A").nominal
        return column.resin.nominal, column.floor.nominal

    def insert_depths(self, place: str) -> tuple[float, float]:
        """Return the depths of seat and bore of an insert, by its id, below the skimmed face.

        A blind bore ends above the finished deck, in the wood that the deck pass removes: that
        opens it.
        """
        heights = self.table.inserts[place]
        return heights.seat.nominal, heights.bore.nominal
