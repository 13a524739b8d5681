"""One page for each set-up: all that runs it, on one side of A4 or Letter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from corepath.job.pose import over_datum
from corepath.lengths import UNIT, marked, units_of, with_minus
from corepath.motion.program import Setup
from corepath.motion.zero_words import xy_words
from corepath.views.sheet_html.facts import Facts, PlannedFile, mm
from corepath.views.sheet_html.page_parts import Block, Cell, Drawing, Rows, Steps, Table, Tick
from corepath.views.sheet_html.pour_page import flush_page
from corepath.views.sheet_html.setup_drawing import (
    SetupRoom,
    drawing_height,
    marks_of,
    setup_drawing,
)
from corepath.views.sheet_html.setup_steps import setup_steps
from corepath.views.sheet_html.setup_words import dowel_rows, fixings, hold_words
from corepath.views.sheet_html.setups import setup_state
from corepath.views.sheet_html.skim_page import stop_word
from corepath.views.short_sheet.boxes import BoxGroup, box_groups, took_slot
from corepath.views.short_sheet.page_room import (
    PAPER_ROOMS,
    PAPERS,
    blocks_height,
    head_height,
)
from corepath.work.works import Work

__all__ = ["OnePage", "file_ticks", "one_pages", "pass_word", "stops_of", "turn_words"]

_MOST_BOXES = (24, 12, 6)
_MOST_FIXINGS = 6


@dataclass(frozen=True, slots=True)
class OnePage:
    """The page of one set-up: `face` is the face that is up, `turn` how it comes to lie so."""

    key: str
    setup: Setup
    title: str
    face: str
    turn: str
    blocks: tuple[Block | BoxGroup, ...]
    done: bool


def one_pages(facts: Facts) -> tuple[OnePage, ...]:
    """Return a page for each set-up that has work, in order."""
    setups: tuple[Setup, ...] = ("A", "B", "C", "D")
    return tuple(_page(facts, setup) for setup in setups if facts.works_of(setup))


def _page(facts: Facts, setup: Setup) -> OnePage:
    works = facts.works_of(setup)
    face = facts.scene(setup).pose.caption
    names = ", ".join(dict.fromkeys(work.name.replace("-", " ") for work in works))
    told: list[Block | BoxGroup] = [
        _laid(facts, setup, works),
        _files(facts, setup, works),
        _read(facts, setup, works),
        *_pour(facts, setup),
    ]
    room, boxes = _fitted(facts, setup, told)
    drawn = setup_drawing(facts, setup, room=room)
    drawing = Drawing(f"Set-up {setup}, {face.lower()}, from above", drawn)
    return OnePage(
        f"page-{setup.lower()}", setup, f"Set-up {setup}: {names}", face, turn_words(facts, setup),
        (drawing, *told, *boxes), setup_state(facts, setup) == "done",
    )  # fmt: skip


def _fitted(
    facts: Facts, setup: Setup, told: Sequence[Block | BoxGroup]
) -> tuple[SetupRoom, list[BoxGroup]]:
    """Return the room for the drawing, and the boxes, with which all of a set-up stays on one page:
    first the drawing gives way, then boxes go to the full sheet."""
    units = units_of(facts.job.units)
    never = bool(facts.despite or facts.withheld)
    head = head_height(facts.scene(setup).pose.caption, never=never)
    for most in _MOST_BOXES:
        boxes = box_groups(facts, setup, most)
        for room in PAPER_ROOMS:
            high = head + drawing_height(facts, setup, room)
            if all(
                high + blocks_height((*told, *boxes), units, paper) <= paper.height
                for paper in PAPERS
            ):
                return room, boxes
    return PAPER_ROOMS[-1], box_groups(facts, setup, _MOST_BOXES[-1])


def turn_words(facts: Facts, setup: Setup) -> str:
    """Return how the blank comes to lie in a set-up, in one line."""
    if setup == "D":
        return "the laid-up board in its cradle"
    marks = marks_of(facts, setup)
    seen = f"{marks['near']} nearest you, {marks['right']} on your right"
    verb = {"A": "Lay it", "B": "Turn it over", "C": "Turn it back"}[setup]
    return f"{verb}: {seen}"


def _laid(facts: Facts, setup: Setup, works: Sequence[Work]) -> Rows:
    """Return how it is held, where zero is, and what stands on the bed."""
    rows = [("hold", hold_words(facts, setup))]
    found: dict[str, list[str]] = {}
    for work in works:
        words = xy_words(work.zero, facts.record.shown)
        found.setdefault(words.replace("X-", "X−").replace("Y-", "Y−"), []).append(work.name)
    rows += [
        ("X0 Y0" if len(found) == 1 else f"X0 Y0, {', '.join(dict.fromkeys(names))}", words)
        for words, names in found.items()
    ]
    touched: dict[str, list[str]] = {}
    for work in works:
        zero = work.zero
        again = "" if zero.again else "; once, never again in this set-up"
        height = f", {mm(zero.z)} {over_datum(setup)}" if zero.z else ""
        system = "" if zero.system == "G54" else f"in {zero.system}: "
        words = f"{system}touch {marked(zero.touch)}{height}{again}"
        touched.setdefault(words, []).append(work.name)
    rows += [
        ("Z0" if len(touched) == 1 else f"Z0, {', '.join(dict.fromkeys(names))}", words)
        for words, names in touched.items()
    ]
    stands = fixings(facts, setup)
    rows += [*dowel_rows(facts, setup), *stands[:_MOST_FIXINGS]]
    if len(stands) > _MOST_FIXINGS:
        more = len(stands) - _MOST_FIXINGS
        rows.append(("", f"{more} more to keep off: see the drawing and the full sheet"))
    return Rows("Lay, hold, zero", tuple(rows))


def file_ticks(facts: Facts, setup: Setup) -> dict[str, str]:
    """Return the key of the tick for each file of a set-up, by the file's name: those of the full
    sheet where it has one."""
    works = tuple(work for work in facts.works_of(setup) if work.name != "flush")
    blocks: list[Block] = [setup_steps(facts, setup, works)] if works else []
    flush = flush_page(facts) if setup == "A" else None
    blocks += [] if flush is None else flush.blocks
    steps = [step for block in blocks if isinstance(block, Steps) for step in block.steps]
    ticks = {step.file: step.tick.key for step in steps if step.file}
    for work in facts.works_of(setup):
        if work.facing is not None and work.name == "skim":
            ticks |= {
                f"{work.stem}-pass-{number}.nc": f"pass-{number}"
                for number in range(1, len(work.facing.planes) + 1)
            }
    return ticks


def _files(facts: Facts, setup: Setup, works: Sequence[Work]) -> Table:
    """Return the files in the order in which they are run: cutter, stick-out, lowest point,
    minutes, and what stops them."""
    ticks = file_ticks(facts, setup)
    rows = [row for work in works for row in _rows(facts, work, ticks)]
    last = "what stops it, what to watch"
    head = ("", "file", "cutter", "stick-out", f"lowest {UNIT}", "min", "took", last)
    combined = next(
        (file.name for work in works for file in facts.files(work) if file.program.combined), ""
    )
    note = f"{combined} holds all passes and stops after each by itself. " if combined else ""
    note += (
        f"{_fit_words(facts)} Stop by hand when the tip is not where its message says, when "
        "anything moves, lifts or cracks, when the sound changes."
    )
    note += " If it stops midway: file ______________ line _______"
    return Table("Run in this order", head, tuple(rows), note=note, numbers=(3, 4, 5))


def _fit_words(facts: Facts) -> str:
    if facts.job.machine.tool_change == "m6":
        return "Each file changes the cutter by itself, then waits at M0."
    return "Each file waits at M0 for its cutter before the spindle turns."


def _rows(facts: Facts, work: Work, ticks: dict[str, str]) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows of a work: one a file, for a skim one a pass."""
    cutter, out = work.cutter.describe(), mm(work.cutter.stick_out, 0)
    files = [file for file in facts.files(work) if not file.program.combined]
    if not files:
        state = "cut, as recorded" if work.name in facts.done else "not written"
        yield ("", work.stem, cutter, out, _lowest(work.lowest), "–", "", state)
    for file in files:
        stem = file.program.stem
        key = ticks.get(file.name, f"run-{stem}")
        tick: Cell = Tick(key, f"{file.name} has run", work.name in facts.done)
        low = _plane(work, file)
        minutes = f"{file.minutes:.1f}"
        yield (tick, stem, cutter, out, _lowest(low), minutes, took_slot(stem),
               stops_of(facts, work, file))  # fmt: skip


