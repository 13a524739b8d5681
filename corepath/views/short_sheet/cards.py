"""The steps of the whole work, one card each, for a phone: what to do, its file, its boxes.

The cards follow the pages of the set-up sheet, whose ticks they share. The skim has a card a pass;
a pass after which all shows can be told there, which fills in the height of the stop and passes
over the cards of the deeper ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from corepath.lengths import marked
from corepath.motion.program import Setup
from corepath.views.sheet_html.facts import Facts, mm
from corepath.views.sheet_html.first_pages import measure_page, warnings
from corepath.views.sheet_html.list_pages import went_wrong
from corepath.views.sheet_html.page_parts import (
    Banner,
    Measures,
    Notes,
    Page,
    Rows,
    SheetMeasure,
    SheetStep,
    Slot,
    Steps,
    Tick,
)
from corepath.views.sheet_html.pour_page import flush_page, pour_page
from corepath.views.sheet_html.setup_drawing import SetupRoom, setup_drawing
from corepath.views.sheet_html.setup_steps import SKIM_STEP
from corepath.views.sheet_html.setups import after_a_page, setup_page
from corepath.views.sheet_html.skim_page import skim_page
from corepath.views.short_sheet.boxes import (
    RecordLine,
    blank_measure,
    command_lines,
    cut_line,
    open_measure,
    took_line,
    took_slot,
)
from corepath.views.short_sheet.one_page import file_ticks, pass_word, stops_of, turn_words

__all__ = ["PHONE_ROOM", "Card", "cards", "record_lines"]

PHONE_ROOM = SetupRoom(width=112.0, tallest=92.0, style="step", scaled=False, legend=False)


@dataclass(frozen=True, slots=True)
class Card:
    """One step: `words` in large type, `file` to run, `lines` below. `stop` is the figure that goes
    into the box of the skim's stop where all shows after this pass, as typed."""

    key: str
    mark: str
    where: str
    words: str
    face: str = ""
    file: str = ""
    tick: Tick | None = None
    lines: tuple[str, ...] = ()
    rows: tuple[tuple[str, str], ...] = ()
    slots: tuple[Slot, ...] = ()
    svg: str = ""
    stop: str = ""
    skim: bool = False
    loud: bool = False


def cards(facts: Facts) -> tuple[Card, ...]:
    """Return the cards in the order of the work; the last takes what went wrong."""
    found = [*_first(facts), *_blank(facts)]
    for setup in ("A", "B", "C", "D"):
        if not facts.works_of(setup):
            continue
        found += _setup(facts, setup)
        if setup == "A":
            found += _page(facts, after_a_page(facts))
            found += _page(facts, pour_page(facts))
            flush = flush_page(facts)
            found += [] if flush is None else _page(facts, flush)
    return (*found, _wrong(facts))


def _first(facts: Facts) -> Iterator[Card]:
    """Yield a card for each warning that the first page begins with."""
    for k, block in enumerate(warnings(facts), start=1):
        if isinstance(block, Banner):
            yield Card(
                f"warning-{k}", "!", "Read this first", block.title, lines=block.lines,
                loud=block.grave,
            )  # fmt: skip


def _blank(facts: Facts) -> Iterator[Card]:
    page = measure_page(facts)
    for block in page.blocks:
        if isinstance(block, Steps):
            yield from (_step(facts, page, step) for step in block.steps)
    measure = blank_measure(facts)
    if measure is not None:
        yield _measure(page, measure, 0)


def _setup(facts: Facts, setup: Setup) -> Iterator[Card]:
    page = setup_page(facts, setup)
    drawn = setup_drawing(facts, setup, room=PHONE_ROOM)
    yield Card(
        f"{page.key}-begin", page.mark, page.title, turn_words(facts, setup), face=page.face,
        svg=drawn,
    )  # fmt: skip
    for card in _page(facts, page):
        if card.words == SKIM_STEP:
            yield from _skim(facts)
        else:
            yield card


def _page(facts: Facts, page: Page) -> Iterator[Card]:
    """Yield the cards of a page: its steps, figures to know, notes, and what is measured."""
    for k, block in enumerate(page.blocks):
        if isinstance(block, Steps):
            yield from (_step(facts, page, step) for step in block.steps)
        elif isinstance(block, Rows) and page.key == "pour":
            yield Card(f"{page.key}-rows-{k}", page.mark, page.title, block.title, rows=block.rows)
        elif isinstance(block, Notes | Banner):
            yield Card(
                f"{page.key}-notes-{k}", page.mark, page.title, block.title, lines=block.lines
            )
        elif isinstance(block, Measures):
            yield from (
                _measure(page, one, n) for n, one in enumerate(block.measures) if open_measure(one)
            )


