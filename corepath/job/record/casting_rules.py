"""Rules for groove and plugs: depths before the pour, resin after it. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from corepath.job.record.entry import Entry, place_words
from corepath.job.record.figure_rules import NEARBY, again, value_of
from corepath.job.record.reasons import Reason
from corepath.job.record.record_facts import CastingFacts, JobFacts

if TYPE_CHECKING:
    from corepath.job.record.work_progress import Progress

__all__ = ["fill", "groove_depth", "in_casting", "pocket_depth", "top_up"]

BESIDE = 3.0
"""mm that a place may lie beside the groove and still be taken as one in it."""


def _not_deeper(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a depth that would pass through the blank."""
    # Compared with the blank near by if it was measured there, else with its thickest known place.
    near = [
        value_of(other)
        for other in progress.thickness
        if entry.at is not None and other.at is not None and math.dist(entry.at, other.at) <= NEARBY
    ]
    readings = near or [value_of(other) for other in progress.thickness]
    thick = max(readings) if readings else facts.thickness + facts.tolerance
    if value_of(entry) >= thick:
        yield Reason(
            f"deeper than the blank is thick, {facts.shown(thick)}",
            f"less than {facts.shown(thick)}",
        )


def groove_depth(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a groove depth that passes through the blank, lies beside the groove, or is measured
    after the groove was filled."""
    yield from _not_deeper(entry, progress, facts)
    groove = next(
        (casting for casting in facts.castings.values() if casting.operation == "groove"), None
    )
    if groove is None or entry.at is None:
        return
    if groove.distance is not None and facts.on_blank(entry.at):
        off = groove.distance(*entry.at)
        if off > BESIDE:
            allowed = "a place in the groove, such as " + "; ".join(
                place_words(p, facts.scale) for p in groove.places
            )
            yield Reason(
                f"there is no groove at this place: it is {facts.shown(off)} away", allowed
            )
    yield from _filled(groove.id, progress)
    yield from again(entry, progress.depths, facts)


def pocket_depth(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a pocket depth that passes through the blank, belongs to the groove, or is measured
    after the pocket was filled."""
    yield from _not_deeper(entry, progress, facts)
    if entry.casting is None or entry.casting not in facts.castings:
        return
    if facts.castings[entry.casting].operation == "groove":
        yield Reason("the depth of the groove is measured at places", "--groove-depth X Y D")
    yield from _filled(entry.casting, progress)


def _filled(casting: str, progress: Progress) -> Iterator[Reason]:
    filled = progress.poured.get(casting)
    if filled is not None:
        says = (
            f"{casting} is filled with resin (entry {filled.n}), so its depth cannot be "
            "measured any more"
        )
        yield Reason(says, "--correct N to fix an earlier figure")


def in_casting(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject an entry about resin in a pocket that is not cut, or after the deck is cut."""
    casting = facts.castings.get(entry.casting or "")
    if casting is None:
        return
    if not progress.is_cut(casting):
        says = (
            f"the {_cutting(casting)} not recorded as cut, so there is no resin in {casting.id} yet"
        )
        yield Reason(says, f"with --cut {casting.operation} in the same command or before")
    deck = progress.cut.get("deck")
    if deck is not None and entry.kind != "void":
        yield Reason(
            f"the deck is cut (entry {deck.n}): the raw top is gone",
            "--correct N to fix an earlier figure",
        )


def _cutting(casting: CastingFacts) -> str:
    return "groove is" if casting.operation == "groove" else "plug pockets are"


def fill(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a fill below the floor of its pocket, or where there can be no resin."""
    yield from in_casting(entry, progress, facts)
    casting = facts.castings.get(entry.casting or "")
    if casting is None:
        return
    kind = "groove-depth" if casting.operation == "groove" else "pocket-depth"
    measured = [
        value_of(other)
        for other in progress.depths
        if other.kind == kind and (kind == "groove-depth" or other.casting == casting.id)
    ]
    # The deepest reading: the lowest point of the resin may be at any place of the casting.
    depth = max(measured) if measured else casting.depth + facts.tolerance
    if value_of(entry) >= depth:
        says = f"lower than the floor of {casting.id}, {facts.shown(depth)} below the raw top"
        yield Reason(says, f"less than {facts.shown(depth)}")
    elif value_of(entry) < -facts.thickness:
        yield Reason(
            "is no height of resin above the raw top", f"at least {facts.shown(-facts.thickness)}"
        )


def top_up(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """Reject a second pour without a first, or one that raises the resin by more than its
    casting's depth."""
    yield from in_casting(entry, progress, facts)
    casting = facts.castings.get(entry.casting or "")
    if casting is None:
        return
    if casting.id not in progress.poured and progress.is_cut(casting):
        says = f"no first pour of {casting.id} is recorded"
        yield Reason(says, f"its fill first: --fill {casting.id} P")
    if entry.unit == "mm" and value_of(entry) >= casting.depth + facts.tolerance:
        yield Reason(
            f"raises the resin by more than {casting.id} is deep",
            f"less than {facts.shown(casting.depth)}",
        )
