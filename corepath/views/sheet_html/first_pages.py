"""The first pages: what to read before anything else, and the blank to be measured."""

from __future__ import annotations

from collections.abc import Sequence

from corepath.lengths import UNIT, either, marked, unit_word
from corepath.stackup.checks.verdict import Check
from corepath.stackup.measuring.places_to_measure import THROAT, MeasuringPlace, measuring_places
from corepath.stackup.odds.odds import odds_words
from corepath.views.sheet_html.facts import Facts, figure, mm, size
from corepath.views.sheet_html.page_parts import (
    Banner,
    Block,
    Break,
    Command,
    Drawing,
    Measures,
    Notes,
    Page,
    Rows,
    SheetMeasure,
    SheetStep,
    Slot,
    State,
    Steps,
    Table,
    Tick,
)  # fmt: skip
from corepath.views.sheet_html.places_drawing import places_drawing

__all__ = ["CAUTIONS", "first_page", "measure_page", "warnings"]

_MOST_READY = 20
"""With more things to lay ready the list of pages goes on a sheet of paper of its own."""

CAUTIONS = (
    "Eyes and ears: protect them, and those of everyone in the room.",
    "Dust: extract at the cutter, wear a mask for fine dust. Dust of cured resin and of glass is "
    "dust too.",
    "Hands and cutter: keep them apart until the spindle has stopped; it runs on for seconds. "
    "Unplug it to change cutters.",
    "Holding: try island and rim with a firm push, each on its own, in every set-up. Vacuum can "
    "fail.",
    "Resin: read both data sheets first. Isocyanates can sensitise skin and lungs for good: "
    "gloves, eyes, fresh air.",
    "Run each new file in the air first, a hand on the stop.",
    "The makers' sheets, the rules where you work and licensed practice come before this sheet.",
)


def warnings(facts: Facts) -> tuple[Block, ...]:
    """Return what must be read first: why not to cut, castings that are too low, cautions."""
    blocks: list[Block] = []
    if facts.despite:
        says = (
            "These files were written although the plan fails. They are for looking at, not "
            "for cutting."
        )
        blocks.append(Banner("DO NOT CUT", (says, *_failures(facts))))
    elif facts.withheld:
        says = "No G-code was written, since something fails. Fix it, plan again, print anew."
        blocks.append(Banner("NOTHING TO CUT YET", (says, *_failures(facts), *_tried(facts))))
    if facts.lists.outcome.accepted:
        blocks.append(_accepted(facts))
    fills = tuple(
        line for fill in facts.lists.fills if fill.verdict != "ok" for line in fill.message
    )
    if fills:
        blocks.append(Banner("CASTING TOO LOW", fills))
    doubtful = [check for check in facts.checks if check.verdict == "caution"]
    careful = [f"{check.id} ({marked(check.where)}): {marked(check.message)}" for check in doubtful]
    told = (*facts.cautions, *careful)
    if told:
        blocks.append(Banner("Caution", tuple(told), grave=False))
    return tuple(blocks)


def _accepted(facts: Facts) -> Banner:
    """Return what the job accepts by `tolerances.accept`: the odds and what fails."""
    outcome, accept = facts.lists.outcome, facts.job.tolerances.accept
    says = (
        f"Comes out in {odds_words(outcome.odds.share)}. These checks fail, and files were written "
        f"since the job says accept = {accept:g}:"
    )
    failed = (f"{one.id} ({marked(one.where)}): {marked(one.message)}" for one in facts.failed)
    return Banner("RISK ACCEPTED", (says, *failed))


def _failures(facts: Facts) -> tuple[str, ...]:
    found = [_failure(check) for check in facts.failing]
    found += [f"read-back: {marked(says)} ({file})" for says, file in facts.findings[:6]]
    return tuple(found)


def _tried(facts: Facts) -> tuple[str, ...]:
    """Return the fix that was tried where a check fails, in words; nothing without one."""
    fix = facts.lists.outcome.fix
    return (f"Fix, tried: {marked(fix)}",) if facts.failing and fix else ()


