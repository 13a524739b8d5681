"""Feeds and speeds: from what a tooth may cut to rpm, feeds and depths of a cutter.

Lengths in mm, feeds in mm/min. Relation of feed, teeth and speed: v_f = f_z z n (textbook of machining).
Shares of feed and diameter are settable and otherwise common practice, no source.
"""

from __future__ import annotations

from corepath.motion.cutter import Cutter, Cutting

__all__ = ["LARGEST_CHIP_SHARE", "LEAST_CHIP", "RAMP_SHARE", "chip_caution", "cutting"]

RAMP_SHARE = 0.5
"""Feed down a ramp or helix as a share of the feed sideways (common practice, no source)."""

LEAST_CHIP = 0.02
"""Thinner than this, mm, an edge rubs instead of cutting (common practice, no source)."""

LARGEST_CHIP_SHARE = 0.1
"""Thicker than this share of its diameter a chip overloads the cutter (common practice, no source)."""


def cutting(
    cutter: Cutter,
    chip_load: float,
    rpm: float,
    rpm_range: tuple[float, float],
    depth_a_pass: float | None,
    plunge_share: float,
    *,
    stepover_share: float = 0.4,
) -> Cutting:
    """How `cutter` is run.

    `chip_load` is the feed a tooth (mm); `rpm` is brought into `rpm_range`, and the feed goes with it, so
    that the chip stays. The depth of a layer is half the diameter where none is given, and never more than
    the cutting length. The feed on a ramp is half the feed, or the plunge feed where that is more.

    >>> from corepath.motion.cutter import Cutter
    >>> cutting(Cutter(1, "flat", 6.0, 0.0, 2, 22.0, 30.0), 0.1, 18000.0, (8000.0, 24000.0), None, 0.25)
    Cutting(rpm=18000.0, feed=3600.0, ramp=1800.0, plunge=900.0, depth=3.0, stepover=2.4)
    """
    slowest, fastest = rpm_range
    speed = float(min(max(rpm, slowest), fastest))
    feed = chip_load * cutter.flutes * speed
    plunge = plunge_share * feed
    depth = cutter.diameter / 2.0 if depth_a_pass is None else depth_a_pass
    return Cutting(
        rpm=speed,
        feed=round(feed, 6),
        ramp=round(max(RAMP_SHARE * feed, plunge), 6),
        plunge=round(plunge, 6),
        depth=min(depth, cutter.cutting_length),
        stepover=round(stepover_share * cutter.diameter, 6),
    )


def chip_caution(cutter: Cutter, chip_load: float) -> str | None:
    """What is doubtful about `chip_load` (mm a tooth), or None. Advice only: tables disagree by a factor of two."""
    if chip_load < LEAST_CHIP:
        return f"T{cutter.number}: {chip_load:g} mm a tooth is below {LEAST_CHIP:g} mm, the edge rubs and burns"
    largest = LARGEST_CHIP_SHARE * cutter.diameter
    if chip_load > largest:
        return f"T{cutter.number}: {chip_load:g} mm a tooth is above {largest:g} mm, a tenth of the diameter"
    return None
