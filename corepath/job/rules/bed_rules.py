"""What contradicts the bed of a shop: a spoil board that is worn out, pins beside it, dowels whose
holes are not there. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from corepath.job.model import BedSection, BlankSection, DowelSection
from corepath.job.text.positions import Path

__all__ = ["bed_contradictions", "dowel_contradictions"]

_Found = tuple[Path, str, str]

SAME_PLACE = 0.01
"""mm; a dowel this close to a pin hole stands in it."""

_CROSS = 2.0
"""mm; a cross deeper than this is no mark."""


def bed_contradictions(bed: BedSection) -> Iterator[_Found]:
    """Yield what is wrong with the bed alone: path, what is wrong, what is allowed."""
    if bed.thickness < bed.least:
        says = "the spoil board is worn out: lay a new one, and measure it"
        yield ("bed", "thickness"), says, f"at least bed.least, {bed.least:g} mm"
    for key, depth in (("pin_depth", bed.pin_depth), ("face", bed.face)):
        if depth >= bed.thickness:
            says = "goes through the spoil board"
            yield ("bed", key), says, f"less than bed.thickness, {bed.thickness:g} mm"
    if bed.cross_depth > _CROSS:
        yield ("bed", "cross_depth"), "is no mark but a groove", f"at most {_CROSS:g} mm"
    for place, pin in enumerate(bed.pins):
        if not _inside(pin, bed):
            half = f"{bed.size[0] / 2:g} and {bed.size[1] / 2:g} mm"
            yield ("bed", "pins", place), "lies beside the spoil board", f"within {half} of X0 Y0"
        elif any(math.dist(pin, other) < bed.pin_diameter for other in bed.pins[:place]):
            yield ("bed", "pins", place), "meets a hole before it", "places apart from one another"


def _inside(pin: tuple[float, float], bed: BedSection) -> bool:
    edge = bed.pin_diameter / 2.0
    return all(abs(at) + edge <= size / 2.0 for at, size in zip(pin, bed.size, strict=True))


def dowel_contradictions(
    bed: BedSection | None,
    blank: BlankSection | None,
    into_bed: float,
    dowels: Sequence[tuple[int, DowelSection]],
) -> Iterator[_Found]:
    """Yield what is wrong with the dowels, each with its index from 0. `into_bed` is how far a hole
    through the blank reaches into the one that is there."""
    for place, dowel in dowels:
        at = ("dowel", place)
        if blank and dowel.depth_in_bed >= blank.spoil_board:
            says = "the hole would pass through the spoil board"
            allowed = f"less than blank.spoil_board, {blank.spoil_board:g} mm"
            yield (*at, "depth_in_bed"), says, allowed
        if dowel.in_bed == "there":
            yield from _there(at, dowel, bed, into_bed)


def _there(
    at: Path, dowel: DowelSection, bed: BedSection | None, into_bed: float
) -> Iterator[_Found]:
    if dowel.depth_in_bed < into_bed:
        says = "is less than the hole through the blank goes into the one that is there"
        yield (*at, "depth_in_bed"), says, f"at least milling.into_bed, {into_bed:g} mm"
    if bed is None:
        return  # nothing is known of the bed but what the job says
    near = min(bed.pins, key=lambda pin: math.dist(pin, dowel.at), default=None)
    if near is None or math.dist(near, dowel.at) > SAME_PLACE:
        listed = ", ".join(f"[{x:g}, {y:g}]" for x, y in bed.pins) or "none"
        yield (*at, "at"), "no hole is there in the bed", f"one of bed.pins: {listed}"
    elif abs(dowel.diameter - bed.pin_diameter) > SAME_PLACE:
        says = "is not that of the hole which is there"
        yield (*at, "diameter"), says, f"bed.pin_diameter, {bed.pin_diameter:g} mm"
    elif dowel.depth_in_bed > bed.pin_depth:
        says = "is deeper than the hole which is there"
        yield (*at, "depth_in_bed"), says, f"at most bed.pin_depth, {bed.pin_depth:g} mm"
