"""What is cut into the bed itself, once for all jobs of a shop: its face, the holes of the dowels,
a cross at the middle; and the edge of a blank that is squared. No path.

Frame: Z up from the top of the spoil board as it is touched, mm; X, Y from the middle of the bed,
of the edge from the left end of the finished edge, which lies along X. The board is only cut where
the machine reaches; what is left is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from shapely import LineString, MultiLineString, Point, box, unary_union
from shapely.geometry.base import BaseGeometry

from corepath.errors import Fault
from corepath.job.model import BedSection, Job
from corepath.lengths import mm
from corepath.motion.program import Found, Zero
from corepath.work.cutting.cutters import Chosen, Need, choose
from corepath.work.cutting.hole_cutters import drill_watch, hole_parts
from corepath.work.cutting.running import CutRequest
from corepath.work.keepoff import BESIDE, stand_off
from corepath.work.make_works import milling_of
from corepath.work.works import Facing, Hole, Pocket, Step, Work

__all__ = ["BedWork", "bed_works"]

OVER_EDGE = 2.0
"""mm that the axis passes beyond an edge of the spoil board where the machine reaches so far."""

INTO_BED = 0.5
"""mm that an edge is cut into the spoil board, so that no burr is left (common practice, no
source)."""

LARGEST_OFF = 0.8
"""Share of the cutter's diameter that may be taken off an edge: the rest of it cuts air (common
practice, no source)."""


class BedBlock(NamedTuple):
    """What is cut: a block of this size, and where the zero lies from its middle and its bottom."""

    length: float
    width: float
    thickness: float
    zero: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class BedWork:
    """One file for the bed: `name`, what it does in words, its `work`, and the block it cuts.

    `cut` is all that it lowers, to `floor`, seen from above in the frame of the block's middle.
    `lines` are followed by the axis instead of clearing an area. `told` is what the operator must
    know of it, `key` what to change in the shop file where the machine does not reach.
    """

    name: str
    title: str
    work: Work
    body: BedBlock
    cut: BaseGeometry
    floor: float
    key: str
    lines: MultiLineString | None = None
    told: tuple[str, ...] = ()

    @property
    def stem(self) -> str:
        return f"bed-{self.work.order}-{self.name}"


def bed_works(job: Job, bed: BedSection) -> tuple[tuple[BedWork, ...], list[Fault]]:
    """Return the files of a bed in their order, and the faults where no listed cutter fits."""
    made: list[BedWork] = []
    faults: list[Fault] = []
    for step in (_face, _pins, _cross, _edge):
        for found in step(job, bed):
            if isinstance(found, Fault):
                faults.append(found)
            else:
                made.append(found)
    return tuple(made), faults


_Found = Iterator[BedWork | Fault]


def _work(job: Job, order: int, name: str, chosen: Chosen, top: float, zero: Zero) -> Work:
    """Return a work without what it cuts: the caller adds it."""
    bed = job.bed
    assert bed is not None
    half = tuple(size / 2.0 for size in bed.size)
    reach = tuple(room / 2.0 for room in job.machine.travel[:2])
    park = -min(half[0], reach[0]), min(half[1], reach[1])
    return Work(
        order=order,
        setup="A",
        name=f"bed-{name}",
        cutter=chosen.cutter,
        cutting=chosen.cutting,
        zero=zero,
        blank=box(-half[0], -half[1], half[0], half[1]),
        stock_top=top,
        clear=top + job.machine.safe_z,
        lowest=0.0,
        park=park,
        arcs=job.machine.arcs,
        milling=milling_of(job),
        collet=job.machine.collet_diameter,
    )


def _zero(touch: str, again: bool, by: Found = "bed") -> Zero:
    return Zero(0.0, 0.0, 0.0, touch, again, "the spoil board", by=by)


def _body(bed: BedSection) -> BedBlock:
    return BedBlock(*bed.size, bed.thickness, (0.0, 0.0, bed.thickness))


def _face(job: Job, bed: BedSection) -> _Found:
    asked = CutRequest(1.0 - job.skim.overlap)
    chosen = choose(job, Need("the face of the bed", ("flat",), None, bed.face, "bed.face", asked))
    if isinstance(chosen, Fault):
        yield chosen
        return
    touch = "the spoil board where it is lowest, before it is faced"
    work = _work(job, 1, "face", chosen, 0.0, _zero(touch, False))
    radius = chosen.cutter.radius
    reached = [
        _reach(size, room, radius) for size, room in zip(bed.size, job.machine.travel, strict=False)
    ]
    area = box(-reached[0] / 2, -reached[1] / 2, reached[0] / 2, reached[1] / 2)
    strips = [max(0.0, (size - long) / 2) for size, long in zip(bed.size, reached, strict=True)]
    left = bed.thickness - bed.face
    told = [
        f"it takes {mm(bed.face):g} off: {mm(left):.2f} of the spoil board is left; measure it at "
        "several places and type: corepath bed SHOP.toml --thickness ..."
    ]
    whole = job.machine.travel[0] >= bed.size[0] + 2 * (radius + BESIDE) and not any(strips)
    if whole:
        facing = Facing(work.blank, 0.0, (-bed.face,), 0)
        made, cut = replace(work, lowest=-bed.face, facing=facing), work.blank
    else:
        pocket = Pocket("bed", area, 0.0, -bed.face, thin=False, proud=True)
        made = replace(work, lowest=-bed.face, pockets=(pocket,))
        # the cutter does not come into the corners of what it reaches
        cut = area.buffer(-radius).buffer(radius, quad_segs=64).intersection(work.blank)
        told += _strip_words(strips)
        if all(strips):
            told.append("the corners of what is faced stay round, by half the cutter")
    title = "face the spoil board"
    yield BedWork("face", title, made, _body(bed), cut, -bed.face, "bed.size", told=tuple(told))


def _reach(size: float, room: float, radius: float) -> float:
    """Return how much of a side is faced: all of it and a little beyond, or what the cutter sweeps
    within the machine's travel."""
    return min(size + 2.0 * (radius + OVER_EDGE), room + 2.0 * radius)


