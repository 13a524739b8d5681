"""What cannot be, in a record: the rules by which an entry is refused.

The entries that stand are walked in the order of the work, a correction in the place of what it corrects. Each is held
against the job and against what stands before it. A figure measured on a thing shows that the thing is there: a depth
of the groove shows that the groove is cut, and so the plug pockets, which come before it. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from corepath.job.record_facts import CastingFacts, JobFacts
from corepath.job.record_kinds import Entry, place_words

__all__ = ["SAME_PLACE", "Progress", "Reason", "refusals"]

SAME_PLACE = 1.0
"""mm: readings closer than this to one another were taken at the same place."""

NEARBY = 30.0
"""mm: places closer than this are compared with one another ("at about the same place")."""

DISAGREE = 0.5
"""mm by which two readings of the same kind at the same place may differ before one of them must be corrected."""

BESIDE = 3.0
"""mm by which a place may lie beside the groove and still be taken for one in it."""

ABSURD = 0.3
"""Share by which a thickness or width may be off its nominal before the unit or the digits must be wrong."""

LARGEST_BIAS = 1.0
"""mm: no machine that is fit for this work is off by more in Z."""

_AFTER_SKIM = ("inserts", "deck-rough", "deck")


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an entry cannot be, and what can."""

    says: str
    allowed: str = ""


@dataclass(slots=True)
class Progress:
    """How far the work has come, gathered entry by entry."""

    thickness: list[Entry] = field(default_factory=list)
    after: list[Entry] = field(default_factory=list)
    depths: list[Entry] = field(default_factory=list)
    cut: dict[str, Entry] = field(default_factory=dict)
    poured: dict[str, Entry] = field(default_factory=dict)
    passes: list[Entry] = field(default_factory=list)
    stop: Entry | None = None

    def take(self, entry: Entry) -> None:
        """Add an entry that stands."""
        if entry.kind == "thickness":
            self.thickness.append(entry)
        elif entry.kind == "thickness-after":
            self.after.append(entry)
        elif entry.kind in ("groove-depth", "pocket-depth"):
            self.depths.append(entry)
        elif entry.kind == "cut" and entry.operation is not None:
            self.cut.setdefault(entry.operation, entry)
            if entry.number is not None:
                self.passes.append(entry)
        elif entry.kind in ("fill", "top-up", "void", "leak") and entry.casting is not None:
            self.poured.setdefault(entry.casting, entry)
        elif entry.kind == "stop":
            self.stop = entry
            self.passes.append(entry)

    @property
    def stage(self) -> str:
        """The stage that the work has come to."""
        if "deck" in self.cut or "deck-rough" in self.cut:
            return "C"
        if "inserts" in self.cut:
            return "inserts"
        if self.skimmed is not None:
            return "B"
        if self.poured or "flush" in self.cut:
            return "cast"
        return "A" if self.cut or self.depths else "blank"

    @property
    def skimmed(self) -> Entry | None:
        """The entry that shows that the skim has begun."""
        return self.passes[-1] if self.passes else self.cut.get("skim")

    @property
    def deepest_pass(self) -> int:
        """The highest number of a pass that is cut; 0 where none is known."""
        return max((entry.number or 0 for entry in self.passes), default=0)

    def is_cut(self, casting: CastingFacts) -> bool:
        """Whether anything shows that this casting's pocket is cut."""
        shown = casting.operation in self.cut or "groove" in self.cut or casting.id in self.poured
        plug = casting.operation != "groove"
        return shown or any(plug or entry.kind == "groove-depth" for entry in self.depths)

    def is_done(self, operation: str, facts: JobFacts) -> bool:
        """Whether anything shows that an operation is done."""
        if operation == "skim":
            return self.skimmed is not None
        of_it = [casting for casting in facts.castings.values() if casting.operation == operation]
        return operation in self.cut or any(self.is_cut(casting) for casting in of_it)


