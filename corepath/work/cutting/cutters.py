"""Which listed cutter does which operation.

The largest cutter that fits the narrowest feature and reaches the depth is taken: fewer laps and a
stiffer tool. Where none that fits reaches, the longest of them is taken and the check `reach`
reports it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from corepath.errors import Fault
from corepath.job.model import CutterSection, InsertSection, Job
from corepath.lengths import mm
from corepath.motion.cutter import DECK_SHAPES, Cutter, Cutting
from corepath.work.cutting.running import CutRequest, run
from corepath.work.works import SAME_SIZE

__all__ = ["Chosen", "Need", "candidates", "choose", "chosen", "cutter_faults", "drills_of"]

EASY_FIT = 0.75
"""Largest share of the width of a pocket or hole that a cutter fills with room for a ramp or helix
and for chips."""


@dataclass(frozen=True, slots=True)
class Need:
    """What an operation asks of its cutter: shapes in order of preference, width and depth (mm);
    `key` is the job's key for a fault.

    `asked` is how it is to be run. Over a `thin` floor a down-cut cutter is preferred among cutters
    that are otherwise equal.
    """

    operation: str
    shapes: tuple[str, ...]
    width: float | None
    depth: float
    key: str
    asked: CutRequest = field(default_factory=CutRequest)
    thin: bool = False


@dataclass(frozen=True, slots=True)
class Chosen:
    """A cutter and how it is run for one operation."""

    cutter: Cutter
    cutting: Cutting


def chosen(job: Job, section: CutterSection, asked: CutRequest) -> Chosen:
    """A listed cutter and how it is run."""
    return Chosen(section.cutter, run(job, section, asked))


def choose(job: Job, need: Need) -> Chosen | Fault:
    """The cutter for `need`, or the fault that none is listed for it."""
    fitting = [section for section in job.cutter if _fits(section, need)]
    if not fitting:
        shapes = " or ".join(need.shapes)
        size = "" if need.width is None else f" of at most {mm(need.width):.2f~}"
        listed = ", ".join(f"T{c.number} {c.shape} {mm(c.diameter):g}" for c in job.cutter)
        return Fault(
            need.key, f"no listed cutter fits {need.operation}", listed, f"a {shapes} cutter{size}"
        )
    return chosen(job, _best(fitting, need), need.asked)


def candidates(job: Job, need: Need) -> list[Chosen]:
    """All listed cutters of the first shape that fit `need` and reach, the largest first; of each
    diameter the best one."""
    able = [
        section
        for section in job.cutter
        if _fits(section, need)
        and section.shape == need.shapes[0]
        and section.cutter.reaches(need.depth)
    ]
    # The best of each diameter comes first in this order.
    found: dict[float, CutterSection] = {}
    for section in sorted(able, key=lambda section: _rank(section, need), reverse=True):
        found.setdefault(section.diameter, section)
    return [chosen(job, section, need.asked) for section in found.values()]


def cutter_faults(job: Job) -> list[Fault]:
    """Faults of operations for which no listed cutter fits, from the job's widths alone, before any
    geometry is made."""
    needs = [
        Need(
            "the dowel holes",
            ("flat", "drill"),
            min(dowel.diameter for dowel in job.dowel),
            0.0,
            "dowel",
        ),
        Need("the groove", ("flat",), job.groove.width, 0.0, "groove"),
        Need("the skim", ("flat", "bull"), None, 0.0, "skim"),
        Need("the deck", DECK_SHAPES, None, 0.0, "deck"),
    ]
    if job.plug:
        needs.append(
            Need(
                "the plug pockets", ("flat",), min(plug.diameter for plug in job.plug), 0.0, "plug"
            )
        )
    if job.insert:
        narrowest = min(_milled(job, insert) for insert in job.insert)
        needs.append(Need("the inserts", ("flat",), narrowest, 0.0, "insert"))
    return [found for found in (choose(job, need) for need in needs) if isinstance(found, Fault)]


def drills_of(job: Job, diameter: float) -> list[CutterSection]:
    """The listed drills of a hole's size."""
    return [c for c in job.cutter if c.shape == "drill" and abs(c.diameter - diameter) <= SAME_SIZE]


def _milled(job: Job, insert: InsertSection) -> float:
    """The narrowest width at an insert that must be milled, mm: its seat where a drill makes the
    bore."""
    bore = insert.bore_diameter
    drilled = job.machine.canned_cycles and drills_of(job, bore)
    return insert.seat_width if drilled else bore


def _fits(section: CutterSection, need: Need) -> bool:
    if section.shape not in need.shapes:
        return False
    if need.width is None:
        return True
    if section.shape == "drill":
        return abs(section.diameter - need.width) <= SAME_SIZE
    return section.diameter <= need.width - SAME_SIZE


def _best(fitting: Sequence[CutterSection], need: Need) -> CutterSection:
    """The preferred shape among those that reach, then an easy fit, then the largest."""
    reaching = [section for section in fitting if section.cutter.reaches(need.depth)]
    # None reaches: the longest, and the check `reach` says by how much it is too short.
    if not reaching:
        return max(
            fitting, key=lambda section: (section.cutting_length, section.diameter, -section.number)
        )
    shape = next(
        shape for shape in need.shapes if any(section.shape == shape for section in reaching)
    )
    shaped = [section for section in reaching if section.shape == shape]
    easy = [section for section in shaped if _easy(section, need)]
    return max(easy or shaped, key=lambda section: _rank(section, need))


def _rank(section: CutterSection, need: Need) -> tuple[float, bool, float, int]:
    # Down-cut flutes press a thin floor onto the bed, up-cut ones lift it.
    presses = need.thin and section.helix == "down"
    return section.diameter, presses, section.cutting_length, -section.number


def _easy(section: CutterSection, need: Need) -> bool:
    return (
        need.width is None or section.shape == "drill" or section.diameter <= EASY_FIT * need.width
    )
