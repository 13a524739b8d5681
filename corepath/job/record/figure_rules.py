"""Rules for figures measured on blank, machine and cutters: reject impossible readings. Lengths in
mm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from corepath.job.record.entry import Entry
from corepath.job.record.gather import SAME_PLACE
from corepath.job.record.reasons import Reason, before
from corepath.job.record.record_facts import JobFacts, Within, off_stop

if TYPE_CHECKING:
    from corepath.job.record.work_progress import Progress

__all__ = [
    "NEARBY", "again", "bore_depth", "coupon_diameter", "coupon_groove_width", "coupon_z", "height",
    "moisture", "seat_depth", "thickness", "thickness_after", "touch", "value_of", "width",
]  # fmt: skip

NEARBY = 30.0
"""mm: readings at places closer than this are compared ("at about the same place")."""

DISAGREE = 0.5
"""mm by which two readings of the same kind at the same place may differ before one of them must be
corrected."""

ABSURD = 0.3
"""Share by which a thickness may differ from its nominal before unit or digits must be wrong."""

LARGEST_BIAS = 1.0
"""mm: no machine that is fit for this work is off by more in Z."""


def _near(entry: Entry, others: Sequence[Entry], within: float) -> Iterator[Entry]:
    for other in others:
        if entry.at is None or other.at is None or other is entry or other.kind != entry.kind:
            continue
        if math.dist(entry.at, other.at) <= within:
            yield other


def again(entry: Entry, others: Sequence[Entry], facts: JobFacts) -> Iterator[Reason]:
    """Reject a second reading at the same place that differs from the first."""
    for other in _near(entry, others, SAME_PLACE):
        if abs(value_of(entry) - value_of(other)) > DISAGREE:
            says = (
                f"entry {other.n} gives {facts.shown(value_of(other))} at the same place: one of "
                "the two is wrong"
            )
            yield Reason(says, f"within {facts.shown(DISAGREE)} of it, or --correct {other.n}")
            return


def value_of(entry: Entry) -> float:
    """Return the figure of an entry, 0 where it has none."""
    return 0.0 if entry.value is None else entry.value


def thickness(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a thickness that no such blank has, or one measured after the skim began."""
    low, high = facts.thickness * (1 - ABSURD), facts.thickness * (1 + ABSURD)
    if not low <= value_of(entry) <= high:
        says = (
            f"is no thickness of a blank that should be {facts.shown(facts.thickness)}: "
            "units, digits?"
        )
        yield Reason(says, f"{facts.shown(low)} to {facts.shown(high)}")
    skimmed = progress.skimmed
    if skimmed is not None:
        says = (
            f"the skim has begun (entry {skimmed.n}): what is measured now is thickness "
            "after the skim"
        )
        yield Reason(says, "--after-skim, or --correct N to fix an earlier figure")
    yield from again(entry, progress.thickness, facts)


