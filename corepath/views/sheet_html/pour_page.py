"""The pour: what must be tight and level, the mix for each casting, how low the resin may lie now
and at each stop."""

from __future__ import annotations

from corepath.lengths import either, out_of_level
from corepath.stackup.pour.mixing import Parts
from corepath.stackup.pour.pour import PourPlan
from corepath.views.sheet_html.facts import Facts, mm
from corepath.views.sheet_html.page_parts import (
    Banner,
    Block,
    Break,
    Drawing,
    Measures,
    Notes,
    Page,
    Rows,
    SheetMeasure,
    Slot,
    Steps,
    Table,
)  # fmt: skip
from corepath.views.sheet_html.setup_drawing import setup_drawing
from corepath.views.sheet_html.setup_steps import cut_measure, stepped, touching
from corepath.views.sheet_html.setups import files_table
from corepath.views.sheet_html.work_state import pour_state

__all__ = ["flush_page", "pour_page"]

_MOST_FILLS = 12
_MOST_CASTINGS = 5
"""More of them need a second sheet of paper, and so do notes before the pour."""


def pour_page(facts: Facts) -> Page:
    """Return the page of the pour."""
    state, pour = pour_state(facts), facts.lists.pour
    notes = tuple(note for casting in pour.castings for note in casting.notes or ())
    blocks: list[Block] = [Banner("Mind", notes, grave=False)] if notes else []
    blocks += [
        _before(state == "done"),
        _mix(pour),
        _castings(facts, pour),
        *((Break(),) if notes or len(facts.stackup.castings) > _MOST_CASTINGS else ()),
        Notes("While pouring", pour.cups.notes + pour.cups.cautions),
        _after(facts, state == "done"),
        _fills(facts),
    ]
    return Page(
        "pour",
        "P",
        "The pour",
        "after A, the blank still deck side up",
        tuple(blocks),
        "DECK UP, LEVEL",
        state,
        "pour",
    )


def _before(done: bool) -> Steps:
    lines = (
        "Seal from below where the map of the wood says seal here, and every crack you see. Film "
        "under the blank.",
        "Tape the dowel holes, above and below. Vacuum groove and pockets; dry wood only.",
        "Level on the deck face, not the bench: the level must say the same turned end for end.",
    )
    return Steps("Before", stepped("pour-before", [(line, "", done) for line in lines]))


def _mix(pour: PourPlan) -> Rows:
    cups, extra = pour.cups.cups, f"{pour.extra * 100:.0f} % extra"
    whole = f"{round(pour.volume, 3):.1f} cm³; {_parts(pour.mixed)}, {extra} counted"
    rows = [("resin", pour.resin), ("in all", whole)]
    if len(cups) > 1:
        rows.append(("each cup", f"{len(cups)} cups alike: {_parts(pour.cups.each)}"))
    for cup in cups:
        fills = ", ".join(f"{fill.id} {round(fill.cm3, 2):.1f}" for fill in cup.fills)
        rows.append((f"cup {cup.number}", f"fills {fills} cm³, in this order"))
    for layer in pour.cups.layers:
        rows.append((layer.id, f"in {layer.pours} pours, each cured as the maker says"))
    return Rows("Mix", tuple(rows))


def _parts(mixed: Parts) -> str:
    return f"{round(mixed.a_g, 2):.1f} g A + {round(mixed.b_g, 2):.1f} g B"


def _castings(facts: Facts, pour: PourPlan) -> Table:
    stops = pour.castings[0].stops or ()
    planned = facts.stackup.skim.planned_stop
    head = [
        "casting",
        "cm³",
        "A g",
        "B g",
        f"level {either('mm/m', 'in/ft')}",
        "expected low",
        "may now",
    ]
    head += [mm(stop.plane) + (" *" if stop.number == planned else "") for stop in stops]
    rows = []
    for casting in pour.castings:
        least = None if casting.level is None else casting.level.least
        level = (
            "any"
            if least is None
            else "none"
            if least < 0
            else f"{out_of_level(round(least, 3)):.2f}"
        )
        mixed, of = casting.mixed, casting.pour
        cells = [
            of.id,
            f"{round(of.volume, 3):.1f}",
            f"{round(mixed.a_g, 2):.1f}",
            f"{round(mixed.b_g, 2):.1f}",
        ]
        cells += [level, mm(of.p_expected.nominal), mm(of.p_limit)]
        rows.append((*cells, *(mm(stop.p_limit_worst) for stop in of.stops)))
    note = (
        f"Poured to {mm(facts.job.cast.pour_short)} below the raw top. Low: how far the cured "
        "resin lies below the "
        "raw top at its lowest point. May now: until a stop is known. Under a height: the most it "
        "may if the skim "
        "stops there, every error against it; * planned. Level: out of level at most, a card that "
        "thick under one "
        f"end of a {either('1 m', '1 ft')} level."
    )
    return Table(
        "Castings",
        tuple(head),
        tuple(rows),
        note=note,
        numbers=tuple(range(1, len(head))),
        wide=True,
    )