def _failure(check: Check) -> str:
    fix = f" Fix: {marked(check.fix)}" if check.fix else ""
    value, least = figure(check.value, check.unit), figure(check.limit, check.unit)
    told = f"{check.id} ({marked(check.where)}): {marked(check.message)}"
    return f"{told}; it is {value}, at least {least} {unit_word(check.unit)} is needed.{fix}"


def first_page(facts: Facts, pages: tuple[Page, ...]) -> Page:
    """Return the first page: warnings, the core's main figures and cautions; on a second sheet of
    paper what to lay ready and the list of pages."""
    blocks = [*warnings(facts), _core(facts), Notes("Cautions", CAUTIONS)]
    blocks += [Break(), _lay_ready(facts)]
    # Both tables together would run over the sheet.
    blocks += [Break()] if len(facts.lists.ready) > _MOST_READY else []
    blocks.append(_way(facts, pages))
    return Page(
        "first",
        "!",
        "Read this first",
        facts.job.title,
        tuple(blocks),
        short="read first",
        loud=facts.despite or facts.withheld,
    )


def _core(facts: Facts) -> Rows:
    blank, window = facts.job.blank, next(check for check in facts.checks if check.id == "window")
    known, skim, pour = facts.stackup.heights.blank, facts.stackup.skim, facts.lists.pour
    sizes = f"{size(blank.length)} × {size(blank.width)} × {size(known.nominal)}, {blank.wood}"
    stop = f"{mm(facts.stackup.skim.planned_plane)} above the bed"
    rows = [
        ("blank", sizes + (", measured" if known.measured else ", not measured yet")),
        (
            "core",
            f"{mm(facts.table.deck_highest)} at its thickest, {mm(facts.table.deck_lowest)} "
            "at the edge",
        ),
        ("comes out in", odds_words(facts.lists.outcome.odds.share)),
        ("window", f"margin {mm(window.value)}, worst case {mm(window.worst)}"),
        ("stop skimming at", f"{stop}, {'as recorded' if skim.recorded else 'planned'}"),
        ("to pour", f"{round(pour.volume, 3):.0f} cm³, {pour.resin}"),
        ("weight", facts.lists.weight.message()),
        ("balances", marked(facts.lists.weight.balances())),
    ]
    if facts.planned:
        rows.append(("cutting", f"{facts.minutes:.0f} min, without changing cutters and stops"))
    rows.append(
        (
            "lengths",
            f"{either('mm', 'inches')} on this sheet and in the commands; resin in cm³ and g",
        )
    )
    return Rows("This core", tuple(rows))


def _lay_ready(facts: Facts) -> Table:
    """Return what to buy and lay ready, with a box to tick for each thing."""
    rows = [
        (Tick(f"ready-{k}", f"{one.what}: there"), one.what, str(one.count), one.message)
        for k, one in enumerate(facts.lists.ready, start=1)
    ]
    return Table("Lay ready", ("", "what", "number", "size and kind"), tuple(rows), numbers=(2,))


def _way(facts: Facts, pages: tuple[Page, ...]) -> Table:
    words = {"done": "done", "now": "next", "ahead": "", "": ""}
    rows = [
        (Tick(f"way-{page.key}", f"{page.title}: "
                                 "finished", page.state == "done"), page.mark, page.title,
         words[page.state])
        for page in pages
    ]  # fmt: skip
    strong = tuple(k for k, page in enumerate(pages) if page.state == "now")
    note = (
        "The same code stands on every page and in the head of every file. Where they differ, "
        "do not cut."
    )
    return Table("Steps", ("", "page", "what", "state"), tuple(rows), note=note, strong=strong)


