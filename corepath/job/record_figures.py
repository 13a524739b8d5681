"""Rules for figures measured on blank, machine and cutters: what no gauge can have read. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from corepath.job.record_facts import JobFacts
from corepath.job.record_kinds import Entry
from corepath.job.record_progress import Progress, Reason, Rule, before

__all__ = ["FIGURE_RULES", "NEARBY", "SAME_PLACE", "again", "value_of"]

SAME_PLACE = 1.0
"""mm: readings closer than this to one another were taken at the same place."""

NEARBY = 30.0
"""mm: places closer than this are compared with one another ("at about the same place")."""

DISAGREE = 0.5
"""mm by which two readings of the same kind at the same place may differ before one of them must be corrected."""

ABSURD = 0.3
"""Share by which a thickness or width may be off its nominal before the unit or the digits must be wrong."""

LARGEST_BIAS = 1.0
"""mm: no machine that is fit for this work is off by more in Z."""


def _near(entry: Entry, others: Sequence[Entry], within: float) -> Iterator[Entry]:
    for other in others:
        if entry.at is None or other.at is None or other is entry or other.kind != entry.kind:
            continue
        if math.dist(entry.at, other.at) <= within:
            yield other


def again(entry: Entry, others: Sequence[Entry], facts: JobFacts) -> Iterator[Reason]:
    """A second reading at the same place that is no repetition of the first."""
    for other in _near(entry, others, SAME_PLACE):
        if abs(value_of(entry) - value_of(other)) > DISAGREE:
            says = f"entry {other.n} gives {facts.shown(value_of(other))} at the same place: one of the two is wrong"
            yield Reason(says, f"within {facts.shown(DISAGREE)} of it, or --correct {other.n}")
            return


def value_of(entry: Entry) -> float:
    return 0.0 if entry.value is None else entry.value


def _thickness(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    low, high = facts.thickness * (1 - ABSURD), facts.thickness * (1 + ABSURD)
    if not low <= value_of(entry) <= high:
        says = f"is no thickness of a blank that should be {facts.shown(facts.thickness)}: units, digits?"
        yield Reason(says, f"{facts.shown(low)} to {facts.shown(high)}")
    skimmed = progress.skimmed
    if skimmed is not None:
        says = f"the skim has begun (entry {skimmed.n}): what is measured now is thickness after the skim"
        yield Reason(says, "--after-skim, or --correct N to mend an earlier figure")
    yield from again(entry, progress.thickness, facts)


def _thickness_after(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    value = value_of(entry)
    if progress.skimmed is None:
        yield Reason("no pass of the skim is recorded", "the pass it stopped at first: --stop PASS")
    near = [
        other
        for other in progress.thickness
        if entry.at is not None and other.at is not None and math.dist(entry.at, other.at) <= NEARBY
    ]
    if near:
        thickest = max(near, key=value_of)
        limit = facts.shown(value_of(thickest))
        if value > value_of(thickest):
            says = f"thicker than before: entry {thickest.n} gives {limit} at about the same place"
            yield Reason(says, f"at most {limit}, or --correct {thickest.n} first")
    else:
        most = max([facts.thickness + facts.tolerance, *(value_of(other) for other in progress.thickness)])
        if value > most:
            says = f"thicker than the blank was before the skim, {facts.shown(most)}"
            yield Reason(says, f"at most {facts.shown(most)}")
    yield from again(entry, progress.after, facts)


def _touch(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    highest = facts.thickness * (1 + ABSURD)
    if value_of(entry) > highest:
        says = "is no height of a face above the bed"
        yield Reason(says, f"at most {facts.shown(highest)}, measured from the bed")
    yield from before(entry, progress, facts)


def _width(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _about(entry, facts.width, 0.1, "width of a blank", facts)


def _moisture(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    if value_of(entry) > 60.0:
        yield Reason("is no moisture content of wood that can be cut to size", "at most 60 %")


def _coupon_diameter(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    nominal = facts.cutters.get(entry.cutter or 0)
    if nominal is not None:
        yield from _about(entry, nominal, 0.1, f"diameter of cutter {entry.cutter}", facts)


def _coupon_z(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    if abs(value_of(entry)) > LARGEST_BIAS:
        limit = facts.shown(LARGEST_BIAS)
        yield Reason("is no bias of a machine that is fit for this work", f"-{limit} to {limit}")


def _coupon_groove_width(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    nominal = facts.groove_width if entry.nominal is None else entry.nominal
    for reason in _about(entry, nominal, 0.1, "width of a coupon's groove", facts):
        allowed = f"{reason.allowed}, or the width it was planned with: --coupon-nominal W"
        yield Reason(reason.says, allowed)


def _about(entry: Entry, nominal: float, share: float, what: str, facts: JobFacts) -> Iterator[Reason]:
    low, high = nominal * (1 - share), nominal * (1 + share)
    if not low <= value_of(entry) <= high:
        says = f"is no {what} that should be {facts.shown(nominal)}: units, digits?"
        yield Reason(says, f"{facts.shown(low)} to {facts.shown(high)}")


FIGURE_RULES: Mapping[str, Rule] = {
    "thickness": _thickness,
    "thickness-after": _thickness_after,
    "touch": _touch,
    "width": _width,
    "moisture": _moisture,
    "coupon-diameter": _coupon_diameter,
    "coupon-z": _coupon_z,
    "coupon-groove-width": _coupon_groove_width,
}
"""By the kind of entry."""