def _after(facts: Facts, done: bool) -> Steps:
    proud = (
        "Scrape off what stands proud: cured resin on the raw top is a shim in B. Check with a "
        "straight-edge."
    )
    if facts.job.cast.flush != "none":
        proud = "What stands proud is planed off next, the blank still held as for the groove."
    lines = (
        "Leave it alone until it has cured in full, as long as the maker's sheet says, before any "
        "cutter touches it.",
        "Look for bubbles, voids and leaks; write down each casting that has one. Take off tape, "
        "film and leaks below.",
        proud,
    )
    return Steps("After", stepped("pour-after", [(line, "", done) for line in lines]))


def _fills(facts: Facts) -> Measures:
    settled, names = facts.settled, [casting.casting.id for casting in facts.stackup.castings]
    found = []
    for first in range(0, len(names), _MOST_FILLS):
        some = names[first : first + _MOST_FILLS]
        pieces: list[str | Slot] = []
        for name in some:
            label = f"how far the resin of {name} lies below the raw top"
            slot = Slot(f"fill-{name}", label, "P", facts.unit, short=name)
            pieces += [f" --fill {name} ", slot]
        done = facts.held((name, settled.fill[name]) for name in some if name in settled.fill)
        if any(name in settled.topped_up for name in some):
            done += "; topped up since: measure again"
        says = (
            "How far the cured resin lies below the raw top at its lowest point; minus where it "
            "stands proud"
        )
        found.append(SheetMeasure(says, facts.command(*pieces), done))
    top = Slot("top-name", "casting that was topped up", "NAME", short="casting")
    grams = Slot("top-g", "grams poured on top", "G", "g", short="poured on top")
    again = facts.command(" --top-up ", top, " ", grams)
    found.append(SheetMeasure("Only if one is topped up; measure its fill again after", again))
    note = (
        "The answer says whether a casting is too low and what fixes it, before anything is "
        "milled over it."
    )
    return Measures("Measure and record", tuple(found), note=note)


def flush_page(facts: Facts) -> Page | None:
    """Return the page of the pass in A that planes off proud resin; None for a job without it."""
    works = facts.works_of("A", "flush")
    if not works:
        return None
    done = "flush" in facts.done
    flush = facts.lists.flush
    where = "the whole face" if flush.kind == "face" else "each casting and a band round it"
    says = (
        [] if flush.plane is None else [("plane", f"{where}, at {mm(flush.plane)} above the bed")]
    )
    if flush.window_costs is not None:
        says.append(("costs", f"{mm(flush.window_costs)} of the window"))
    lines = [
        ("Only when the resin is hard right through.", "", done),
        ("The blank lies and is held just as it was for the groove; push it.", "", done),
        *((words, "", done) for words in touching(facts, works[0], None)),
        *(("Run", f"{work.stem}.nc", done) for work in works),
        (
            "Hands clear until the spindle has stopped. Straight-edge over every casting: nothing "
            "may rock.",
            "",
            done,
        ),
    ]
    blocks: tuple[Block, ...] = (
        Drawing("Set-up A, deck up, as you see it from above", setup_drawing(facts, "A", "flush")),
        Rows("Flush", tuple(says)),
        files_table(facts, works),
        Steps("Do", stepped("flush", lines)),
        Measures("Record", (cut_measure(facts, ["flush"]),)),
    )
    # A flush planes cured resin: the groove being cut is not enough, it must have been poured.
    state = facts.state(["flush"], ["groove"]) if pour_state(facts) == "done" else "ahead"
    return Page(
        "flush",
        "A",
        "Flush: proud resin planed off",
        "before the blank is turned",
        blocks,
        "DECK UP",
        state,
        "flush",
    )