def _plane(work: Work, file: PlannedFile) -> float:
    """Return the height that a file cuts down to."""
    number = file.program.stem.rpartition("-pass-")[2]
    if work.facing is not None and number.isdigit() and int(number) <= len(work.facing.planes):
        return work.facing.planes[int(number) - 1]
    return work.lowest


def _lowest(height: float) -> str:
    return with_minus(mm(height))


def pass_word(facts: Facts, number: int) -> str:
    """Return what to do after a pass of the skim."""
    word = stop_word(facts.stackup.skim, number)
    return "stop if all shows" if word == "all shows" else word


def stops_of(facts: Facts, work: Work, file: PlannedFile) -> str:
    """Return what stops a file beside its cutter: the stop at which its zero is looked at, or what
    is seen after a pass of the skim; else what its head says to watch first."""
    found = []
    way = work.approach
    if way is not None:
        high = facts.record.shown(round(way.above, 1))
        found.append(f"M0 on the first way down: tip {high} {facts.unit} over {way.face}")
    number = file.program.stem.rpartition("-pass-")[2]
    if work.facing is not None and number.isdigit():
        found.append(pass_word(facts, int(number)))
    else:
        found += [marked(line) for line in work.watch[:1] if not line.startswith("dowels here")]
    return "; ".join(one for one in found if one)


