"""What each kind of cut of an operation asks of cutter and spindle, from the work alone.

Lengths in mm, feeds in mm/min, removal in cm³/min, power in W, forces in N. An operation is taken
apart into *cuts*: the full-width lap, clearing beside it, the light lap (a finishing lap on a wall,
or a line of the finished deck), a hole straight down. Each is taken at its heaviest: a layer of
full depth, a finishing lap as deep as the pocket.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from corepath.job.tables.cutting_table import Energy
from corepath.motion.feeds.chips import (
    effective_diameter,
    greatest_share,
    on_straight_wall,
    rim_diameter,
    scallop_step,
    surface_speed,
)
from corepath.motion.feeds.deflection import bending
from corepath.motion.feeds.power import (
    power,
    removal,
    removal_down,
    side_load,
    tangential_force,
    torque,
)
from corepath.motion.reachable import bend_feed
from corepath.reported import Key, report_keys
from corepath.work.checks.limit_checks import depth_of
from corepath.work.cutting.running import turn_allowance
from corepath.work.works import SAME_SIZE, Trim, Work

__all__ = ["Load", "PlannedCut", "cuts_of", "heaviest", "load_of", "rim_of"]


@dataclass(frozen=True, slots=True)
class PlannedCut:
    """One kind of cut: radial `width` and axial `depth` of cut (mm), as along a straight wall, and
    its feed.

    `down`: straight down at full diameter. `wall`: it leaves a finished wall. `brief`: so little is
    taken over so short a way that its chip is not judged. `planned` is the feed before a bend slows
    it, `slowest` that on the bends; both 0 where none does.
    """

    name: str
    width: float
    depth: float
    feed: float
    down: bool = False
    wall: bool = False
    brief: bool = False
    planned: float = 0.0
    slowest: float = 0.0

    @property
    def bend_feed(self) -> float:
        return self.slowest or self.feed


@report_keys(
    Key("ae", "cut.width", 3), Key("ap", "cut.depth", 3), Key("cut_feed", "cut.feed", 1),
    Key("bend_feed", "cut.bend_feed", 1), "thinning", "chip", Key("removal", places=2),
    Key("power", "power_range", 1), Key("force", places=2), Key("side_load", "side", 2),
    "deflection", "torque",
)  # fmt: skip
@dataclass(frozen=True, slots=True)
class Load:
    """The load of a cut. `chip` is the thickest chip (mm), `thinning` its share of the feed per
    tooth, `speed` that of the edge (m/min).

    `power` is (low, likely, high) by the energy of the cut. `force` is that along the direction of
    cutting averaged over a turn, `side` what bends the cutter while a tooth cuts, `deflection` is
    at the tip; each is (likely, high), as is `torque` (N·m).
    """

    cut: PlannedCut
    speed: float
    thinning: float
    chip: float
    removal: float
    power: tuple[float, float, float]
    force: tuple[float, float]
    side: tuple[float, float]
    deflection: tuple[float, float]
    torque: tuple[float, float]

    @property
    def power_range(self) -> tuple[float, float]:
        return self.power[0], self.power[2]


def cuts_of(work: Work) -> tuple[PlannedCut, ...]:
    """All kinds of cut of an operation, each at its heaviest."""
    if work.holes:
        return tuple(_of_holes(work))
    if work.pockets:
        return tuple(_of_pockets(work))
    if work.deck is not None and work.deck.rough <= 0.0:
        return tuple(_of_deck(work))
    if work.trim is not None:
        return tuple(_of_trim(work, work.trim))
    axial_depth = min(work.cutting.depth, depth_of(work))
    return (PlannedCut("lines", work.cutting.stepover, axial_depth, work.cutting.feed),)


def load_of(work: Work, cut: PlannedCut, energy: Energy) -> Load:
    """Chip, power, forces and deflection of one cut."""
    cutter, run = work.cutter, work.cutting
    speed = surface_speed(effective_diameter(cutter, cut.depth), run.rpm)
    # Straight down each tooth takes its whole feed: no thinning.
    share = 1.0 if cut.down else greatest_share(cutter, cut.width, cut.depth)
    removed = (
        removal_down(cutter.diameter, cut.feed)
        if cut.down
        else removal(cut.width, cut.depth, cut.feed)
    )
    watts = [power(u, removed) for u in (energy.low, energy.likely, energy.high)]
    likely, high = (tangential_force(each, speed) for each in watts[1:])
    # A ball or bull cuts with less than its diameter at this depth.
    across = effective_diameter(cutter, cut.depth)
    sides = [
        0.0 if cut.down else side_load(force, cut.width, across, cutter.flutes)
        for force in (likely, high)
    ]
    return Load(
        cut=cut,
        speed=speed,
        thinning=share,
        chip=share * cut.feed / (cutter.flutes * run.rpm),
        removal=removed,
        power=(watts[0], watts[1], watts[2]),
        force=(likely, high),
        side=(sides[0], sides[1]),
        deflection=(bending(cutter, sides[0]), bending(cutter, sides[1])),
        torque=(torque(watts[1], run.rpm), torque(watts[2], run.rpm)),
    )


def _of_pockets(work: Work) -> Iterator[PlannedCut]:
    cutter, run = work.cutter, work.cutting
    deep = max(pocket.top - pocket.floor for pocket in work.pockets)
    axial_depth = min(run.depth, deep)
    proud = all(pocket.proud for pocket in work.pockets)
    light = 0.0 if proud else work.milling.finish_allowance
    yield PlannedCut(
        "full width", cutter.diameter, axial_depth, run.feed, wall=not proud and light <= 0.0
    )
    yield PlannedCut("ramp", cutter.diameter, axial_depth, run.ramp, brief=True)
    yield PlannedCut("beside it", min(run.stepover, cutter.diameter), axial_depth, run.feed)
    if light > 0.0:
        yield PlannedCut(
            "finishing lap", light, min(deep, cutter.cutting_length), run.finish, wall=True
        )


def _of_trim(work: Work, trim: Trim) -> Iterator[PlannedCut]:
    """Roughing laps at full width, and a finishing lap as deep as the board is thick."""
    cutter, run = work.cutter, work.cutting
    yield PlannedCut(
        "full width", cutter.diameter, min(run.depth, trim.depth), run.feed, wall=trim.finish <= 0.0
    )
    if trim.finish > 0.0:
        yield PlannedCut(
            "finishing lap",
            trim.finish,
            min(trim.depth, cutter.cutting_length),
            trim.feed,
            wall=True,
        )


def _of_holes(work: Work) -> Iterator[PlannedCut]:
    """Holes of the cutter's own size are made straight down, wider ones by a helix and a finishing
    pass.

    On a small circle the machine moves no faster than sqrt(acceleration · radius).
    """
    cutter, run = work.cutter, work.cutting
    steps = [(hole, step) for hole in work.holes for step in hole.steps]
    rounds = [(hole, step) for hole, step in steps if step.diameter - cutter.diameter > SAME_SIZE]
    if len(rounds) < len(steps) or cutter.shape == "drill":
        yield PlannedCut("straight down", cutter.diameter, run.depth, run.plunge, down=True)
        if any(hole.breaks_through is not None for hole in work.holes):
            yield PlannedCut(
                "breaking through", cutter.diameter, run.depth, run.plunge / 2.0, down=True
            )
    if not rounds or cutter.shape == "drill":
        return
    # The tightest circle slows the feed most and thickens the finishing turn most: it stands for
    # all holes of the file.
    tightest = min((step.diameter for _, step in rounds)) / 2.0
    radius = tightest - cutter.radius
    curve = bend_feed(work.milling.limits.accel, radius)
    deep = min(max(hole.top - step.floor for hole, step in rounds), cutter.cutting_length)
    light = turn_allowance(work.milling.finish_allowance, radius)
    yield PlannedCut(
        "helix",
        cutter.diameter,
        min(run.depth, deep),
        min(run.ramp, curve),
        wall=light <= 0.0,
        planned=run.ramp,
    )
    if light > 0.0:
        width = on_straight_wall(light, cutter.diameter, tightest)
        real = min(run.finish, curve)
        yield PlannedCut(
            "finishing turn", width, deep, real, wall=True, brief=True, planned=run.finish
        )


def _of_deck(work: Work) -> Iterator[PlannedCut]:
    deck, cutter, run = work.deck, work.cutter, work.cutting
    if deck is None:
        return
    # Never more than the stock, whatever the margins of `deepest` add up to.
    depth = min(deck.deepest, work.stock_top - work.lowest)
    across = effective_diameter(cutter, depth)
    yield PlannedCut("first line", across, depth, run.feed)
    yield PlannedCut(
        "lines", min(run.stepover, scallop_step(cutter, deck.scallop), across), depth, run.finish
    )


def rim_of(work: Work) -> float:
    """Largest diameter, mm, of the cutter that meets stock in any cut of the work."""
    depths = [cut.depth for cut in cuts_of(work)]
    return max((rim_diameter(work.cutter, deep) for deep in depths), default=work.cutter.diameter)


def heaviest(loads: tuple[Load, ...]) -> Load:
    """The cut that asks most power of the spindle."""
    # Rounded, so that a tie goes by name on every machine.
    return max(loads, key=lambda load: (round(load.power[1], 6), load.cut.name))