def _strip_words(strips: list[float]) -> Iterator[str]:
    for axis, strip in zip("XY", strips, strict=True):
        if strip > 0.0:
            yield (
                f"the machine does not reach a strip {mm(strip):.1f} wide at either end along "
                f"{axis}: it stands higher, no blank may lie on it"
            )


def _pins(job: Job, bed: BedSection) -> _Found:
    if not bed.pins:
        return
    holes = tuple(
        Hole(f"pin {k}", *pin, 0.0, (Step(bed.pin_diameter, -bed.pin_depth),))
        for k, pin in enumerate(bed.pins, start=1)
    )
    parts = hole_parts(job, "the pin holes of the bed", "bed.pin_diameter", holes, True)
    if isinstance(parts, Fault):
        yield parts
        return
    chosen = parts[0].chosen
    work = _work(job, 2, "pins", chosen, 0.0, _zero("the faced spoil board", True))
    cut = unary_union([Point(pin).buffer(bed.pin_diameter / 2, quad_segs=64) for pin in bed.pins])
    watch = (*drill_watch(chosen.cutter), "only once: dowels of all jobs stand in these holes")
    made = replace(work, lowest=-bed.pin_depth, holes=holes, watch=watch)
    title = f"drill {len(holes)} holes for dowels"
    yield BedWork("pins", title, made, _body(bed), cut, -bed.pin_depth, "bed.pins")


def _cross(job: Job, bed: BedSection) -> _Found:
    chosen = _smallest(job)
    if isinstance(chosen, Fault):
        yield chosen
        return
    work = _work(job, 3, "cross", chosen, 0.0, _zero("the faced spoil board", True))
    arm = bed.cross / 2.0
    lines = MultiLineString([[(-arm, 0.0), (arm, 0.0)], [(0.0, -arm), (0.0, arm)]])
    cut = lines.buffer(chosen.cutter.radius, quad_segs=64)
    made = replace(work, lowest=-bed.cross_depth)
    yield BedWork(
        "cross", "mark X0 Y0 by a cross", made, _body(bed), cut, made.lowest, "bed.cross", lines
    )


def _smallest(job: Job) -> Chosen | Fault:
    flat = [one for one in job.cutter if one.shape == "flat"]
    width = min((one.diameter for one in flat), default=0.0) + 0.1
    return choose(job, Need("the cross of the bed", ("flat",), width, 0.0, "bed.cross"))


def _edge(job: Job, bed: BedSection) -> _Found:
    if bed.edge is None:
        return
    length, thickness = bed.edge
    need = Need("the edge of a blank", ("flat",), None, thickness + INTO_BED, "bed.edge")
    chosen = choose(job, need)
    if isinstance(chosen, Fault):
        yield chosen
        return
    radius = chosen.cutter.radius
    off = LARGEST_OFF * 2.0 * radius
    work = _work(job, 4, "edge", chosen, thickness, _zero("the bed beside the blank", True, "edge"))
    out = stand_off(work)
    ends = [(length + out, -radius), (-out, -radius)]
    # with a spindle that turns clockwise the blank on the right is climb milling
    ways = ends[::-1] if work.milling.conventional else ends
    # the block of the simulation: the blank with what is taken off its front edge
    width = 60.0 + off
    middle = (length / 2.0, width / 2.0 - off)
    body = BedBlock(length, width, thickness, (-middle[0], -middle[1], 0.0))
    cut = box(-length / 2.0, -width / 2.0, length / 2.0, -middle[1])
    told = (
        f"the rough edge may stand at most {mm(off):.1f} beyond the line; what is behind it stays",
        "hold the blank from above or by tape: the offcut comes loose",
    )
    made = replace(work, lowest=-INTO_BED, park=(-out, -radius), watch=told)
    line = MultiLineString([LineString(ways)])
    title = "square the front edge of a blank"
    yield BedWork("edge", title, made, body, cut, made.lowest, "bed.edge", line, told)
