"""What to buy and lay ready for one core: blank, resin and cups, dowels, cutters, inserts, tape.

All of it is known elsewhere; it is gathered here, and nothing is worked out anew.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.job.tables.builtin import part_words
from corepath.lengths import MM_PER_INCH, Said, either, marked, mm
from corepath.motion.cutter import cutter_words
from corepath.reported import Key, report_keys
from corepath.stackup.pour.pour import PourPlan
from corepath.stackup.stackup import Stackup
from corepath.work.works import Work

__all__ = ["Ready", "lay_ready"]

_TAPE_TURN = 0.3
"""Share of the groove's length that tape needs more than it, in pieces along a curve (common
practice, no source)."""


@report_keys("what", "count", Key("says", "message"))
@dataclass(frozen=True, slots=True)
class Ready:
    """One thing to lay ready: `what` it is, how many, and its size and kind in words."""

    what: str
    count: int
    message: str


def lay_ready(
    stack: Stackup, board: Board, works: Sequence[Work], pour: PourPlan
) -> tuple[Ready, ...]:
    """Returns what one core needs, in the order of the work; `works` are those still to cut."""
    job = stack.job
    return (
        *_wood(stack),
        *_dowels(job),
        *_cutters(works),
        *_resin(pour),
        *_inserts(job),
        *_tape(job, board),
    )


def _wood(stack: Stackup) -> Iterator[Ready]:
    blank = stack.job.blank
    size = f"{mm(blank.length):g} × {mm(blank.width):g}"
    thick = f"{mm(stack.heights.blank.nominal):.2f}"
    yield Ready("blank", 1, Said(f"{size} × {thick}, {blank.wood}"))
    yield Ready("spoil board", 1, Said(f"{mm(blank.spoil_board):g} thick, larger than the blank"))


def _dowels(job: Job) -> Iterator[Ready]:
    sizes = Counter((dowel.diameter, dowel.depth_in_bed + dowel.stand) for dowel in job.dowel)
    for (diameter, length), count in sorted(sizes.items()):
        yield Ready(
            "dowel", count, Said(f"diameter {mm(diameter):g}, {mm(length):.1f} long; wood, plastic")
        )


def _cutters(works: Sequence[Work]) -> Iterator[Ready]:
    used = {work.cutter.number: work.cutter for work in works}
    for _, cutter in sorted(used.items()):
        words = cutter_words(cutter.facts(), " D", " R")
        long = f"edges {mm(cutter.cutting_length):g}, stick-out {mm(cutter.stick_out):g}"
        yield Ready("cutter", 1, Said(f"{words}, {long}"))


def _resin(pour: PourPlan) -> Iterator[Ready]:
    mixed = pour.mixed
    parts = f"{round(mixed.a_g, 2):.0f} g A + {round(mixed.b_g, 2):.0f} g B"
    extra = f"{pour.extra * 100:.0f} % extra counted"
    yield Ready("resin", 1, f"{pour.resin}: {parts}, {extra}")
    yield Ready("cup", len(pour.cups.cups), "for mixing; a scale, gloves, goggles, the data sheets")


def _inserts(job: Job) -> Iterator[Ready]:
    for insert in job.insert:
        says = Said(f"{insert.name}: {marked(part_words(insert))}")
        yield Ready("insert", len(insert.at), says)


def _tape(job: Job, board: Board) -> Iterator[Ready]:
    long = board.outline.exterior.length * (1.0 + _TAPE_TURN)
    words = either(f"{long / 1000.0:.1f} m", f"{long / MM_PER_INCH / 12.0:.0f} ft")
    yield Ready("tape", 1, Said(f"to seal thin floors and dowel holes, {words}"))
    setups = [setup for setup in ("A", "B", "C") if getattr(job.hold, setup) == "tape"]
    if setups:
        yield Ready("tape", 1, f"double-sided, to hold in {', '.join(setups)}")
