"""The pose of a set-up: which face is up, how the flip turned the blank, where the zero lies.

Two frames, both mm with the origin at the middle of the blank: the board frame, and the *bed frame*
of the set-up (X right, Y away from the operator, as the blank lies). In A, C and D they agree in X
and Y. In B the blank lies bottom up: a place (x, y) of the board frame is at (x, -y) after a flip
about X, at (-x, y) after a flip about Y.
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
    """Return the reference of a set-up's heights, in words after a figure: the bed, in D rise 0 of
    the form."""
    if setup != "D":
        return "above the bed"
    return "over rise 0" if short else "over the rise 0 of the form"


@dataclass(frozen=True, slots=True)
class Pose:
    """How the blank lies in one set-up.

    `corner` (x, y, mm) is the X, Y zero in the bed frame, the same in every set-up. `touch_at` (x,
    y, mm) is the place on the board where a face is touched; None where the job gives none.
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
        """Factors of X and Y from the board frame to the bed frame; a flip is its own inverse."""
        if not self.flipped:
            return 1.0, 1.0
        return (1.0, -1.0) if self.flip_about == "x" else (-1.0, 1.0)

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Return a place of the board frame (mm) in the bed frame, or the other way round."""
        fx, fy = self.factors
        # Adding 0.0 turns -0.0 into 0.0: the sign would be written.
        return x * fx + 0.0, y * fy + 0.0

    def shape(self, area: _Shape) -> _Shape:
        """Return a shape of the board frame (mm) in the bed frame, or the other way round."""
        if not self.flipped:
            return area
        turned: _Shape = scale(area, *self.factors, origin=(0.0, 0.0))
        return turned

    @property
    def zero(self) -> tuple[float, float]:
        """The X, Y zero in the bed frame, mm: the middle of the blank or its front left corner as
        it lies."""
        return self.corner

    @property
    def touch(self) -> tuple[float, float]:
        """The place where a face is touched, in the bed frame, mm: in B the mirror image of the
        place on the board."""
        return self.place(*(self.touch_at or (0.0, 0.0)))

    @property
    def face_up(self) -> str:
        """Which face is up, in words."""
        return _FACE_UP[self.setup]

    @property
    def caption(self) -> str:
        """The same in capitals for the top of a drawing or page, with a note where it is seen from
        below."""
        seen = "seen from below, " if self.flipped else ""
        return (seen + self.face_up).upper()


def pose_of(job: Job, setup: Setup) -> Pose:
    """Return how the blank of a job lies in a set-up."""
    machine, blank = job.machine, job.blank
    corner = (
        (-blank.length / 2, -blank.width / 2) if machine.xy_zero == "front-left" else (0.0, 0.0)
    )
    return Pose(setup, machine.flip_about, corner, machine.touch_at)