def _step(facts: Facts, page: Page, step: SheetStep) -> Card:
    """Return the card of a step; where it runs a file, with its minutes, what stops it, and a box
    for the minutes that it took."""
    tick = step.tick
    card = Card(tick.key, page.mark, page.title, tick.label, tick=tick, file=step.file)
    found = [
        (work, file) for work in facts.works for file in facts.files(work) if file.name == step.file
    ]
    if not step.file or not found:
        return card
    work, file = found[0]
    return replace(
        card,
        rows=(
            ("cutter", work.cutter.describe()),
            ("stick-out", f"{mm(work.cutter.stick_out, 0)} {facts.unit}"),
            ("minutes", f"{file.minutes:.1f}"),
            ("watch", stops_of(facts, work, file) or "nothing stops it but you"),
        ),
        lines=tuple(marked(line) for line in work.watch[1:]),
        slots=(took_slot(file.program.stem),),
    )


def _measure(page: Page, measure: SheetMeasure, number: int) -> Card:
    key = f"{page.key}-measure-{number}"
    return Card(key, page.mark, page.title, measure.text, slots=measure.command.slots)


def _skim(facts: Facts) -> Iterator[Card]:
    """Yield the cards of the skim: what showing means, a pass each, what is measured then."""
    page, skim = skim_page(facts), facts.stackup.skim
    banner = next(block for block in page.blocks if isinstance(block, Banner))
    yield Card("skim-begin", page.mark, page.title, banner.title, page.face, lines=banner.lines)
    each = next(block for block in page.blocks if isinstance(block, Steps))
    for work in facts.works_of("B", "skim"):
        ticks = file_ticks(facts, "B")
        for number, plane in enumerate(skim.planes, start=1):
            name = f"{work.stem}-pass-{number}.nc"
            file = next((one for one in facts.files(work) if one.name == name), None)
            if file is None:
                continue
            shows = next((one for one in facts.lists.shows if one.number == number), None)
            likely = "" if shows is None else f"{shows.shares['groove'][1]:.0%} of the groove"
            yield Card(
                f"skim-{number}", page.mark, page.title, f"Pass at {mm(plane)} above the bed. Run",
                page.face, name,
                Tick(ticks[name], f"the pass at {mm(plane)} is cut", work.name in facts.done),
                tuple(step.tick.label for step in each.steps[1:]),
                (("cutter", work.cutter.describe()), ("minutes", f"{file.minutes:.1f}"),
                 ("likely to show", likely), ("after it", pass_word(facts, number))),
                (took_slot(file.program.stem),),
                stop=facts.record.shown(plane), skim=True,
            )  # fmt: skip
    yield from (
        _measure(page, one, n)
        for block in page.blocks
        if isinstance(block, Measures)
        for n, one in enumerate(block.measures)
        if open_measure(one)
    )


def _wrong(facts: Facts) -> Card:
    """Return the card for what went wrong, which belongs to no step."""
    slots = tuple(slot for one in went_wrong(facts) for slot in one.command.slots)
    note = Slot("short-note", "anything else, in a few words", "TEXT", short="note")
    return Card("wrong", "?", "If something goes wrong", "Write it down at once", slots=(*slots,
                note))  # fmt: skip


def record_lines(facts: Facts) -> tuple[RecordLine, ...]:
    """Return the lines that the boxes of all cards and pages make for `corepath record --from`."""
    found: list[RecordLine] = []
    blank = blank_measure(facts)
    measures = [] if blank is None else [blank]
    pages: Sequence[Page] = [
        after_a_page(facts),
        pour_page(facts),
        skim_page(facts),
        *(setup_page(facts, setup) for setup in _SETUPS if facts.works_of(setup)),
    ]
    measures += [
        one
        for page in pages
        for block in page.blocks
        if isinstance(block, Measures)
        for one in block.measures
        if open_measure(one)
    ]
    found += [command_lines(one.command) for one in (*measures, *went_wrong(facts))]
    for setup in _SETUPS:
        ticks = file_ticks(facts, setup) if facts.works_of(setup) else {}
        for name in dict.fromkeys(work.name for work in facts.works_of(setup)):
            files = [
                file
                for work in facts.works_of(setup, name)
                for file in facts.files(work)
                if not file.program.combined
            ]
            found += [took_line(file.program.stem) for file in files]
            if name not in facts.done and name != "skim" and files:
                found.append(cut_line(name, [ticks[file.name] for file in files]))
    note = Slot("short-note", "", "TEXT")
    return (*found, RecordLine((("--note ", note),)))


_SETUPS: tuple[Setup, ...] = ("A", "B", "C", "D")
