"""Rehearsals: for each set-up a program that traces what its files will travel, high up and with
the spindle off.

Bed frame of the set-up, mm. The first cutter is fitted and touched; its tip shows the places. It
comes down at feed to a stop, which shows whether Z is right; it stops over each dowel (in D over
the mark of X and Y zero), which shows X and Y, and over the place where Z is touched; it traces the
rectangle that all files of the set-up stay in, and a rectangle around each obstacle in or near it,
all at the highest of their safe heights; then it parks. What shows the zero comes first: if that is
wrong, no long way has been travelled yet.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from shapely import box

from corepath.gcode.write import Extents, write
from corepath.job.pose import pose_of
from corepath.lengths import mm
from corepath.motion.clock import minutes
from corepath.motion.program import Approach, Pass, Program, Setup, line, rapid
from corepath.plain_text import sha256_of
from corepath.planning.make import MadeFile, heading_of
from corepath.planning.prepare import Prepared
from corepath.reported import Key, report_keys
from corepath.work.approach import seen_from

__all__ = ["FOLDER", "Rehearsal", "rehearsals"]

FOLDER = "rehearsal"
# mm that the spindle's body may reach beyond the tip, so that an obstacle this near the rectangle
# matters too (common practice, no source)
_BESIDE = 50.0
_LEAST = 0.01  # mm: a smaller piece of an obstacle is not walked round
_WATCH = (
    "clamps and screws, the vacuum hose and cables along the whole way",
    "the tip over each mark: cross or hole of a dowel, mark of the cradle",
)


@report_keys(Key("file", "name"), "setup", "extents", "sha256")
@dataclass(frozen=True, slots=True)
class Rehearsal:
    """One file: `name` with its folder, the set-up, text and extents (program coordinates, mm)."""

    name: str
    setup: str
    text: str
    extents: Extents

    @property
    def sha256(self) -> str:
        return sha256_of(self.text)


def rehearsals(prepared: Prepared, made: Sequence[MadeFile]) -> tuple[Rehearsal, ...]:
    """Return one rehearsal for each set-up that has files, in their order."""
    found = []
    for setup in dict.fromkeys(one.program.setup for one in made):
        found.append(_rehearsal(prepared, [one for one in made if one.program.setup == setup]))
    return tuple(found)


def _rehearsal(prepared: Prepared, made: Sequence[MadeFile]) -> Rehearsal:
    machine, first = prepared.job.machine, made[0]
    setup = first.program.setup
    way = _way_down(prepared, made)
    program = Program(
        stem=f"{setup}-rehearsal",
        order=0,
        setup=setup,
        name="rehearsal",
        cutter=first.program.cutter,
        cutting=first.program.cutting,
        zero=first.program.zero,
        clear=way.height,
        park=first.program.park,
        passes=tuple(_passes(prepared, made, way)),
        watch=_WATCH,
        spindle=False,
        approach=way,
    )
    spent = minutes(program.passes, machine.motion_limits, park=program.park)
    written = write(
        program, heading_of(prepared, setup, spent), machine=machine, units=prepared.job.units
    )
    return Rehearsal(f"{FOLDER}/{program.stem}.nc", setup, written.text, written.extents)


def _way_down(prepared: Prepared, made: Sequence[MadeFile]) -> Approach:
    """Return the first way down: at feed, to a height that is clear even if the zero of the set-up
    before is still set."""
    work = made[0].work
    clear = max(one.program.clear for one in made)
    way = work.approach or seen_from(work, clear, prepared.job.machine.rapid)
    rise = max(0.0, clear - way.height)
    # `above` and `otherwise` are the heights over the face that the file's words tell the operator:
    # they must rise with it.
    return replace(
        way, height=way.height + rise, above=way.above + rise, otherwise=way.otherwise + rise
    )


def _passes(prepared: Prepared, made: Sequence[MadeFile], way: Approach) -> Iterator[Pass]:
    """Yield a pass for each thing to look at; its words are shown at the stop after it."""
    program = made[0].program
    x0, y0, x1, y1 = _travelled(made)
    yield from _marks(program, way)
    touch = _touch(prepared, program.setup)
    if touch is not None:
        yield _walk([touch], way, "over the place where Z is touched")
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
    yield _walk(corners, way, "round all that the files of this set-up travel")
    number = 0
    # Obstacles are traced no farther out than the machine's travel allows in all.
    room = prepared.job.machine.travel
    beside_x, beside_y = (
        max(0.0, min(_BESIDE, (room[k] - span) / 2)) for k, span in enumerate((x1 - x0, y1 - y0))
    )
    around = box(x0 - beside_x, y0 - beside_y, x1 + beside_x, y1 + beside_y)
    for obstacle in made[0].work.obstacles:
        near = obstacle.area.intersection(around)
        if near.area <= _LEAST:
            continue
        number += 1
        a, b, c, d = near.bounds
        corners = [(a, b), (c, b), (c, d), (a, d), (a, b)]
        yield _walk(corners, way, f"round obstacle {number}, {mm(obstacle.height):g~} high")


def _marks(program: Program, way: Approach) -> Iterator[Pass]:
    """Yield the passes that check X and Y: over the crosses of the dowels, later over their holes;
    in the cradle over its mark."""
    zero = program.zero
    if zero.by == "cradle":
        yield _walk([(0.0, 0.0)], way, "over the middle line and X0 of the cradle")
    mark = "pencil cross" if program.setup == "A" else "hole"
    for number, place in enumerate(zero.dowels, start=1):
        high = f"{mm(way.above):.1f~} up"
        yield _walk([place], way, f"over the {mark} of dowel {number}, {high}")


def _walk(places: Sequence[tuple[float, float]], way: Approach, message: str) -> Pass:
    """Return a pass from place to place at the height and feed of the level part of the first way
    down."""
    (x, y), *others = places
    return Pass.of(
        [rapid(x, y, way.height), *(line(a, b, way.height, way.walk) for a, b in others)], message
    )


def _travelled(made: Sequence[MadeFile]) -> tuple[float, float, float, float]:
    """Return the rectangle of all files on the bed: least x, least y, largest x, largest y."""
    ends = [
        (one.extents.x[k] + one.program.zero.x, one.extents.y[k] + one.program.zero.y)
        for one in made
        for k in (0, 1)
    ]
    xs, ys = zip(*ends, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _touch(prepared: Prepared, setup: Setup) -> tuple[float, float] | None:
    """Return where a face is touched in a set-up; None where Z is touched on the bed alone."""
    machine = prepared.job.machine
    if machine.touch_at is None and machine.z_zero == "bed":
        return None
    return pose_of(prepared.job, setup).touch
