"""From a chip load to rpm, feeds and depths of a cutter.

Lengths in mm, feeds in mm/min. Relation of feed, teeth and speed: v_f = f_z z n (textbook of
machining). Shares of feed and diameter are settable and otherwise common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from corepath.motion.cutter import Cutter, Cutting, Origin
from corepath.motion.feeds.chips import LEAST_CHIP, greatest_share

__all__ = ["LARGEST_RAISE", "RAMP_SHARE", "CuttingData", "cutting", "raised"]

RAMP_SHARE = 0.5
"""Feed down a ramp or helix as a share of the feed sideways (common practice, no source)."""

LARGEST_RAISE = 2.0
"""A feed is raised for thin chips by this factor at most (common practice, no source): where a pass
meets more stock than planned, at a corner or on a wavy wall, the chip is then no thicker than twice
what is meant."""


def raised(cutter: Cutter, width: float, depth: float) -> float:
    """Returns the factor, 1 to `LARGEST_RAISE`, by which the feed may rise so that the thickest
    chip is again the chip load, for a cut `width` mm wide and `depth` mm deep."""
    share = greatest_share(cutter, width, depth)
    return LARGEST_RAISE if share * LARGEST_RAISE <= 1.0 else max(1.0, 1.0 / share)


@dataclass(frozen=True, slots=True)
class CuttingData:
    """What a cutter is to be run at, as job and tables give it, before the machine's limits.

    `chip_load` is the feed a tooth (mm); a `feed` (mm/min) wins over it. The depth of a layer,
    `depth_a_pass` (mm), is half the diameter where none is given. The feed straight down is
    `plunge_share` of the feed, that on a ramp `ramp_share`; not given, half of it, but no less than
    the plunge feed or, up to the whole feed, than what keeps the edge from rubbing. `stepover` in
    mm.
    """

    chip_load: float
    rpm: float
    plunge_share: float
    depth_a_pass: float | None = None
    stepover: float = 0.0
    ramp_share: float | None = None
    feed: float | None = None


def cutting(
    cutter: Cutter,
    data: CuttingData,
    rpm_range: tuple[float, float],
    *,
    fastest: float = math.inf,
    light: tuple[float, float] | None = None,
    origin: Origin | None = None,
) -> Cutting:
    """Returns how `cutter` is run.

    The rpm are brought into `rpm_range`, and the feed goes with them, so that the chip stays.
    Nothing goes faster than `fastest`, nor deeper than the cutting length. A drill goes straight
    down and nowhere else: its feed is its chip load, whatever the plunge share says. `light` is the
    (width, depth) of a finishing pass, mm: its feed is raised for thin chips, except where the feed
    is the shop's own figure.

    >>> from corepath.motion.cutter import Cutter
    >>> cutter = Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 30.0)
    >>> run = cutting(cutter, CuttingData(0.1, 18000.0, 0.25), (8000.0, 24000.0))
    >>> run.feed, run.ramp, run.plunge, run.finish, run.depth
    (3600.0, 1800.0, 900.0, 3600.0, 3.0)
    """
    slowest, quickest = rpm_range
    speed = float(min(max(data.rpm, slowest), quickest))
    feed = data.chip_load * cutter.flutes * speed if data.feed is None else data.feed
    sideways = min(feed, fastest)
    plunge = sideways if cutter.shape == "drill" else data.plunge_share * sideways
    ramp = (
        data.ramp_share * sideways
        if data.ramp_share is not None
        else _ramp(sideways, plunge, cutter.flutes * speed)
    )
    factor = 1.0 if light is None or data.feed is not None else raised(cutter, *light)
    depth = cutter.diameter / 2.0 if data.depth_a_pass is None else data.depth_a_pass
    return Cutting(
        rpm=speed,
        feed=round(sideways, 6),
        ramp=round(ramp, 6),
        plunge=round(plunge, 6),
        depth=min(depth, cutter.cutting_length),
        stepover=round(data.stepover, 6),
        finish=round(min(factor * sideways, fastest), 6),
        origin=origin or Origin(),
    )


def _ramp(sideways: float, plunge: float, teeth: float) -> float:
    """Half the feed, but neither under the `plunge` nor so slow that the edge rubs; `teeth` pass a
    minute."""
    return max(RAMP_SHARE * sideways, plunge, min(sideways, LEAST_CHIP * teeth))
