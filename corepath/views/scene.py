"""What lies on the bed in each set-up: the board's features turned as the operator sees them.

Coordinates are those of the bed frame of the set-up (X right, Y away from the operator, from the middle
of the blank; Z up from the bed), mm. In B the blank lies bottom up, so what the board frame has at (x, y)
lies at (x, -y) when the blank was turned over about X, at (-x, y) when about Y.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.model import Board, Place
from corepath.job.model import Job
from corepath.job.pose import Pose, pose_of
from corepath.layup.laid import laid_up
from corepath.motion.program import Setup

__all__ = ["Round", "Scene", "Skimming", "Stack", "Surface"]


class Skimming(Protocol):
    """What the drawings need of the skim plan: planes from the highest down, passes counted from 1."""

    @property
    def planes(self) -> tuple[float, ...]: ...
    @property
    def lowest_plane(self) -> float: ...
    @property
    def planned_plane(self) -> float: ...
    @property
    def planned_stop(self) -> int: ...


class Stack(Protocol):
    """What the drawings need of the stack-up."""

    @property
    def skim(self) -> Skimming: ...
    def floor_of(self, casting_id: str) -> float: ...


class Surface(Protocol):
    """What the drawings need of the deck: its grid (`grid[ix, iy]` at `xs`, `ys`) and heights, mm."""

    @property
    def xs(self) -> NDArray[np.float64]: ...
    @property
    def ys(self) -> NDArray[np.float64]: ...
    @property
    def grid(self) -> NDArray[np.float64]: ...
    def height(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]: ...


@dataclass(frozen=True, slots=True)
class Round:
    """A round feature seen from above: an insert's seat and bore, or a dowel."""

    id: str
    x: float
    y: float
    diameters: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Scene:
    """The board and its stack-up in one set-up."""

    job: Job
    board: Board
    stack: Stack
    setup: Setup

    @property
    def pose(self) -> Pose:
        """How the blank lies."""
        return pose_of(self.job, self.setup)

    def seen(self, shape: Polygon) -> Polygon:
        """`shape` of the board frame as it lies in this set-up."""
        if self.setup == "D":
            laid = laid_up(self.job, self.board)
            return laid.shape(shape, laid.edge_middle)
        return self.pose.shape(shape)

    def at(self, x: float, y: float) -> tuple[float, float]:
        if self.setup == "D":
            laid = laid_up(self.job, self.board)
            return float(laid.place(x, laid.edge_middle)[0]), y
        return self.pose.place(x, y)

    @property
    def places(self) -> tuple[Round, ...]:
        return tuple(Round(p.id, *self.at(p.x, p.y), (p.seat, p.bore)) for p in self.board.places)

    @property
    def dowels(self) -> tuple[Round, ...]:
        """Dowels, named by their number in the job file."""
        return tuple(
            Round(f"dowel {k}", *self.at(*dowel.at), (dowel.diameter,))
            for k, dowel in enumerate(self.board.dowels, start=1)
        )

    @property
    def thickness(self) -> float:
        return self.job.blank.thickness

    @property
    def turned(self) -> str:
        """How the blank came to lie as it does, in words."""
        axis = self.job.machine.flip_about
        if self.setup == "B":
            if axis == "x":
                return "turned over about X: what was the front edge in A now lies at the back"
            return "turned over about Y: what was the left end in A now lies at the right"
        if self.setup == "C":
            return f"turned back about {axis.upper()}: lies in X and Y as in A, on its skimmed bottom"
        if self.setup == "D":
            return "laid up, in its cradle: X along the level chord, Z over the cradle's rise 0"
        return "as it comes, deck side up"

    @property
    def stem_order(self) -> dict[str, int]:
        """Order of the operations whose marks are already there when a later one runs."""
        return {"dowels": 1, "plug": 2, "groove": 3, "skim": 5, "inserts": 6}

    def top(self, order: int) -> float:
        """Nominal height of the face that operation `order` starts from, above the bed."""
        return self.stack.skim.planned_plane if order > self.stem_order["skim"] else self.thickness

    def is_cast(self, order: int) -> bool:
        """Whether the resin is in when operation `order` runs: from the flush in A on."""
        return self.setup != "A" or order > self.stem_order["groove"]

    def casting_heights(self, casting_id: str) -> tuple[float, float]:
        """Lower and upper height of the cured casting above the bed (in A: of the pocket to be)."""
        floor = self.stack.floor_of(casting_id)
        short = self.job.cast.pour_short
        if self.setup == "A":
            return floor, self.thickness
        if self.setup == "B":
            return short, self.thickness - floor
        skimmed_off = self.thickness - self.stack.skim.planned_plane
        return max(floor - skimmed_off, 0.0), self.stack.skim.planned_plane - short

    def bore_heights(self, place: Place) -> tuple[tuple[float, float], ...]:
        """Depths below the skimmed face, ((seat diameter, depth), (bore diameter, depth)).

        A blind bore ends half the clean-up past the deck to be, whose pass opens it.
        """
        seat = place.insert.flange_thickness + place.insert.recess
        if place.insert.through:
            return (place.seat, seat), (place.bore, self.stack.skim.planned_plane)
        surface: Surface = self.board.deck
        over = float(np.asarray(surface.height(np.array([place.x]), np.array([place.y])))[0])
        return (place.seat, seat), (place.bore, over + self.job.deck.clean_up / 2)
