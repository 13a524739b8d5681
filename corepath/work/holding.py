"""What holds the blank in each set-up: obstacles, screw heads, the frame left for clamps.

Places are in the bed frame of the set-up, mm; the counterbore of a screw is cut into the face that
is up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from shapely import Point, Polygon

from corepath.board.features import Board
from corepath.errors import Fault
from corepath.job.model import Job, ScrewSection
from corepath.job.pose import pose_of
from corepath.lengths import mm, square_cm
from corepath.motion.cutter import Cutter
from corepath.motion.program import Setup
from corepath.stackup.height_table import face_up
from corepath.stackup.linear import Linear
from corepath.stackup.stackup import Stackup
from corepath.work.keepoff import CLEARANCE, uncut
from corepath.work.works import Obstacle, Work

__all__ = [
    "Screw",
    "board_place",
    "head_top",
    "margin_fault",
    "screws_of",
    "standing",
    "with_uncut",
]


@dataclass(frozen=True, slots=True)
class Screw:
    """One screw in one set-up: its `name` ("screw 1a"), its place there and its section of the
    job."""

    name: str
    x: float
    y: float
    section: ScrewSection

    @property
    def head(self) -> Polygon:
        """The head seen from above."""
        found: Polygon = Point(self.x, self.y).buffer(self.section.head / 2.0, quad_segs=32)
        return found


def screws_of(job: Job, setup: Setup) -> tuple[Screw, ...]:
    """All screws that hold the blank in a set-up."""
    return tuple(
        Screw(
            f"screw {number}{_letter(k)}" if len(section.at) > 1 else f"screw {number}",
            *at,
            section,
        )
        for number, section in enumerate(job.screw, start=1)
        if setup in section.setups
        for k, at in enumerate(section.at)
    )


def _letter(k: int) -> str:
    return (_letter(k // 26 - 1) if k >= 26 else "") + "abcdefghijklmnopqrstuvwxyz"[k % 26]


def board_place(job: Job, setup: Setup, x: float, y: float) -> tuple[float, float]:
    """The place in the board frame of a place of a set-up, mm."""
    return pose_of(job, setup).place(x, y)


def head_top(stack: Stackup, setup: Setup, screw: Screw) -> Linear:
    """Height of the top of a screw's head above the bed of its set-up, before anything is cut
    there."""
    heights = stack.heights
    at = board_place(stack.job, setup, screw.x, screw.y)
    face = face_up(heights, setup, at, stack.skim.planned_plane)
    return face - screw.section.counterbore + screw.section.head_height


def standing(job: Job, stack: Stackup, setup: Setup) -> tuple[Obstacle, ...]:
    """The obstacles of a set-up, including screw heads."""
    found = [
        Obstacle(Polygon(section.points), section.height, f"obstacle {number}", section.sawn_off)
        for number, section in enumerate(job.obstacle, start=1)
        if setup in section.setups
    ]
    found += [
        Obstacle(screw.head, head_top(stack, setup, screw).nominal, screw.name)
        for screw in screws_of(job, setup)
    ]
    return tuple(found)


def margin_fault(job: Job, board: Board, cutter: Cutter) -> Fault | None:
    """The fault of `deck.margin`, or None: the cutter must pass round the groove inside the
    frame."""
    margin = job.deck.margin
    inner: Polygon = board.blank.buffer(-margin, join_style="mitre")
    least = cutter.radius + CLEARANCE
    wall = Polygon(board.ring.exterior)
    # Where the frame reaches into the groove there is no distance to give.
    room = wall.distance(inner.exterior) if inner.contains(wall) else None
    if room is not None and room >= least - 1e-6:
        return None
    most = wall.distance(board.blank.exterior) - least
    needs = f"{mm(least):g~} are needed for {cutter.describe()} and {mm(CLEARANCE):g} of clearance"
    says = (
        "the frame reaches into the groove"
        if room is None
        else f"leaves {mm(room):.2f~} between frame and groove"
    )
    says += f"; {needs}"
    allowed = f"at most {mm(most):.2f~}, or a larger blank" if most > 0 else "0, or a larger blank"
    return Fault("deck.margin", says, f"{mm(margin):g}", allowed)


def with_uncut(work: Work) -> Work:
    """The work with a line for the head of its file for each piece that it leaves uncut."""
    lines = []
    for piece in uncut(work):
        # The frame is meant to stay; it has a line of its own below.
        if piece.names == ("the frame",):
            continue
        left, low, right, high = piece.area.bounds
        after = "; saw it off before C" if piece.sawn_off else ""
        lines.append(
            f"uncut beside {' and '.join(piece.names)}: {square_cm(piece.area.area / 100.0):.1f~} "
            "at "
            f"X {mm(left):.0f} to {mm(right):.0f}, Y {mm(low):.0f} to {mm(high):.0f} from the "
            f"middle{after}"
        )
    if work.deck is not None and work.deck.framed:
        edge = work.deck.area.bounds[0] - work.blank.bounds[0]
        corner = (
            f", a fillet of R{mm(work.cutter.corner_radius):g} along it"
            if work.cutter.corner_radius > 0.0
            else ""
        )
        lines.append(
            f"a frame {mm(edge):g} wide is left at full height; corners inside it "
            f"R{mm(work.cutter.radius):g}{corner}"
        )
    return replace(work, watch=(*work.watch, *lines)) if lines else work
