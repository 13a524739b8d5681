"""The steps of a set-up, and what to measure and record at its end."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from corepath.layup.laid import laid_up, pins_of
from corepath.lengths import marked
from corepath.motion.program import Setup
from corepath.motion.zero_words import xy_words
from corepath.views.sheet_html.facts import Facts
from corepath.views.sheet_html.page_parts import (
    Measures,
    SheetMeasure,
    SheetStep,
    Slot,
    Steps,
    Tick,
)
from corepath.views.sheet_html.setup_drawing import marks_of
from corepath.work.touching import FOLDER, height_name
from corepath.work.works import Work

__all__ = [
    "SKIM_STEP",
    "cut_measure",
    "depth_measures",
    "setup_measures",
    "setup_steps",
    "stepped",
    "touching",
]

_MOST_PLUGS = 12

SKIM_STEP = "Skim, pass by pass: go to the page of the skim and come back."
"""The step of set-up B that the page of the skim stands for."""


def stepped(prefix: str, lines: Sequence[tuple[str, str, bool]]) -> tuple[SheetStep, ...]:
    """Return steps from (words, file, done), with keys `prefix`-1, `prefix`-2 …"""
    return tuple(
        SheetStep(Tick(f"{prefix}-{k}", words, done), file)
        for k, (words, file, done) in enumerate(lines, start=1)
    )


def setup_steps(facts: Facts, setup: Setup, works: Sequence[Work]) -> Steps:
    """Return the steps of a set-up; those of operations that have been cut are ticked already.

    For every cutter in turn: fit it, touch Z with it, run its files. The first one is fitted before
    the rehearsal, since its tip shows the places.
    """
    all_cut = all(work.name in facts.done for work in works)
    laid = any(work.name in facts.done for work in works)
    lines = [(words, "", laid) for words in _laying(facts, setup)]
    fitted: Work | None = None
    for work in works:
        done = work.name in facts.done
        lines += [(words, "", done) for words in touching(facts, work, fitted)]
        if fitted is None:
            lines += [(words, "", done) for words in _rehearsing(facts, setup)]
        lines += _running(facts, work)
        fitted = work
    lines.append((_end(setup), "", all_cut))
    return Steps("Do", stepped(f"do-{setup.lower()}", lines))


def _laying(facts: Facts, setup: Setup) -> tuple[str, ...]:
    marks = marks_of(facts, setup)
    seen = f"{marks['near']} nearest you, {marks['right']} on your right"
    code = f"The code in the head of each file is {facts.digest}."
    try_it = "Push island and rim firmly, each on its own: neither may move."
    if setup == "A":
        lay = f"Lay the blank DECK up: {seen}. Hold it."
        return (code, *_bare_bed(facts), _crosses(facts), lay, try_it)
    if setup == "B":
        return (
            "Clean bed, nothing cured on the raw top or under it.",
            f"Turn the blank over: DECK down, {seen}. Set it on the dowels. Hold it.",
            try_it,
        )
    if setup == "C":
        return (
            "Clean bed and skimmed face. Dowels short enough for C.",
            f"Turn the blank back: DECK up, {seen}. Set it on the dowels. Hold it.",
            try_it,
        )
    return ("Let the skins cure as their makers say.", _pins(facts))


def _bare_bed(facts: Facts) -> tuple[str, ...]:
    """Return the step before the blank covers the holes from which X and Y are found, if any."""
    zero = facts.works_of("A")[0].zero
    if zero.by != "pins":
        return ()
    words = xy_words(zero, facts.record.shown)
    return (f"On the bare bed set X and Y with a pointed pin or an edge finder: {words}.",)


def _pins(facts: Facts) -> str:
    """Return how the board is placed in the cradle: by pins where its dowel holes come to lie."""
    shown = facts.record.shown
    pins = pins_of(laid_up(facts.job, facts.board), [dowel.at for dowel in facts.board.dowels])
    places = [
        f"dowel {number} at X{shown(pin.x)} Y{shown(pin.y)}, {abs(math.degrees(pin.tilt)):.1f}° "
        "from upright"
        for number, pin in enumerate(pins, start=1)
    ]
    words = (
        "Pins in the cradle's face, square to it, where the board's dowel holes come to lie, along "
        "the chord from its "
        f"middle ({facts.unit}): {'; '.join(places)}. Set the board on them."
    )
    return words.replace("X-", "X−").replace("Y-", "Y−")


def _crosses(facts: Facts) -> str:
    """Return the places of the dowels from the blank's left and front edge as it lies in A, to be
    marked by crosses: the rehearsal stops over them."""
    blank = facts.job.blank
    places = [
        f"dowel {number} {facts.record.shown(x + blank.length / 2)} from its left and "
        f"{facts.record.shown(y + blank.width / 2)} from its front edge"
        for number, (x, y) in enumerate((dowel.at for dowel in facts.board.dowels), start=1)
    ]
    return (
        f"Pencil a cross on the DECK face where each dowel comes, {facts.unit}: "
        f"{', '.join(places)}."
    )


def touching(facts: Facts, work: Work, before: Work | None) -> Iterator[str]:
    """Yield what is fitted and touched before a work is run; `before` is the work before it in this
    set-up, None for the first."""
    zero, cutter, machine = work.zero, work.cutter.describe(), facts.job.machine
    if before is None and zero.by == "pins":
        yield "X and Y stay as set on the bare bed."
    elif before is None:
        yield (
            "Set X and Y with a pointed pin or an edge finder: "
            f"{xy_words(zero, facts.record.shown)}.{_probing(facts, work.setup)}"
        )
    elif zero.system != before.zero.system:
        yield f"Change to {zero.system}: set its X and Y as before, and its Z as below."
    changed = before is None or work.cutter != before.cutter
    touched = before is None or (zero.on, zero.z) != (before.zero.on, before.zero.z)
    if machine.length_offset:
        if touched:
            words = f"Touch Z on {zero.on}, with any cutter whose length offset is on."
            yield f"{words} Spindle still.{_plated(facts, work)}"
    elif work.kept:
        yield f"{cutter} stays fitted. Do not touch Z again: {zero.on} is cut away by now."
    elif changed or touched:
        verb = (
            "stays fitted"
            if not changed
            else "is loaded by the file, which then waits"
            if _by_machine(facts)
            else ""
        )
        fit = f"{cutter} {verb}" if verb else f"Fit {cutter}"
        yield f"{fit}. Touch Z with it: {zero.touch}. Spindle still.{_plated(facts, work)}"


def _probing(facts: Facts, setup: Setup) -> str:
    """Return how X and Y are found with a probe in a set-up, behind how they are found without."""
    names = [f"{FOLDER}/{setup}-{kind}.nc" for kind in ("edges", "holes")]
    words = [f" With the probe fitted instead: {name}." for name in names if name in facts.touches]
    missed = [one for one in facts.untouched if one.stem in (f"{setup}-edges", f"{setup}-holes")]
    if f"{FOLDER}/{setup}-thickness.nc" in facts.touches:
        words.append(
            f" Then {FOLDER}/{setup}-thickness.nc touches the raw top at the places to measure: "
            f"corepath record {facts.file} --probed FILE."
        )
    words += [f" No file for the probe: {marked(one.why)}." for one in missed]
    return "".join(words)


def _plated(facts: Facts, work: Work) -> str:
    """Return the file that touches Z for a work, if the machine has a plate or a probe for it."""
    name = f"{FOLDER}/{work.setup}-z-{height_name(work.zero)}.nc"
    return f" With the plate: {name}." if name in facts.touches else ""


def _by_machine(facts: Facts) -> bool:
    """Whether the machine changes tools by itself."""
    return facts.job.machine.tool_change == "m6"


def _rehearsing(facts: Facts, setup: Setup) -> tuple[str, ...]:
    first = (
        f"Run rehearsal/{setup}-rehearsal.nc, spindle off, the cutter fitted, hand on the stop. "
    )
    if setup == "D":
        return (
            first + "It stops high over the board, then over the mark on the cradle: if either is "
            "wrong, touch again.",
        )
    mark = "cross" if setup == "A" else "hole"
    over = [
        f"Over the {mark} of dowel {number}: the tip stands there, as high as its message says."
        for number in range(1, len(facts.board.dowels) + 1)
    ]
    return (
        first + f"It stops high over the blank, then over the {mark} of each dowel: if one is "
        "wrong, touch again.",
        *over,
    )


def _running(facts: Facts, work: Work) -> list[tuple[str, str, bool]]:
    done = work.name in facts.done
    if work.facing is not None and work.name == "skim":
        return [(SKIM_STEP, "", done)]
    files = [file.name for file in facts.files(work)] or [f"{work.stem}.nc"]
    lines = [(_run_words(facts, work), file, done) for file in files]
    if work.name == "dowels":
        lines.append(("Vacuum the holes and set the dowels before the next file.", "", done))
    if work.zero.system != "G54":
        lines.append(("Change the control back to G54: all other files count from it.", "", done))
    return lines


def _run_words(facts: Facts, work: Work) -> str:
    way = work.approach
    if way is None:
        return "Run"
    high = facts.record.shown(round(way.above, 1))
    return (
        f"It stops on the first way down: the tip {high} {facts.unit} above {way.face}, or stop "
        "and touch Z. Run"
    )


def _end(setup: Setup) -> str:
    return {
        "A": "Hands clear until the spindle has stopped. Vacuum the pockets. Leave the blank held; "
        "measure: next page.",
        "B": "Hands clear until the spindle has stopped. Blow and look: prongs and barrels must "
        "stay below the finished deck.",
        "C": "Hands clear until the spindle has stopped. Feel the deck: no ridge, no step. Look at "
        "every casting.",
        "D": "Hands clear until the spindle has stopped. Cut the web by hand, then dress the edge.",
    }[setup]


def setup_measures(facts: Facts, setup: Setup) -> tuple[Measures, ...]:
    """Return what is measured at the end of a set-up, with the commands that record it."""
    names = list(
        dict.fromkeys(
            work.name for work in facts.works_of(setup) if work.name not in ("flush", "skim")
        )
    )
    if setup == "A":
        return (
            Measures("Measure and record", (cut_measure(facts, names), *depth_measures(facts))),
        )
    if setup == "B":
        return (Measures("Record", (_inserts(facts), _sunk(facts))),) if "inserts" in names else ()
    return (Measures("Record", (cut_measure(facts, names),)),)


def cut_measure(facts: Facts, names: Sequence[str]) -> SheetMeasure:
    """Return the entry that records the operations `names` as cut."""
    done = "recorded" if all(name in facts.done for name in names) else ""
    says = (
        f"When {', '.join(name.replace('-', ' ') for name in names)} "
        f"{'is' if len(names) == 1 else 'are'} cut"
    )
    return SheetMeasure(says, facts.command("".join(f" --cut {name}" for name in names)), done)


def _inserts(facts: Facts) -> SheetMeasure:
    height = Slot(
        "touch-inserts",
        "height of the skimmed face above the bed as touched",
        "HEIGHT",
        facts.unit,
        short="height touched",
    )
    done = "recorded" if "inserts" in facts.done else ""
    says = "When the inserts are bored; height of the skimmed face above the bed, as touched"
    return SheetMeasure(says, facts.command(" --cut inserts --touch inserts ", height), done)


def _sunk(facts: Facts) -> SheetMeasure:
    """Return the entry for depths of seats and blind bores, of the first 12 inserts."""
    settled, pieces = facts.settled, list[str | Slot]()
    some = list(facts.record.inserts)[:_MOST_PLUGS]
    for name in some:
        slot = Slot(
            f"seat-{name}", f"depth of the seat of {name}", "D", facts.unit, short=f"{name} seat"
        )
        pieces += [f" --seat-depth {name} ", slot]
    for name in (name for name in some if not facts.record.inserts[name]):
        slot = Slot(
            f"bore-{name}", f"depth of the bore of {name}", "D", facts.unit, short=f"{name} bore"
        )
        pieces += [f" --bore-depth {name} ", slot]
    seats = [
        (f"{name} seat", settled.seat_depth[name]) for name in some if name in settled.seat_depth
    ]
    bores = [
        (f"{name} bore", settled.bore_depth[name]) for name in some if name in settled.bore_depth
    ]
    says = "Depth of seats and blind bores from the skimmed face, by a depth gauge"
    return SheetMeasure(says, facts.command(*pieces), facts.held([*seats, *bores]))


def depth_measures(facts: Facts) -> tuple[SheetMeasure, ...]:
    """Return the entries for depths of groove and pockets from the raw top.

    A command records at most 12 pockets.
    """
    record, settled = facts.record, facts.settled
    pieces: list[str | Slot] = []
    for k, (x, y) in enumerate(record.castings["groove"].places, start=1):
        at = f"X{record.shown(x)} Y{record.shown(y)}".replace("-", "−")
        slot = Slot(f"groove-{k}", f"depth of the groove at {at}", "D", facts.unit, short=at)
        pieces += [f" --groove-depth {record.shown(x)} {record.shown(y)} ", slot]
    says = (
        "Depth of the groove from the raw top by a depth gauge, at its ends and sides; then "
        "neither the blank's "
    )
    says += "thickness nor the bed matters any more for what shows when"
    found = [
        SheetMeasure(
            says,
            facts.command(*pieces),
            facts.held(("", depth) for _, _, depth in settled.groove_depth),
        )
    ]
    plugs = [
        name for name, casting in record.castings.items() if casting.operation == "plug-pockets"
    ]
    for first in range(0, len(plugs), _MOST_PLUGS):
        some = plugs[first : first + _MOST_PLUGS]
        pieces = []
        for name in some:
            pieces += [
                f" --pocket-depth {name} ",
                Slot(f"pocket-{name}", f"depth of plug {name}", "D", facts.unit, short=name),
            ]
        known = [name for name in some if name in settled.pocket_depth]
        done = facts.held((name, settled.pocket_depth[name]) for name in known)
        found.append(SheetMeasure("Depth of the plug pockets", facts.command(*pieces), done))
    return tuple(found)
