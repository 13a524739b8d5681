"""The checks of feeds and speeds: chip-load, deflection, power and rim-speed.

Each gives the margin of the cut that has the least, and holds when that is not negative. They warn
and never fail, since the energy of a cut in wood is known to a factor of two: `value` is by the
likely energy, `worst` by twice that. Every operation in doubt is named; where there is none, the
one with the least margin. Lengths in mm, feeds in mm/min, power in W.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from corepath.job.model import Job
from corepath.job.tables.cutting_table import Energy, cutting_energy, fastest_rim
from corepath.lengths import cubic_cm_per_min, feed, mm, rim_speed
from corepath.motion.feeds.chips import LARGEST_CHIP_SHARE, LEAST_CHIP, spindle_speed, surface_speed
from corepath.stackup.checks.judge import weakest
from corepath.stackup.checks.verdict import Check
from corepath.stackup.skim import TIE
from corepath.work.cutting.loads import Load, cuts_of, load_of, rim_of
from corepath.work.cutting.running import wood_density
from corepath.work.works import Work

__all__ = ["feed_checks"]


_IN_RESIN = frozenset({"flush", "skim", "deck-rough", "deck"})
"""Operations whose cutter meets castings."""


def feed_checks(job: Job, works: Sequence[Work]) -> tuple[Check, ...]:
    """chip-load, deflection, rim-speed and, where `machine.spindle_power` is given, power; none
    without works."""
    energy = cutting_energy(wood_density(job))
    found: list[Check] = []
    for check in (_chip_load, _deflection, _power):
        found += _told([one for work in works for one in _of(job, work, energy, check)])
    return (*found, *_told([check for work in works for check in _rim_speed(job, work)]))


_Judge = Callable[[Job, Work, Load], "Check | None"]


def _of(job: Job, work: Work, energy: Energy, judge: _Judge) -> Iterator[Check]:
    """The weakest of the cuts of one operation, if any is judged."""
    judged = [judge(job, work, load_of(work, cut, energy)) for cut in cuts_of(work)]
    checks = [check for check in judged if check is not None]
    if checks:
        yield weakest(checks)


def _told(checks: list[Check]) -> list[Check]:
    """All checks in doubt, or the one with the least margin."""
    doubtful = [check for check in checks if check.verdict != "ok"]
    return doubtful or ([weakest(checks)] if checks else [])


@dataclass(frozen=True, slots=True)
class _Margin:
    """What is left up to a limit, likely and at worst."""

    likely: float
    worst: float
    unit: str = "mm"


def _advice(name: str, left: _Margin, work: Work, load: Load, *, message: str, fix: str) -> Check:
    """A check that warns when the margin is negative."""
    holds = left.worst >= -TIE
    where = f"{work.name}, {load.cut.name}"
    return Check(
        id=name,
        verdict="ok" if holds else "caution",
        value=left.likely,
        worst=left.worst,
        rss=left.likely,
        limit=0.0,
        unit=left.unit,
        message=f"{work.cutter.describe()}, {load.cut.name} at {feed(load.cut.feed):.0f~}: "
        f"{message}",
        where=where,
        fix="" if holds else fix,
    )


def _chip_load(job: Job, work: Work, load: Load) -> Check | None:
    """Thickest chip against rubbing and breaking."""
    if load.cut.brief:
        return None
    largest = LARGEST_CHIP_SHARE * work.cutter.diameter
    rubs = load.chip - LEAST_CHIP <= largest - load.chip
    room = load.chip - LEAST_CHIP if rubs else largest - load.chip
    limit = LEAST_CHIP if rubs else largest
    says = (
        f"chip {mm(load.chip):.3f} thick, {'rubs below' if rubs else 'overloads above'} "
        f"{mm(limit):g}"
    )
    return _advice(
        "chip-load",
        _Margin(room, room),
        work,
        load,
        message=says,
        fix=_other_chip(job, work, load, limit),
    )


def _other_chip(job: Job, work: Work, load: Load, limit: float) -> str:
    """Feed or speed at which the chip is at its limit, in words; the speed only where the spindle
    reaches it."""
    # No feed at all would divide by 0.
    factor = limit / max(load.chip, 1e-9)
    rpm, word = work.cutting.rpm / factor, "at least" if factor > 1.0 else "at most"
    ways = [f"cutter.feed {word} {feed(load.cut.feed * factor):.0f~}"]
    slowest, fastest = job.machine.spindle_rpm
    if slowest <= rpm <= fastest:
        ways.append(f"cutter.rpm {'at most' if factor > 1.0 else 'at least'} {rpm:.0f}")
    if load.thinning < 1.0 and factor > 1.0:
        ways.append("a wider cut")
    return ", or ".join(ways)


def _rim_speed(job: Job, work: Work) -> Iterator[Check]:
    """Speed of the rim (m/min) against the fastest of the table, where the cutter meets resin or
    laminate."""
    laid = work.setup == "D"
    if not laid and work.name not in _IN_RESIN:
        return
    cutter, rpm = work.cutter, work.cutting.rpm
    limit = fastest_rim(cutter.material, laminate=laid)
    rim = rim_of(work)
    speed = surface_speed(rim, rpm)
    room = limit.value - speed
    # Rounded down to whole hundreds, so that the advised speed itself holds.
    least = 100.0 * (spindle_speed(rim, limit.value) // 100.0)
    slower = (
        f"rpm at most {least:.0f}" if least >= min(job.machine.spindle_rpm) else "a smaller cutter"
    )
    yield Check(
        id="rim-speed",
        verdict="ok" if room >= -TIE else "caution",
        value=room,
        worst=room,
        rss=room,
        limit=0.0,
        unit="m/min",
        message=f"{cutter.describe()} at {rpm:.0f} rpm: its rim runs at {rim_speed(speed):.0f~}, "
        f"at most {rim_speed(limit.value):.0f~} by the {limit.source}",
        where=work.name,
        fix="" if room >= -TIE else slower,
    )


def _deflection(job: Job, work: Work, load: Load) -> Check | None:
    """Bending of the cutter on a finished wall."""
    if not load.cut.wall:
        return None
    limit = job.limits.deflection
    likely, worst = load.deflection
    says = (
        f"{load.side[0]:.0f} N on {mm(work.cutter.stick_out):g} of stick-out bends it "
        f"{mm(likely):.3f}, {mm(worst):.3f} at worst, of {mm(limit):g}"
    )
    share = limit / max(worst, 1e-9)
    fix = (
        f"stick-out at most {mm(work.cutter.stick_out * share ** (1 / 3)):.1f}, "
        f"feed at most {feed(load.cut.feed * share):.0f~}, "
        f"{mm(load.cut.depth * share):.1f} deep at a time, or a stiffer cutter"
    )
    left = _Margin(limit - likely, limit - worst)
    return _advice("deflection", left, work, load, message=says, fix=fix)


def _power(job: Job, work: Work, load: Load) -> Check | None:
    """Power of the cut against the spindle's."""
    limit = job.machine.spindle_power
    if limit is None:
        return None
    _, likely, worst = load.power
    says = (
        f"{cubic_cm_per_min(load.removal):.0f~} take {likely:.0f} W, {worst:.0f} at worst, "
        f"of {limit:g}"
    )
    share = limit / max(worst, 1e-9)
    fix = (
        f"feed at most {feed(load.cut.feed * share):.0f~}, or {mm(load.cut.depth * share):.2f} "
        "deep at a time"
    )
    left = _Margin(limit - likely, limit - worst, "W")
    return _advice("power", left, work, load, message=says, fix=fix)