def _read(facts: Facts, setup: Setup, works: Sequence[Work]) -> Rows:
    """Return the heights to read: what the control shows where the tip stands, for each zero."""
    rows = []
    for zero, names in _zeros(works).items():
        at, words = zero
        shown = [
            f"{what} {with_minus(mm(height - at))}"
            for what, height in _heights(facts, setup, works, inserts=names == ["inserts"])
        ]
        named = "" if len(_zeros(works)) == 1 else f" ({', '.join(names)})"
        rows.append((f"Z from {words}{named}", " · ".join(shown)))
    gauge = _gauge(facts, setup)
    return Rows("Heights to read", (*rows, *gauge))


def _zeros(works: Sequence[Work]) -> dict[tuple[float, str], list[str]]:
    """Return the works' names by the height of their zero and what is touched for it."""
    found: dict[tuple[float, str], list[str]] = {}
    for work in works:
        names = found.setdefault((work.zero.z, work.zero.on), [])
        if work.name not in names:
            names.append(work.name)
    return found


def _heights(
    facts: Facts, setup: Setup, works: Sequence[Work], *, inserts: bool
) -> list[tuple[str, float]]:
    """Return what the tip can be set on in a set-up, with its height in the bed frame; `inserts`:
    once the skim has stopped."""
    safe = ("safe height", max(work.clear for work in works))
    if setup == "D":
        return [("lowest cut", min(work.lowest for work in works)), safe]
    table = facts.table
    face = table.face(setup).nominal
    if setup == "A":
        floor = table.column("A").floor.nominal
        return [("bed", 0.0), ("floor of the groove", floor), ("raw top", face), safe]
    if inserts:
        return [("bed", 0.0), ("skimmed face", facts.stackup.skim.planned_plane), safe]
    if setup == "B":
        skim = facts.stackup.skim
        named = "stop" if skim.recorded else "planned stop"
        planes = [("lowest pass", skim.planes[-1]), (named, skim.planned_plane)]
        return [("bed", 0.0), *planes, ("raw bottom", face), safe]
    deck = [("deck, edge", table.deck_lowest), ("deck, thickest", table.deck_highest)]
    return [("bed", 0.0), *deck, ("raw top", face), safe]


def _gauge(facts: Facts, setup: Setup) -> Iterator[tuple[str, str]]:
    """Yield what a depth gauge reads, with the least and the most that it may be."""
    table = facts.table
    if setup == "A":
        depth = table.column("A").depth
        low, high = depth.worst()
        yield "gauge from the raw top", f"groove {mm(depth.nominal)} deep, {mm(low)} to {mm(high)}"
    if setup == "B" and table.inserts:
        seats = sorted({round(one.seat.nominal, 4) for one in table.inserts.values()})
        words = ", ".join(mm(depth) for depth in seats)
        yield "gauge from the skimmed face", f"seats {words} deep"


def _pour(facts: Facts, setup: Setup) -> Iterator[Rows]:
    """Yield what is poured after A, as long as the wood waits for it."""
    if setup != "A" or facts.settled.skimmed:
        return
    pour = facts.lists.pour
    mixed = f"{round(pour.mixed.a_g, 2):.1f} g A + {round(pour.mixed.b_g, 2):.1f} g B"
    cups = len(pour.cups.cups)
    many = f", in {cups} cups" if cups > 1 else ""
    short = mm(facts.job.cast.pour_short)
    words = f"{pour.resin}: {mixed}{many}, level, to {short} below the raw top; full sheet, page P"
    yield Rows("Then pour", (("mix", words),))
