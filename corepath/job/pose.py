"""The pose of a set-up: which face is up, how the flip turned the blank, where zero and touched
place lie in it.

Two frames, both mm with the origin at the middle of the blank: the board's, and the *bed frame* of
the set-up (X right, Y away from the operator, as the blank lies). In A, C and D they agree in X and
Y. In B the blank lies bottom up: what the board frame has at (x, y) lies at (x, -y) where it was
turned over about X, at (-x, y) about Y.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeVar

from shapely.affinity import scale
from shapely.geometry.base import BaseGeometry

from corepath.job.model import Job
from corepath.motion.program import Setup

__all__ = ["Pose", "over_datum", "pose_of"]

_Shape = TypeVar("_Shape", bound=BaseGeometry)

_FACE_UP: dict[Setup, str] = {
    "A": "deck up",
    "B": "bottom up",
    "C": "deck up, after casting and skim",
    "D": "deck up, after lay-up, in its cradle",
}


def over_datum(setup: Setup, short: bool = False) -> str:
    """What heights of a set-up count from, as words after a figure: the bed, but in D the rise 0 of
    the form."""
    if setup != "D":
        return "above the bed"
    return "over rise 0" if short else "over the rise 0 of the form"


@dataclass(frozen=True, slots=True)
class Pose:
    """How the blank lies in one set-up.

    `corner` is the place of the X, Y zero and `touch_at` the place where a face is touched as the
    job has it: the first in the bed frame of every set-up alike, the second on the board, x, y in
    mm; None where the job has none.
    """

    setup: Setup
    flip_about: Literal["x", "y"]
    corner: tuple[float, float] = (0.0, 0.0)
    touch_at: tuple[float, float] | None = None

    @property
    def flipped(self) -> bool:
        """Whether the bottom is up."""
        return self.setup == "B"

    @property
    def factors(self) -> tuple[float, float]:
        """Factors of X and Y from the board frame to the bed frame. The way back is the same."""
        if not self.flipped:
            return 1.0, 1.0
        return (1.0, -1.0) if self.flip_about == "x" else (-1.0, 1.0)

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Where a place of the board frame (mm) lies in the bed frame; a place of the bed frame, in
        the board's."""
        fx, fy = self.factors
        # Adding 0.0 turns -0.0 into 0.0, which would be written as it is.
        return x * fx + 0.0, y * fy + 0.0

    def shape(self, area: _Shape) -> _Shape:
        """`area` of the board frame (mm) as it lies in the bed frame, or back."""
        if not self.flipped:
            return area
        turned: _Shape = scale(area, *self.factors, origin=(0.0, 0.0))
        return turned

    @property
    def zero(self) -> tuple[float, float]:
        """Where X and Y are zero, in the bed frame, mm: the middle of the blank or its front-left
        corner as it lies."""
        return self.corner

    @property
    def touch(self) -> tuple[float, float]:
        """Where a face is touched, in the bed frame, mm: in B at the mirror image of the place on
        the board."""
        return self.place(*(self.touch_at or (0.0, 0.0)))

    @property
    def face_up(self) -> str:
        """Which face is up, in words."""
        return _FACE_UP[self.setup]

    @property
    def caption(self) -> str:
        """The same for the top of a drawing or page, in capitals: what is seen from below is told
        first."""
        seen = "seen from below, " if self.flipped else ""
        return (seen + self.face_up).upper()


def pose_of(job: Job, setup: Setup) -> Pose:
    """How the blank of a job lies in a set-up."""
    machine, blank = job.machine, job.blank
    corner = (
        (-blank.length / 2, -blank.width / 2) if machine.xy_zero == "front-left" else (0.0, 0.0)
    )
    return Pose(setup, machine.flip_about, corner, machine.touch_at)
