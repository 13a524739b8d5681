"""The list of holes, the stack-up with its checks, and what to keep for the next board."""

from __future__ import annotations

from corepath.lengths import marked, unit_word
from corepath.reported import PLACES
from corepath.stackup.checks.verdict import Check
from corepath.views.sheet_html.facts import Facts, figure, mm, place
from corepath.views.sheet_html.page_parts import (
    Block,
    Break,
    Cell,
    Drawing,
    Measures,
    Notes,
    Page,
    SheetMeasure,
    Slot,
    Steps,
    Table,
)
from corepath.views.sheet_html.setup_steps import stepped
from corepath.views.sheet_html.stack_drawing import stack_drawing

__all__ = ["holes_page", "next_page", "stack_page", "went_wrong"]


def holes_page(facts: Facts) -> Page:
    """Return the page of all holes: what each is, its place on the board and on the bed, its size,
    how it is made, and by which file."""
    rows = []
    holes = facts.lists.holes
    for hole in holes:
        for k, step in enumerate(hole.steps):
            name = hole.id if k == 0 else ""
            kind = "hole" if hole.kind == "dowel" else "seat" if step is hole.seat else "bore"
            sizes = (mm(step.diameter), mm(step.depth), f"T{step.cutter}, {step.made}", step.file)
            rows.append((name, hole.setup, place(*hole.at), place(*hole.lies), kind, *sizes))
    head = (
        "hole",
        "set-up",
        "on the board",
        "as it lies",
        "part",
        "diameter",
        "deep",
        "made",
        "file",
    )
    note = (
        "Places from the blank's middle. Deep: from the face that is up; for inserts the skimmed "
        "face at the stop."
    )
    hardware = dict.fromkeys(
        f"{hole.name}: {hole.insert.hardware.title}, {marked(hole.insert.hardware.message)}"
        for hole in holes
        if hole.insert is not None and hole.insert.hardware is not None
    )
    ends = dict.fromkeys(f"{hole.name} ends {hole.ends}" for hole in holes)
    notes = ("Measure the hardware in your hand before you bore for it.", *hardware, *ends)
    blocks: tuple[Block, ...] = (
        Table("Holes", head, tuple(rows), note=note, numbers=(5, 6), wide=True),
        Notes("Hardware", notes),
    )
    return Page("holes", "H", "List of holes", "dowels and inserts", blocks, short="holes")


def stack_page(facts: Facts) -> Page:
    """Return the page with the stack-up drawn and a table of all checks."""
    rows: list[tuple[Cell, ...]] = []
    strong = []
    for k, check in enumerate(facts.checks):
        if check.verdict != "ok":
            strong.append(k)
        rows.append(
            (check.id, check.verdict, *(figure(one, check.unit) for one in (check.value,
            check.worst, check.limit)),
             unit_word(check.unit), check.where, _largest(check))
        )  # fmt: skip
    note = (
        "Worst: with every error against it. Each must be at least its limit. Largest "
        "contributors: the errors that take most of "
    )
    note += "it. Fill is judged at the lowest pass until a stop is recorded, and less its margin."
    head = ("check", "", "value", "worst", "at least", "", "where", "largest contributors")
    blocks: tuple[Block, ...] = (
        Drawing(
            "Section of the stack-up: blank, groove, plug, insert and deck with their checks",
            stack_drawing(facts),
        ),
        Break(),
        Table(
            "Checks",
            head,
            tuple(rows),
            note=note,
            numbers=(2, 3, 4),
            strong=tuple(strong),
            wide=True,
        ),
    )
    return Page(
        "stack",
        "S",
        "Stack-up",
        "all heights of the core and the margin of each check",
        blocks,
        short="stack-up",
    )


def _largest(check: Check) -> str:
    return ", ".join(
        f"{name} {mm(costs)}" for name, costs in check.largest[:2] if round(costs, PLACES) > 0
    )