def measure_page(facts: Facts) -> Page:
    """Return page 0: the blank laid out, marked and measured."""
    # Once something is cut, a blank that was not measured cannot be any more: the page is done.
    known = facts.stackup.heights.blank
    measured = known.measured
    began = facts.settled.stage != "blank"
    state: State = "done" if measured or began else "now"
    blocks: list[Block] = []
    if measured:
        thin, thick = known.thinnest.value, known.thickest.value
        blocks.append(
            Banner(
                "Measured", (f"From {mm(thin)} to {mm(thick)} thick, errors counted.",), grave=False
            )
        )
    blocks += [
        _ready(began),
        Drawing("Where to measure the blank", places_drawing(facts)),
        *_places(facts, measured),
    ]
    return Page(
        "blank",
        "0",
        "Measure the blank",
        "before anything is cut",
        tuple(blocks),
        state=state,
        short="blank",
    )


def _ready(done: bool) -> Steps:
    says = (
        "Let the wood lie a day in the shop, air at both faces. Wood below 8 % moisture casts "
        "best.",
        "Pencil DECK on the face that becomes the deck, X+ end at its right end, front edge along "
        "the edge near you.",
        "Face the spoil board now, before A, and not again between A, B and C: the depths rely on "
        "one bed.",
        "Clean bed, no chips, the blank held as it will be cut: measure thickness and height at "
        "the places drawn.",
    )
    steps = tuple(SheetStep(Tick(f"blank-{k}", line, done)) for k, line in enumerate(says, start=1))
    return Steps("Do", steps)


def _places(facts: Facts, measured: bool) -> tuple[Block, ...]:
    record = facts.record
    places = measuring_places(facts.job, facts.board)
    rows: list[tuple[str | Slot | Tick, ...]] = []
    thick: list[str | Slot] = []
    for k, place in enumerate(places, start=1):
        x, y = record.shown(place.x), record.shown(place.y)
        height = Slot(f"h{k}", f"height of the raw top at place {k}", "H", facts.unit)
        if place.what == "height":
            rows.append((str(k), x, y, "–", height, place.why))
            continue
        box = Slot(f"t{k}", f"thickness at place {k}", "T", facts.unit)
        rows.append((str(k), x, y, box, height, place.why))
        thick += [f" --thickness {x} {y} ", box]
    note = (
        f"Callipers reach about {mm(THROAT, 0)} {UNIT} from an edge. Farther in: a gauge from the "
        "bed to the raw top, the blank held. Type both into the *.measure.csv beside the job and "
        "name it there, measured = … "
        "under [blank]; or record what callipers gave as below."
    )
    head = ("", f"X {facts.unit}", f"Y {facts.unit}", "thickness", "height", "where")
    table = Table("Places", head, tuple(rows), note=note, numbers=(0, 1, 2), wide=True)
    says = "" if not measured else "recorded or named in the job"
    measure = SheetMeasure(
        "Thickness by callipers; leave out what you did not measure",
        facts.command(*thick),
        done=says,
    )
    recorded = Measures("Record", (measure, _lines(facts, places), *_beside(facts)))
    return (table, recorded)


def _lines(facts: Facts, places: Sequence[MeasuringPlace]) -> SheetMeasure:
    """Return the same figures as lines of a file of measured places, which have the same keys: what
    is filled in above appears here."""
    pieces: list[str | Slot] = ["x,y,thickness,height"]
    for k, place in enumerate(places, start=1):
        pieces.append(f"\n{facts.record.shown(place.x)},{facts.record.shown(place.y)},")
        if place.what != "height":
            pieces.append(Slot(f"t{k}", f"thickness at place {k}", "", facts.unit))
        pieces += [",", Slot(f"h{k}", f"height of the raw top at place {k}", "", facts.unit)]
    return SheetMeasure("Or both as a file of measured places", Command(tuple(pieces)), screen=True)


def _beside(facts: Facts) -> tuple[SheetMeasure, ...]:
    """Return width and moisture, as long as they can still be recorded for the uncut blank."""
    if facts.settled.stage != "blank":
        return ()
    width = Slot(
        "width-blank", "width of the blank across the grain", "W", facts.unit, short="width"
    )
    moisture = Slot(
        "moisture-blank", "moisture content of the blank in percent", "M", "%", short="moisture"
    )
    text = "Width across the grain, and moisture by a meter if you have one"
    return (SheetMeasure(text, facts.command(" --width ", width, " --moisture ", moisture)),)