def height(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a height of the raw top that no such blank has, or one measured after a cut: the blank
    may lie otherwise by then."""
    low, high = facts.thickness * (1 - ABSURD), facts.thickness * (1 + ABSURD)
    if not low <= value_of(entry) <= high:
        says = f"is no height of a blank that should be {facts.shown(facts.thickness)}: Z zero on "
        yield Reason(f"{says}the bed?", f"{facts.shown(low)} to {facts.shown(high)}")
    cut = next(iter((*progress.cut.values(), *progress.shown.values())), None)
    if cut is not None:
        says = f"the blank is being cut (entry {cut.n}): heights are measured before"
        yield Reason(says, "--groove-depth or --pocket-depth")
    yield from again(entry, progress.of("height"), facts)


def thickness_after(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a thickness after the skim that is larger than before, or of a blank not skimmed
    yet."""
    value = value_of(entry)
    if progress.skimmed is None:
        yield Reason(
            "no pass of the skim is recorded", "the height it stopped at first: --stop-at HEIGHT"
        )
    near = [
        other
        for other in progress.thickness
        if entry.at is not None and other.at is not None and math.dist(entry.at, other.at) <= NEARBY
    ]
    # A place measured before bounds the same place now. Where none is near, only the thickest
    # place of the blank does.
    if near:
        thickest = max(near, key=value_of)
        limit = facts.shown(value_of(thickest))
        if value > value_of(thickest):
            says = f"thicker than before: entry {thickest.n} gives {limit} at about the same place"
            yield Reason(says, f"at most {limit}, or --correct {thickest.n} first")
    else:
        most = max(
            [facts.thickness + facts.tolerance, *(value_of(other) for other in progress.thickness)]
        )
        if value > most:
            says = f"thicker than the blank was before the skim, {facts.shown(most)}"
            yield Reason(says, f"at most {facts.shown(most)}")
    yield from _off_stop(
        value, facts.thickness_within, "the thickness after the skim", progress, facts
    )
    yield from again(entry, progress.after, facts)


def _off_stop(
    value: float, within: Within | None, what: str, progress: Progress, facts: JobFacts
) -> Iterator[Reason]:
    """Reject a figure that the recorded stop cannot have left even in the worst case."""
    stop = progress.stop
    if stop is None or stop.plane is None or within is None:
        return
    off = off_stop(value, within, stop.plane, facts.passes.values())
    if off is None:
        return
    says = f"{what} contradicts the stop at {facts.height(stop.plane)} (entry {stop.n})"
    likely = "HEIGHT" if off.likely is None else facts.height(off.likely)
    other = "" if off.likely is None else f"; it looks like the pass at {likely}"
    fix = f"--correct {stop.n} --stop-at {likely}"
    allowed = f"{facts.shown(off.low)} to {facts.shown(off.high)}, or fix the stop first: {fix}"
    yield Reason(says + other, allowed)


def touch(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject the height of a face that is impossible or not there yet."""
    highest = facts.thickness * (1 + ABSURD)
    if value_of(entry) > highest:
        says = "is no height of a face above the bed"
        yield Reason(says, f"at most {facts.shown(highest)}, measured from the bed")
    within = facts.touch_within.get(entry.operation or "")
    yield from _off_stop(
        value_of(entry), within, f"the touch for {entry.operation}", progress, facts
    )
    yield from before(entry, progress, facts)


def width(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a width that is not of this blank."""
    yield from _about(entry, facts.width, 0.1, "width of a blank", facts)


def moisture(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a moisture content that no such wood has."""
    if value_of(entry) > 60.0:
        yield Reason("is no moisture content of wood that can be cut to size", "at most 60 %")


def coupon_diameter(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a diameter that is not of this cutter, or of a drill."""
    nominal = facts.cutters.get(entry.cutter or 0)
    if entry.cutter in facts.drills:
        says = f"cutter {entry.cutter} is a drill, whose holes no path makes larger or smaller"
        yield Reason(says, "its true diameter under [[cutter]] in the job")
    if nominal is not None:
        yield from _about(entry, nominal, 0.1, f"diameter of cutter {entry.cutter}", facts)


def seat_depth(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a seat depth that passes through the core, or one before the skim."""
    yield from before(entry, progress, facts, "inserts")
    yield from _not_through(entry, progress, facts)


def bore_depth(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject the depth of a blind bore that passes through the core, or of a through bore."""
    yield from before(entry, progress, facts, "inserts")
    if facts.inserts.get(entry.insert or "", False):
        yield Reason(
            f"the bore of {entry.insert} goes through: it has no depth", "--seat-depth NAME D"
        )
        return
    yield from _not_through(entry, progress, facts)


def _not_through(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    stop = progress.stop
    left = [value_of(other) for other in progress.after] + (
        [stop.plane] if stop is not None and stop.plane else []
    )
    thick = max(left, default=facts.thickness)
    if value_of(entry) >= thick:
        yield Reason(
            f"deeper than the core is thick, {facts.shown(thick)}",
            f"less than {facts.shown(thick)}",
        )


def coupon_z(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a bias that no usable machine has."""
    if abs(value_of(entry)) > LARGEST_BIAS:
        limit = facts.shown(LARGEST_BIAS)
        yield Reason("is no bias of a machine that is fit for this work", f"-{limit} to {limit}")


def coupon_groove_width(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a width that is not of this groove."""
    nominal = facts.groove_width if entry.nominal is None else entry.nominal
    for reason in _about(entry, nominal, 0.1, "width of a coupon's groove", facts):
        allowed = f"{reason.allowed}, or the width it was planned with: --coupon-nominal W"
        yield Reason(reason.message, allowed)


def _about(
    entry: Entry, nominal: float, share: float, what: str, facts: JobFacts
) -> Iterator[Reason]:
    low, high = nominal * (1 - share), nominal * (1 + share)
    if not low <= value_of(entry) <= high:
        says = f"is no {what} that should be {facts.shown(nominal)}: units, digits?"
        yield Reason(says, f"{facts.shown(low)} to {facts.shown(high)}")
