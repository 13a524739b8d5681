"""What the files of `touch/` feel for with a probe: Z of each zero, edges or dowel holes for X and
Y, the raw top at the places to measure.

Bed frame of the set-up, mm. Nothing here depends on how a file gets there. A file that would not
fit is not made: it is among `Untouched`, with the reason, and the operator sets that zero by hand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from shapely import LineString

from corepath.board.features import Board
from corepath.job.model import Job, MachineSection
from corepath.lengths import Said, mm
from corepath.motion.program import Setup, Zero
from corepath.stackup.measuring.places_to_measure import measuring_places
from corepath.work.works import Work

__all__ = [
    "FOLDER",
    "SPAN",
    "TouchWork",
    "Untouched",
    "height_name",
    "touch_works",
]

Kind = Literal["z", "edges", "holes", "thickness"]
Point = tuple[float, float]

FOLDER = "touch"
"""Folder of these files within that of a plan."""
ROUGH = 3.0
"""mm by which X and Y, set by eye, may be off before a squared blank is felt for."""
SPAN = 10.0
"""mm that the tip feels downwards from where it is brought by hand."""
_BESIDE = 12.0
"""mm that probe and collet keep from obstacles at the edges (common practice, no source)."""
_SQUARED = 2.0
"""mm by which a squared blank may be longer or shorter than the job says."""
_UNDER = 1.0
"""mm by which the middle of the ball must lie below the top of what it feels for."""
_HOLE = 1.5
"""mm by which a hole must be wider than the ball that feels for its walls."""


@dataclass(frozen=True, slots=True)
class TouchWork:
    """What one file feels for. `ball` is the diameter of the probe's tip (0: a cutter on a plate),
    `plate` the thickness of the plate on the touched face. `top` is the nominal height of the
    blank, `size` its length and width, `level` the height of the tip while it feels sideways,
    `rough` how far X and Y may be off before, `reach` how far behind the expected place of a wall
    is felt for it, `clear` the height that clears blank and obstacles. `places` are holes or places
    to measure, `hole` is the diameter of the holes; `at` is the Y of the left and right and the X
    of the front and back edge at which they are felt. `call` is the tool whose length the control
    holds, None if it holds none."""

    kind: Kind
    setup: Setup
    zero: Zero
    ball: float
    plate: float
    top: float
    clear: float
    size: tuple[float, float]
    suffix: str = ""
    level: float = 0.0
    rough: float = ROUGH
    reach: float = 0.0
    places: tuple[Point, ...] = ()
    hole: float = 0.0
    at: Point = (0.0, 0.0)
    call: int | None = None

    @property
    def stem(self) -> str:
        return f"{self.setup}-{self.kind}{self.suffix}"


@dataclass(frozen=True, slots=True)
class Untouched:
    """A file that is not made, and `why`."""

    stem: str
    why: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "why", Said(self.why))


def touch_works(
    job: Job, board: Board, works: Sequence[Work]
) -> tuple[tuple[TouchWork, ...], tuple[Untouched, ...]]:
    """Return what is felt for before the `works` still to be cut, and what cannot be; nothing where
    the machine has no probe."""
    made: list[TouchWork] = []
    missed: list[Untouched] = []
    if job.machine.probe == "none":
        return (), ()
    for setup in dict.fromkeys(work.setup for work in works):
        mine = [work for work in works if work.setup == setup]
        for found in (*_sideways(job, board, mine), *_heights(job, mine)):
            if isinstance(found, Untouched):
                missed.append(found)
            else:
                made.append(found)
    return tuple(made), tuple(missed)


def _heights(job: Job, works: Sequence[Work]) -> Iterator[TouchWork]:
    """Yield one file for each zero of Z in a set-up, felt for by a cutter on the plate, or by the
    probe where the control knows its length."""
    machine = job.machine
    by_ball = machine.probe_plate is None
    if by_ball and not machine.length_offset:
        return
    zeros = {(work.zero.system, work.zero.on): work for work in reversed(works) if not work.kept}
    for work in reversed(zeros.values()):
        yield TouchWork(
            "z", work.setup, work.zero,
            ball=(machine.probe_tip or 0.0) if by_ball else 0.0,
            plate=machine.probe_plate or 0.0, top=work.look[2], clear=work.clear,
            size=(job.blank.length, job.blank.width), suffix=f"-{height_name(work.zero)}",
            call=_called(machine, machine.probe_number if by_ball else work.cutter.number),
        )  # fmt: skip


def height_name(zero: Zero) -> str:
    """Return what Z is touched on as the name of a file says it: `skimmed-face`."""
    return zero.on.removeprefix("the ").replace(" ", "-")


def _called(machine: MachineSection, number: int | None) -> int | None:
    return number if machine.length_offset else None


def _sideways(job: Job, board: Board, works: Sequence[Work]) -> Iterator[TouchWork | Untouched]:
    """Yield what the ball of a probe feels for: edges or holes, and in A the raw top."""
    first, ball = works[0], job.machine.probe_tip
    if ball is None or first.setup == "D":
        return
    # X and Y of each coordinate system that the set-up uses
    systems = {work.zero.system: work for work in reversed(works)}
    for system, work in reversed(systems.items()):
        base = _base(job, work, ball)
        if system != first.zero.system:
            base = replace(base, suffix=f"-{system.lower()}")
        if work.zero.by == "edges":
            yield _edges(job, work, base)
        elif work.zero.dowels:
            yield _holes(board, base)
    if first.setup == "A" and first.zero.z == 0.0 and job.blank.measured is None:
        yield _thickness(job, board, _base(job, first, ball))


def _base(job: Job, work: Work, ball: float) -> TouchWork:
    """Return what files of a ball have in common."""
    return TouchWork(
        "edges", work.setup, work.zero, ball=ball, plate=0.0, top=work.look[2],
        clear=work.clear, size=(job.blank.length, job.blank.width),
        call=_called(job.machine, job.machine.probe_number),
    )  # fmt: skip


def _edges(job: Job, work: Work, base: TouchWork) -> TouchWork | Untouched:
    ball, reach = base.ball, ROUGH + _SQUARED
    level = min(base.top / 2.0, base.top - ball / 2.0 - _UNDER)
    stem = f"{base.setup}-edges"
    if level < 0.5:
        return Untouched(stem, f"a ball of {mm(ball):g~} is too large for the edge of this blank")
    beyond = 2.0 * (ball + reach)
    for axis, size, room in zip("XY", base.size, job.machine.travel, strict=False):
        needs = size + beyond if base.zero.x == 0.0 else size / 2.0 + beyond
        if needs > room:
            says = f"{axis} would need {mm(needs):.0f~}, and the machine has {mm(room):.0f~}"
            return Untouched(stem, says)
    at = _free_at(work, base, reach)
    if at is None:
        return Untouched(stem, "clamps stand in the way at the edges")
    return replace(base, level=level, reach=reach, at=at)


def _free_at(work: Work, base: TouchWork, reach: float) -> Point | None:
    """Return the Y of the left and right, and the X of the front and back edge, at which the probe
    keeps off all obstacles; None where there is none."""
    (length, width), out = base.size, base.ball + reach
    found = []
    for across, along, flipped in ((length, width, False), (width, length, True)):
        for share in (0.0, -0.15, 0.15, -0.3, 0.3):
            at = share * along
            ways = [
                ((side * across / 2.0, at), (side * (across / 2.0 + out), at)) for side in (-1, 1)
            ]
            ways = [tuple((y, x) for x, y in way) if flipped else way for way in ways]  # type: ignore[misc]
            lines = [LineString(way).buffer(_BESIDE) for way in ways]
            if not any(one.area.intersects(line) for one in work.obstacles for line in lines):
                found.append(at)
                break
    return (found[0], found[1]) if len(found) == 2 else None


def _holes(board: Board, base: TouchWork) -> TouchWork | Untouched:
    hole = min(dowel.diameter for dowel in board.dowels)
    if base.zero.by == "pins":  # holes of the bare bed
        top, floor = 0.0, -min(dowel.depth_in_bed for dowel in board.dowels)
    else:
        top, floor = base.top, max(dowel.stand for dowel in board.dowels)
    level = top - _UNDER - 1.0 - base.ball / 2.0
    stem = f"{base.setup}-holes"
    if hole - base.ball < _HOLE:
        says = (
            f"the holes are {mm(hole):g~} wide: only a ball of at most {mm(hole - _HOLE):g~} finds "
            "their middle"
        )
        return Untouched(stem, says)
    if level - floor < 1.0:
        says = f"the dowels stand too high in their holes for a ball of {mm(base.ball):g~}"
        return Untouched(stem, says)
    # off by this along both axes the ball still comes down inside the hole
    rough = 0.6 * (hole - base.ball) / 2.0
    return replace(
        base, kind="holes", level=level, rough=rough, reach=rough + 0.7,
        places=base.zero.dowels, hole=hole,
    )  # fmt: skip


def _within(value: float, most: float) -> float:
    return max(-most, min(most, value))


def _thickness(job: Job, board: Board, base: TouchWork) -> TouchWork | Untouched:
    # X and Y are set by eye and the blank may be smaller: nearer the rim the ball would miss it
    rim = base.rough + (_SQUARED + base.ball) / 2.0
    half = [size / 2.0 - rim for size in base.size]
    places = tuple(
        (_within(one.x, half[0]), _within(one.y, half[1])) for one in measuring_places(job, board)
    )
    if not places:
        return Untouched(f"{base.setup}-thickness", "no place of the blank is free")
    return replace(base, kind="thickness", places=places)
