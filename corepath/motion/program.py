"""A program: the moves of one file, recorded once and replayed by writer, drawings and clock.

Coordinates are in the *bed frame of the set-up* (X, Y from the middle of the blank as it lies, Z up
from the bed), mm; feeds in mm/min. The writer subtracts the zero. The tip of the cutter is what
moves.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Literal, NamedTuple

from corepath.lengths import Said, said_all
from corepath.motion.cutter import Cutter, Cutting
from corepath.reported import report_keys

__all__ = [
    "FULL_TURN", "Approach", "Corner", "Found", "Kind", "Move", "Pass", "Program", "Setup",
    "System", "Zero",
    "arc", "drill", "line", "rapid",
]  # fmt: skip

FULL_TURN = 1e-6
"""mm: an arc whose ends lie closer than this is a full turn (RS-274: NIST IR 6556, 3.5.3.2)."""

Setup = Literal["A", "B", "C", "D"]
System = Literal["G54", "G55"]
Found = Literal["edges", "pins", "kept", "dowels", "cradle", "bed", "edge"]


class Kind(IntEnum):
    """What a move is. Values equal the RS-274 G number; a drilling cycle is several motions."""

    RAPID = 0
    LINE = 1
    CW = 2
    CCW = 3
    DRILL = 81
    PECK = 83


class Move(NamedTuple):
    """One move to (x, y, z). For arcs `i`, `j` lead from the start to the centre (helix if z
    changes).

    `feed` is in mm/min along the move; a rapid has 0. For a drilling cycle (`DRILL`, `PECK`) z is
    the bottom of the hole, `i` the retract height R, at which the cycle ends, and `j` the depth of
    a peck (0 for `DRILL`): `corepath.motion.cycles.expand` turns it into plain motions.
    """

    kind: Kind
    x: float
    y: float
    z: float
    feed: float = 0.0
    i: float = 0.0
    j: float = 0.0


@report_keys("feature", "x", "y", "area", "left")
class Corner(NamedTuple):
    """An inside corner of a pocket that stays round: `area` mm² of it stay, up to `left` mm at (x,
    y)."""

    feature: str
    x: float
    y: float
    area: float
    left: float


def rapid(x: float, y: float, z: float) -> Move:
    """Return a rapid to (x, y, z), mm, in the bed frame."""
    return Move(Kind.RAPID, x, y, z)


def line(x: float, y: float, z: float, feed: float) -> Move:
    """Return a straight cut to (x, y, z), mm, in the bed frame at `feed` mm/min."""
    return Move(Kind.LINE, x, y, z, feed)


def arc(
    clockwise: bool,
    end: tuple[float, float, float],
    to_centre: tuple[float, float],
    feed: float,
) -> Move:
    """Returns an arc to `end`, (x, y, z), about what lies `to_centre`, (i, j), from its start, mm;
    `feed` mm/min."""
    return Move(Kind.CW if clockwise else Kind.CCW, *end, feed, *to_centre)


def drill(x: float, y: float, z: float, feed: float, retract: float, peck: float = 0.0) -> Move:
    """Returns a drilling cycle at (x, y) down to `z`, by pecks of `peck` mm where it is above 0; it
    ends at `retract`. All bed frame, mm; `feed` mm/min."""
    return Move(Kind.PECK if peck > 0.0 else Kind.DRILL, x, y, z, feed, retract, peck)


@report_keys("x", "y", "z")
@dataclass(frozen=True, slots=True)
class Zero:
    """The work zero in the bed frame of its set-up: program + zero = place on the bed.

    `touch` says in words what is touched for Z, `on` the same in two or three; `again` whether
    touching again later is allowed. `system` is the coordinate system of the control that holds it
    (NIST IR 6556, 3.5.13). `by` is how X and Y are found: from the edges of the squared blank (or
    a mark), from `pins` in holes that are in the bed already, `kept` from the file before, from
    the `dowels` ((x, y) of each in the bed frame), from the marks of the cradle; of files that cut
    the `bed` itself or square an `edge`, from these.
    """

    x: float
    y: float
    z: float
    touch: str
    again: bool
    on: str = "the bed"
    system: System = "G54"
    by: Found = "dowels"
    dowels: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "touch", Said(self.touch))


@dataclass(frozen=True, slots=True)
class Approach:
    """The first way down of a file whose zero differs from that of the file before: at feed, to a
    stop (M0).

    The tip comes to `height` (bed frame, mm), goes to (x, y) and stops there, `above` mm over
    `face`, so that someone can see whether the zero is right. With the zero of the file before,
    `old` in words, it would stand `otherwise` mm over it, still clear of everything; `old` is empty
    where no file came before. `feed` is that of the way down and `walk` that of the level way,
    mm/min: no rapid, since someone who forgot to touch Z after a tool change may have a longer
    cutter fitted, for which the height is too low.
    """

    x: float
    y: float
    height: float
    feed: float
    walk: float
    face: str
    above: float
    old: str
    otherwise: float

    def minutes_from(self, park: tuple[float, float]) -> float:
        """Minutes of the level way from the `park` place (mm, bed frame) to where someone looks."""
        return math.hypot(self.x - park[0], self.y - park[1]) / self.walk


@dataclass(frozen=True, slots=True)
class Pass:
    """A stretch of moves cut without a stop; it starts and ends at the safe height.

    The first move of a pass is a rapid to (x, y, clear); the last is a rapid up to the safe height.
    Between passes of one program the writer puts the stop (spindle off, dwell, park, M0). `points`
    is how many points lay along its cuts before they were thinned and fitted, where that is known.
    `planes` are those that it skims, mm above the bed, highest first: they name it.
    """

    moves: tuple[Move, ...]
    message: str = ""
    points: int | None = None
    planes: tuple[float, ...] = ()

    @staticmethod
    def of(moves: Iterable[Move], message: str = "", points: int | None = None) -> Pass:
        """Return a pass of these moves; `message` is its remark in the file, `points` how many were
        thinned to them."""
        return Pass(tuple(moves), message, points)

    @property
    def given(self) -> int:
        """The number of points that the cuts were thinned and fitted from; the number of cuts where
        nothing was thinned."""
        return (
            sum(move.kind != Kind.RAPID for move in self.moves)
            if self.points is None
            else self.points
        )


@dataclass(frozen=True, slots=True)
class Program:
    """What one `.nc` file will hold. `stem` is the file name without ending, e.g. `03-A-groove`.

    `clear` is the height (bed frame) where rapids are free; `park` the place (x, y) to stand at a
    stop. `watch` are lines for the head: what to look out for; `corners` those that stay round.
    Without `spindle` it only travels, as a rehearsal does. `approach` is its first way down where
    its zero differs from that of the file before. `kept` is the file whose touch of Z this one
    relies on, with the same cutter still fitted; empty where Z is touched for it. `used` has
    for each planned feed (planned, slowest, fastest): at what its cuts go after bends were slowed
    to what the machine reaches, mm/min. `reading` are the minutes lost to feeds that were lowered
    so that the control reads its lines in time.
    """

    stem: str
    order: int
    setup: Setup
    name: str
    cutter: Cutter
    cutting: Cutting
    zero: Zero
    clear: float
    park: tuple[float, float]
    passes: tuple[Pass, ...]
    combined: bool = False
    watch: tuple[str, ...] = field(default=())
    corners: tuple[Corner, ...] = ()
    spindle: bool = True
    approach: Approach | None = None
    kept: str = ""
    used: tuple[tuple[float, float, float], ...] = ()
    reading: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "watch", said_all(self.watch))

    @property
    def moves(self) -> tuple[Move, ...]:
        """All moves of all passes in order."""
        return tuple(move for stretch in self.passes for move in stretch.moves)
