"""What each limit costs of the minutes of a plan's files: the same path, run without it.

Feeds come from the chip load that the cutter's teeth may take; without that limit they are as fast
as the machine runs (`BELOW_RAPID` of its rapid). Acceleration and the deviation allowed at corners
slow the path where it turns. Power and bending never slow a file, they warn: of those it is told
how much of the limit the heaviest cut takes, by the high end of the energy of cutting wood. Times
in minutes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from corepath.job.model import Job
from corepath.job.tables.cutting_table import cutting_energy
from corepath.motion.pass_name import is_run
from corepath.motion.program import Kind, Program
from corepath.planning.make import MadeFile, minutes_of
from corepath.reported import Key, report_keys
from corepath.work.cutting.loads import cuts_of, load_of
from corepath.work.cutting.running import BELOW_RAPID, wood_density
from corepath.work.works import Work

__all__ = ["LimitCosts", "limit_costs"]

_FREE = 1e9
"""mm/s² and mm: an acceleration, and a deviation at corners, that limit nothing."""


@report_keys(
    "file", Key("minutes", places=2), Key("chip_load", places=2), Key("acceleration", places=2),
    Key("corners", places=2), Key("lines", places=2), Key("power", places=2),
    Key("bending", places=2),
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class LimitCosts:
    """A file's `minutes`, and how many of them each limit costs by itself: `chip_load`,
    `acceleration`, the deviation at `corners`, and the `lines` that a control reads in a second.

    `power` and `bending` are the largest shares of their limits, None where nothing is limited.
    """

    file: str
    minutes: float
    chip_load: float
    acceleration: float
    corners: float
    lines: float
    power: float | None
    bending: float | None


def limit_costs(job: Job, made: Sequence[MadeFile], stop: int) -> tuple[LimitCosts, ...]:
    """Return the costs for each file that is run when the skim stops at pass `stop`."""
    return tuple(_costs(job, one) for one in made if is_run(one.program.stem, stop))


def _costs(job: Job, made: MadeFile) -> LimitCosts:
    limits, program = job.machine.motion_limits, made.program
    spent = minutes_of(program, limits)
    free = replace(limits, corner_deviation=_FREE, exact_path=False)
    power, bending = _shares(job, made.work)
    return LimitCosts(
        made.name,
        spent,
        spent - minutes_of(_fastest(program, BELOW_RAPID * limits.rapid), limits),
        spent - minutes_of(program, replace(limits, accel=_FREE)),
        spent - minutes_of(program, free),
        program.reading,
        power,
        bending,
    )


def _fastest(program: Program, feed: float) -> Program:
    """The program with all its feeds raised alike, the highest to `feed` mm/min; not lowered."""
    feeds = [move.feed for one in program.passes for move in one.moves if move.kind != Kind.RAPID]
    share = max(feed / max(feeds), 1.0) if feeds else 1.0
    passes = tuple(
        replace(
            one,
            moves=tuple(
                move if move.kind == Kind.RAPID else move._replace(feed=move.feed * share)
                for move in one.moves
            ),
        )
        for one in program.passes
    )
    return replace(program, passes=passes)


def _shares(job: Job, work: Work) -> tuple[float | None, float | None]:
    """The largest shares of spindle power and of the bending allowed on a finished wall."""
    energy = cutting_energy(wood_density(job))
    loads = [load_of(work, cut, energy) for cut in cuts_of(work)]
    available = job.machine.spindle_power
    power = max((load.power[2] for load in loads), default=None)
    walls = [load.deflection[1] for load in loads if load.cut.wall]
    return (
        None if available is None or power is None else power / available,
        max(walls) / job.limits.deflection if walls else None,
    )