def went_wrong(facts: Facts) -> tuple[SheetMeasure, ...]:
    """Return what is recorded when the work is broken off; on a screen only, where it can be
    copied."""
    file = Slot("stopped-file", "file that stopped", "FILE", short="file")
    line = Slot("stopped-line", "line at which it stopped", "LINE", short="line")
    number = Slot("broken-cutter", "number of the broken cutter", "NUMBER", short="cutter")
    setup = Slot("shift-setup", "set-up that lay off its place", "SETUP", short="set-up")
    by = [
        Slot(f"shift-{axis.lower()}", f"how far off along {axis}", f"D{axis}", facts.unit, axis)
        for axis in "XYZ"
    ]
    insert = Slot("off-insert", "insert that lies off its place", "NAME", short="insert")
    off = [
        Slot(f"off-{axis.lower()}", f"how far its seat lies off along {axis} of the board",
             f"D{axis}", facts.unit, f"seat off, {axis}")
        for axis in "XY"
    ]  # fmt: skip
    void = Slot("void-name", "casting with a void", "NAME", short="casting with a void")
    return (
        SheetMeasure(
            "A file stopped: at which line",
            facts.command(" --stopped ", file, " ", line),
            screen=True,
        ),
        SheetMeasure("A cutter broke", facts.command(" --broken ", number), screen=True),
        SheetMeasure(
            "A set-up lay off its place: where it is less where it should be",
            facts.command(" --shift ", setup, " ", by[0], " ", by[1], " ", by[2]),
            screen=True,
        ),
        SheetMeasure(
            "A seat lies off its place: where it is less where it should be",
            facts.command(" --off-place ", insert, " ", off[0], " ", off[1]),
            screen=True,
        ),
        SheetMeasure("A casting has a void", facts.command(" --void ", void), screen=True),
    )


def next_page(facts: Facts) -> Page:
    """Return the page of what to measure on this core so that the next one comes out better."""
    unit = facts.unit
    diameters = [
        SheetMeasure(
            f"Hole or slot cut by {work}: what the cutter really cuts",
            facts.command(
                f" --coupon-diameter {number} ",
                Slot(f"cut-{number}", f"diameter cut by {work}", "D", unit, short="diameter cut"),
            ),
            "recorded" if number in facts.settled.coupon_diameter else "",
        )
        for number, work in _cutters(facts).items()
    ]
    bias = Slot(
        "coupon-z", "by how much floors came out too high", "BIAS", unit, short="too high by"
    )
    file = Slot("minutes-file", "file that was timed", "FILE", short="file")
    took = Slot("minutes-took", "minutes that it ran", "MINUTES", "min", short="took")
    width = Slot("coupon-width", "width of the groove as cut", "W", unit, short="width")
    measures = (
        *diameters[:4],
        SheetMeasure(
            "By how much floors came out too high; minus if too low",
            facts.command(" --coupon-z ", bias),
        ),
        SheetMeasure("Width of the groove as cut", facts.command(" --coupon-groove-width ", width)),
        SheetMeasure(
            "Minutes that a file ran, without the time it waited at stops",
            facts.command(" --minutes ", file, " ", took),
            screen=True,
        ),
    )
    lines = (
        "Thickness of the finished core at both ends, the middle and the edge; against the deck's "
        "figures.",
        "Height of the pass at which each casting showed, and of the resin: did it shrink as "
        "planned?",
        "Width across the grain, before A and now: how far the wood moved.",
        "Seats and barrels: try the hardware; pull-test a coupon before anyone rides on it.",
        "The bed: a gauge over it, cutter by cutter, before the next blank. Face it if it has "
        "moved.",
        "Minutes that each file really took. What you had to guess.",
    )
    blocks: tuple[Block, ...] = (
        Steps("Look and measure", stepped("next", [(line, "", False) for line in lines])),
        Measures("Record on the coupon or here, before the next plan", measures),
        Measures("If something goes wrong, at once", went_wrong(facts)),
        Table(
            "Write down",
            ("", "wanted", "came out"),
            tuple(
                (name, wanted, Slot(f"note-{k}", f"{name} as it came out", "", unit))
                for k, (name, wanted) in enumerate(_wanted(facts), start=1)
            ),
        ),
    )
    return Page(
        "next", "N", "For the next board", "what this core has to tell", blocks, short="next board"
    )


def _cutters(facts: Facts) -> dict[int, str]:
    return {work.cutter.number: work.cutter.describe() for work in facts.works}


def _wanted(facts: Facts) -> tuple[tuple[str, str], ...]:
    stack = facts.stackup
    return (
        ("core, thickest", mm(stack.deck_highest)),
        ("core, edge", mm(stack.deck_lowest)),
        ("groove, width", mm(facts.job.groove.width)),
        ("thickness after the skim", mm(stack.skim.planned_plane)),
        ("dowel to dowel", mm(_dowels_apart(facts))),
    )


def _dowels_apart(facts: Facts) -> float:
    (x0, y0), (x1, y1) = facts.board.dowels[0].at, facts.board.dowels[1].at
    return float(((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5)