def refusals(standing: Sequence[Entry], facts: JobFacts) -> list[tuple[Entry, Reason]]:
    """Every entry that cannot be, with the reason; `standing` in the order of the work."""
    progress = Progress()
    found = []
    for entry in standing:
        found += [(entry, reason) for reason in _reasons(entry, progress, facts)]
        progress.take(entry)
    return found


def _reasons(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _unknown(entry, facts)
    checks = {
        "thickness": _thickness,
        "thickness-after": _thickness_after,
        "groove-depth": _groove_depth,
        "pocket-depth": _pocket_depth,
        "touch": _touch,
        "fill": _fill,
        "top-up": _top_up,
        "void": _in_casting,
        "leak": _in_casting,
        "stop": _stop,
        "width": _width,
        "moisture": _moisture,
        "coupon-diameter": _coupon_diameter,
        "coupon-z": _coupon_z,
        "coupon-groove-width": _coupon_groove_width,
        "cut": _cut,
    }
    check = checks.get(entry.kind)
    if check is not None:
        yield from check(entry, progress, facts)


def _unknown(entry: Entry, facts: JobFacts) -> Iterator[Reason]:
    """Names, numbers and places that the job does not have."""
    if entry.casting is not None and entry.casting not in facts.castings:
        yield Reason(f"this job has no casting {entry.casting}", ", ".join(facts.castings))
    if entry.operation is not None and entry.operation not in facts.operations:
        yield Reason(f"this job has no operation {entry.operation}", ", ".join(facts.operations))
    if entry.cutter is not None and entry.cutter not in facts.cutters:
        yield Reason(f"this job has no cutter {entry.cutter}", ", ".join(str(number) for number in facts.cutters))
    if entry.at is not None and not facts.on_blank(entry.at):
        half = f"X ±{facts.shown(facts.length / 2)}, Y ±{facts.shown(facts.width / 2)}"
        yield Reason("this place lies off the blank", f"within {half}")
    if entry.number is not None and facts.planes and entry.number > len(facts.planes):
        yield Reason(f"the skim has no pass {entry.number}", f"1 to {len(facts.planes)}")


def _near(entry: Entry, others: Sequence[Entry], within: float) -> Iterator[Entry]:
    for other in others:
        if entry.at is None or other.at is None or other is entry or other.kind != entry.kind:
            continue
        if math.dist(entry.at, other.at) <= within:
            yield other


def _again(entry: Entry, others: Sequence[Entry], facts: JobFacts) -> Iterator[Reason]:
    """A second reading at the same place that is no repetition of the first."""
    for other in _near(entry, others, SAME_PLACE):
        if abs(_value(entry) - _value(other)) > DISAGREE:
            says = f"entry {other.n} gives {facts.shown(_value(other))} at the same place: one of the two is wrong"
            yield Reason(says, f"within {facts.shown(DISAGREE)} of it, or --correct {other.n}")
            return


def _value(entry: Entry) -> float:
    return 0.0 if entry.value is None else entry.value


def _thickness(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    low, high = facts.thickness * (1 - ABSURD), facts.thickness * (1 + ABSURD)
    if not low <= _value(entry) <= high:
        says = f"is no thickness of a blank that should be {facts.shown(facts.thickness)}: units, digits?"
        yield Reason(says, f"{facts.shown(low)} to {facts.shown(high)}")
    skimmed = progress.skimmed
    if skimmed is not None:
        says = f"the skim has begun (entry {skimmed.n}): what is measured now is thickness after the skim"
        yield Reason(says, "--after-skim, or --correct N to mend an earlier figure")
    yield from _again(entry, progress.thickness, facts)


def _thickness_after(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    value = _value(entry)
    if progress.skimmed is None:
        yield Reason("no pass of the skim is recorded", "the pass it stopped at first: --stop PASS")
    near = [
        other
        for other in progress.thickness
        if entry.at is not None and other.at is not None and math.dist(entry.at, other.at) <= NEARBY
    ]
    if near:
        before = max(near, key=_value)
        if value > _value(before):
            says = f"thicker than before: entry {before.n} gives {facts.shown(_value(before))} at about the same place"
            yield Reason(says, f"at most {facts.shown(_value(before))}, or --correct {before.n} first")
    else:
        thickest = max([facts.thickness + facts.tolerance, *(_value(other) for other in progress.thickness)])
        if value > thickest:
            says = f"thicker than the blank was before the skim, {facts.shown(thickest)}"
            yield Reason(says, f"at most {facts.shown(thickest)}")
    yield from _again(entry, progress.after, facts)


def _not_deeper(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """A depth that would pass through the blank."""
    near = [
        _value(other)
        for other in progress.thickness
        if entry.at is not None and other.at is not None and math.dist(entry.at, other.at) <= NEARBY
    ]
    readings = near or [_value(other) for other in progress.thickness]
    thick = max(readings) if readings else facts.thickness + facts.tolerance
    if _value(entry) >= thick:
        yield Reason(f"deeper than the blank is thick, {facts.shown(thick)}", f"less than {facts.shown(thick)}")


def _groove_depth(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _not_deeper(entry, progress, facts)
    groove = next((casting for casting in facts.castings.values() if casting.operation == "groove"), None)
    if groove is None or entry.at is None:
        return
    if groove.distance is not None and facts.on_blank(entry.at):
        off = groove.distance(*entry.at)
        if off > BESIDE:
            allowed = "a place in the groove, such as " + "; ".join(place_words(p, facts.scale) for p in groove.places)
            yield Reason(f"there is no groove at this place: it is {facts.shown(off)} away", allowed)
    yield from _filled(groove.id, progress)
    yield from _again(entry, progress.depths, facts)


def _pocket_depth(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _not_deeper(entry, progress, facts)
    if entry.casting is None or entry.casting not in facts.castings:
        return
    if facts.castings[entry.casting].operation == "groove":
        yield Reason("the depth of the groove is measured at places", "--groove-depth X Y D")
    yield from _filled(entry.casting, progress)


def _filled(casting: str, progress: Progress) -> Iterator[Reason]:
    filled = progress.poured.get(casting)
    if filled is not None:
        says = f"{casting} is filled with resin (entry {filled.n}), so its depth cannot be measured any more"
        yield Reason(says, "--correct N to mend an earlier figure")


def _touch(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    highest = facts.thickness * (1 + ABSURD)
    if _value(entry) > highest:
        says = "is no height of a face above the bed"
        yield Reason(says, f"at most {facts.shown(highest)}, measured from the bed")
    yield from _before(entry, progress, facts)


def _in_casting(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    casting = facts.castings.get(entry.casting or "")
    if casting is None:
        return
    if not progress.is_cut(casting):
        says = f"the {_cutting(casting)} not recorded as cut, so there is no resin in {casting.id} yet"
        yield Reason(says, f"with --cut {casting.operation} in the same command or before")
    deck = progress.cut.get("deck")
    if deck is not None and entry.kind != "void":
        yield Reason(f"the deck is cut (entry {deck.n}): the raw top is gone", "--correct N to mend an earlier figure")


def _cutting(casting: CastingFacts) -> str:
    return "groove is" if casting.operation == "groove" else "plug pockets are"


def _fill(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _in_casting(entry, progress, facts)
    casting = facts.castings.get(entry.casting or "")
    if casting is None:
        return
    kind = "groove-depth" if casting.operation == "groove" else "pocket-depth"
    measured = [
        _value(other)
        for other in progress.depths
        if other.kind == kind and (kind == "groove-depth" or other.casting == casting.id)
    ]
    depth = max(measured) if measured else casting.depth + facts.tolerance
    if _value(entry) >= depth:
        says = f"lower than the floor of {casting.id}, {facts.shown(depth)} below the raw top"
        yield Reason(says, f"less than {facts.shown(depth)}")
    elif _value(entry) < -facts.thickness:
        yield Reason("is no height of resin above the raw top", f"at least {facts.shown(-facts.thickness)}")


def _top_up(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _in_casting(entry, progress, facts)
    casting = facts.castings.get(entry.casting or "")
    if casting is None:
        return
    if casting.id not in progress.poured and progress.is_cut(casting):
        says = f"no first pour of {casting.id} is recorded"
        yield Reason(says, f"its fill first: --fill {casting.id} P")
    if entry.unit == "mm" and _value(entry) >= casting.depth + facts.tolerance:
        yield Reason(f"raises the resin by more than {casting.id} is deep", f"less than {facts.shown(casting.depth)}")


def _stop(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _before(entry, progress, facts)
    deepest = progress.deepest_pass
    if (entry.number or 0) < deepest:
        cut = next(other for other in progress.passes if other.number == deepest)
        says = f"pass {deepest} is cut already (entry {cut.n}), and wood does not grow back"
        yield Reason(says, f"{deepest} or more, or --correct {cut.n}")
    later = next((progress.cut[name] for name in _AFTER_SKIM if name in progress.cut), None)
    if later is not None:
        says = f"the {later.operation} is cut (entry {later.n}), so the skim stopped before"
        yield Reason(says, "--correct N to mend the recorded stop")


_NEEDS = {
    "flush": ("groove",),
    "skim": ("groove",),
    "inserts": ("skim",),
    "deck-rough": ("skim",),
    "deck": ("skim",),
    "trim": ("deck",),
    "bolt-holes": ("deck",),
}
"""What must be cut before an operation."""


def _before(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    """An operation whose forerunner is not yet cut."""
    operation = "skim" if entry.kind == "stop" else entry.operation or ""
    for needed in _NEEDS.get(operation, ()):
        if needed in facts.operations and not progress.is_done(needed, facts):
            if needed == "skim":
                yield Reason("no pass of the skim is recorded", "the pass it stopped at first: --stop PASS")
            else:
                says = f"the operation {needed} is not yet recorded as cut, and {operation} comes after it"
                yield Reason(says, f"with --cut {needed} in the same command or before")


def _cut(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    if entry.number is not None and entry.operation != "skim":
        yield Reason("only the skim is cut in passes", "--cut skim-pass-N")
    yield from _before(entry, progress, facts)


def _width(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    yield from _about(entry, facts.width, 0.1, "width of a blank", facts)


def _moisture(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    if _value(entry) > 60.0:
        yield Reason("is no moisture content of wood that can be cut to size", "at most 60 %")


def _coupon_diameter(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    nominal = facts.cutters.get(entry.cutter or 0)
    if nominal is not None:
        yield from _about(entry, nominal, 0.1, f"diameter of cutter {entry.cutter}", facts)


def _coupon_z(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    if abs(_value(entry)) > LARGEST_BIAS:
        limit = facts.shown(LARGEST_BIAS)
        yield Reason("is no bias of a machine that is fit for this work", f"-{limit} to {limit}")


def _coupon_groove_width(entry: Entry, progress: Progress, facts: JobFacts) -> Iterator[Reason]:
    nominal = facts.groove_width if entry.nominal is None else entry.nominal
    for reason in _about(entry, nominal, 0.1, "width of a coupon's groove", facts):
        allowed = f"{reason.allowed}, or the width it was planned with: --coupon-nominal W"
        yield Reason(reason.says, allowed)


def _about(entry: Entry, nominal: float, share: float, what: str, facts: JobFacts) -> Iterator[Reason]:
    low, high = nominal * (1 - share), nominal * (1 + share)
    if not low <= _value(entry) <= high:
        says = f"is no {what} that should be {facts.shown(nominal)}: units, digits?"
        yield Reason(says, f"{facts.shown(low)} to {facts.shown(high)}")
