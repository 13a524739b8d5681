"""How a chosen cutter is run: the job's figures, or those of the table for its wood, with the
source of each."""

from __future__ import annotations

from dataclasses import dataclass, replace

from corepath.job.model import CutterSection, Job
from corepath.job.tables.builtin import woods
from corepath.job.tables.cutting_table import chip_from_table, speed_from_table
from corepath.motion.cutter import Cutter, Cutting, Origin
from corepath.motion.feeds import CuttingData, cutting
from corepath.motion.feeds.chips import on_straight_wall, rim_diameter, scallop_step

__all__ = [
    "BELOW_RAPID",
    "FINISH_DEPTH",
    "CutRequest",
    "run",
    "turn_allowance",
    "wood_density",
]

FINISH_DEPTH = 2.0
"""mm; where more stock than this stands over the deck, it is roughed first (common practice, no
source)."""


TURN_ALLOWANCE = 0.1
"""mm; most that a finishing turn takes off the wall of a hole (common practice, no source)."""

TURN_SHARE = 0.1
"""The same as a share of the radius of the turns, so that the turn takes less in a tight hole."""

BELOW_RAPID = 0.9
"""No feed is above this share of the rapid: a control holds a feed at its limit (common practice,
no source)."""

USUAL_STEPOVER = 0.4
"""Width of cut beside a cleared one as a share of the diameter (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class CutRequest:
    """What an operation asks of the way a cutter is run (cut request); mm.

    `stepover_share` of the diameter is the widest step between its lines. `wall` is the radius of
    the tightest round wall that a finishing lap follows on the inside, infinite for straight ones,
    None where there is no such lap. `allowance` is what that lap takes, None for
    `milling.finish_allowance`. `scallop`: it finishes the deck by lines that leave such ridges, in
    stock up to `deep` over it. `resin`: it cuts mostly cast resin. `laminate`: it also cuts the
    skins after lay-up.
    """

    stepover_share: float = USUAL_STEPOVER
    wall: float | None = None
    allowance: float | None = None
    scallop: float | None = None
    deep: float = FINISH_DEPTH
    resin: bool = False
    laminate: bool = False


def run(job: Job, section: CutterSection, asked: CutRequest) -> Cutting:
    """Speed, feeds and depths of a cutter of the job for one operation; feeds in mm/min.

    The cutter's own `stepover` replaces the usual one, and limits a wider one.
    """
    machine, cutter = job.machine, section.cutter
    chip, chip_from = _chip(job, section, asked)
    rpm, rpm_from = _rpm(section, machine.spindle_rpm, asked)
    feed = _own_feed(section, asked, chip, rpm)
    fastest = BELOW_RAPID * machine.rapid
    stepover, own = _stepover(section, asked.stepover_share), asked.allowance
    data = CuttingData(
        chip, rpm, section.plunge_share, section.depth_a_pass, stepover, section.ramp_share, feed
    )
    made = cutting(
        cutter,
        data,
        machine.spindle_rpm,
        fastest=fastest,
        light=_light_cut(
            cutter, stepover, job.milling.finish_allowance if own is None else own, asked
        ),
        origin=Origin(chip_from, rpm_from, "job" if feed is not None else "chip load"),
    )
    if feed is None and made.feed >= fastest:
        says = f"{BELOW_RAPID:g} of machine.rapid, less than the chip load asks for"
        return replace(made, origin=made.origin._replace(feed=says))
    return made


def _light_cut(
    cutter: Cutter, stepover: float, allowance: float, asked: CutRequest
) -> tuple[float, float] | None:
    """Return (width, depth), mm, of the finishing pass of an operation, as along a straight wall;
    None where it has none."""
    if asked.scallop is not None:
        return min(stepover, scallop_step(cutter, asked.scallop)), asked.deep
    if asked.wall is None or allowance <= 0.0 or cutter.shape == "drill":
        return None
    # Inside a round wall the cutter wraps round the wood: the same allowance meets it as a wider
    # cut along a straight one.
    return on_straight_wall(allowance, cutter.diameter, asked.wall), cutter.cutting_length


def turn_allowance(allowance: float, radius: float) -> float:
    """What is left on the wall of a hole for its finishing turn, mm; `radius` is that on which the
    axis circles."""
    return min(allowance, TURN_ALLOWANCE, TURN_SHARE * radius)


def _stepover(section: CutterSection, share: float) -> float:
    asked = share * section.diameter
    if section.stepover is None:
        return asked
    return (
        min(section.stepover, section.diameter)
        if share <= USUAL_STEPOVER
        else min(section.stepover, asked)
    )


def wood_density(job: Job) -> float:
    """Density of the job's wood, kg/m³ at 12 % moisture content."""
    return woods()[job.blank.wood].density.value


def _chip(job: Job, section: CutterSection, asked: CutRequest) -> tuple[float, str]:
    """Chip load (mm) and its source; in a laminate at most the table's, since the cutter's own is
    for wood."""
    own = section.chip_load
    if own is not None and not asked.laminate:
        return own, "job"
    density = wood_density(job)
    figure = chip_from_table(section.diameter, density, resin=asked.resin, laminate=asked.laminate)
    return (
        (own, "job") if own is not None and own <= figure.value else (figure.value, figure.source)
    )


def _rpm(
    section: CutterSection, rpm_range: tuple[float, float], asked: CutRequest
) -> tuple[float, str]:
    figure = speed_from_table(
        rim_diameter(section.cutter, asked.deep),
        section.material,
        rpm_range,
        resin=asked.resin,
        laminate=asked.laminate,
        own=section.rpm,
    )
    return figure.value, figure.source


def _own_feed(section: CutterSection, asked: CutRequest, chip: float, rpm: float) -> float | None:
    """The cutter's own feed, which is for wood, or None; in a laminate only where it asks no more
    of a tooth than `chip`."""
    if asked.laminate and section.feed is not None and section.feed > chip * section.flutes * rpm:
        return None
    return section.feed
