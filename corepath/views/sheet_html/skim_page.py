"""The skim, one row for each pass: what shows, when to stop, and what is measured then."""

from __future__ import annotations

from collections.abc import Sequence

from corepath.job.record.next_steps import blank_places
from corepath.job.record.settled import Settled
from corepath.reported import PLACES
from corepath.stackup.checks.verdict import Check
from corepath.stackup.skim import SkimPlan
from corepath.views.sheet_html.facts import Facts, mm
from corepath.views.sheet_html.page_parts import (
    Banner,
    Block,
    Break,
    Cell,
    Measures,
    Page,
    SheetMeasure,
    Slot,
    State,
    Steps,
    Table,
    Tick,
)  # fmt: skip
from corepath.views.sheet_html.setup_steps import stepped
from corepath.views.sheet_html.work_state import pour_state

__all__ = ["skim_page", "stop_word"]

_MOST_PLUGS = 8
_ROOM, _MOST_PASSES = 8, 8
"""With more castings or passes, measuring takes a second sheet of paper."""


def skim_page(facts: Facts) -> Page:
    """Return the page to have at the machine while the bottom is skimmed."""
    skim = facts.stackup.skim
    stop = mm(facts.stackup.skim.planned_plane)
    state = facts.state(["skim"], ["groove"])
    if state == "now" and pour_state(facts) != "done":
        state = "ahead"
    now = f"Once all shows: do not start the next pass. Record its height. Stop planned: {stop}."
    if skim.recorded:
        now = f"It stopped at {stop}, as recorded: do not start the skim again."
    rule = (
        "Showing: both walls seen, full width, all round and at every plug.",
        now,
        f"Never below {mm(skim.planes[-1])}: the deck would be too thin.",
    )
    blocks: tuple[Block, ...] = (
        Banner("Hands clear until the spindle has stopped", rule, grave=False),
        _passes(facts, skim, state),
        *(() if skim.recorded else (_stops(facts),)),
        Steps("Each pass", stepped("skim-each", [(line, "", state == "done") for line in _EACH])),
        *(
            (Break(),)
            if len(facts.stackup.castings) > _ROOM or len(skim.planes) > _MOST_PASSES
            else ()
        ),
        Measures("Measure and record", _measures(facts)),
    )
    return Page(
        "skim",
        "B",
        "The skim, pass by pass",
        facts.scene("B").turned,
        blocks,
        facts.scene("B").pose.caption,
        state,
        "skim",
    )


_EACH = (
    "Run one file, or let 05-B-skim-all.nc stop by itself. Start again only if something does not "
    "show yet.",
    "Spindle still? Vacuum the face; look along the groove, all round, at every plug. Mark what "
    "does not show.",
    "Z is not touched again between passes. A porous or hollow plug: stop, record it as a void.",
)


def _passes(facts: Facts, skim: SkimPlan, state: State) -> Table:
    plugs = [casting.casting.id for casting in facts.stackup.castings[1:]]
    one_by_one = len(plugs) <= _MOST_PLUGS
    head = [
        "pass",
        "cut",
        "file",
        "groove shows",
        *(plugs if one_by_one else ["plugs that show"]),
        "stop if",
        "measured",
    ]
    rows: list[tuple[Cell, ...]] = []
    stop, made = skim.planned_stop, facts.settled
    for entry in facts.lists.shows:
        number, shows = entry.number, entry.shares
        some = [_word(shows[name]) for name in plugs]
        if not one_by_one:
            some = [f"{sum(shows[name][1] >= 1.0 for name in plugs)} of {len(plugs)}"]
        gone = (state == "done" and number <= stop) or _is_cut(made, number, entry.plane)
        measured = Slot(
            f"left-{number}",
            f"thickness measured after the pass at {mm(entry.plane)}",
            "",
            facts.unit,
        )
        tick = Tick(f"pass-{number}", f"the pass at {mm(entry.plane)} is cut", gone)
        name = mm(entry.plane) + (" *" if number == stop else "")
        sight = (_share(shows["groove"]), *some, stop_word(skim, number))
        rows.append((name, tick, f"…pass-{number}", *sight, measured))
    note = (
        "pass: its height above the bed; file: 05-B-skim-pass-N.nc. Shares: likely, in brackets "
        "least to most. "
    )
    note += "* the stop "
    note += "recorded." if skim.recorded else "planned; what you see decides."
    strong = (stop - 1,)
    return Table(
        "Passes", tuple(head), tuple(rows), note=note, numbers=(0,), strong=strong, wide=True
    )


def _is_cut(settled: Settled, number: int, plane: float) -> bool:
    """Whether a pass has been cut according to the record: by its height (`plane`, mm), or by its
    number where no height is recorded.

    Heights come first, since planning again may number the passes anew.
    """
    # Planes closer than this are one, since files have four decimals (`SAME_PLANE` of the record).
    if settled.deepest is not None:
        return plane >= settled.deepest - 1e-4
    return number <= settled.passes


def _word(shares: Sequence[float]) -> str:
    worst, likely, best = shares
    if worst >= 1.0:
        return "surely"
    if likely >= 1.0:
        return "likely"
    return "perhaps" if best > 0.0 else "no"


def _share(shares: Sequence[float]) -> str:
    worst, likely, best = (round(100 * share) for share in shares)
    if worst == likely == best:
        return f"{likely} %"
    return f"{likely} % ({worst} to {best})"


def stop_word(skim: SkimPlan, number: int) -> str:
    """Return what to do after a pass, by its number."""
    earliest, last = skim.earliest, len(skim.planes)
    if skim.recorded:
        return (
            "stopped here"
            if number == skim.planned_stop
            else "not cut"
            if number > skim.planned_stop
            else ""
        )
    if number == last:
        return "stop in any case"
    if earliest is None or number < earliest:
        return (
            "go on"
            if skim.first_sight is None or number < skim.first_sight
            else "some may show: look"
        )
    return "all shows"


def _stops(facts: Facts) -> Table:
    """Return a table of the worst-case margins at each possible stop."""
    stops = facts.lists.stops
    head = ["", *(mm(stop.plane) + (" *" if stop.planned else "") for stop in stops.stops)]
    rows = [
        (row.name, *(_room(check) for check in row.checks)) for row in stops.rows if not row.by_eye
    ]
    wanted = [row for row in rows if not row[0].startswith("fill ")]
    fills = [row for row in rows if row[0].startswith("fill ")]
    if len(fills) > _MOST_PLUGS:
        fills = [
            row for row in fills if any("fail" in cell or "caution" in cell for cell in row[1:])
        ]
    note = "Margin beyond the limit in the worst case."
    numbers = tuple(range(1, len(head)))
    return Table("If it stops there", tuple(head), (*fills, *wanted), note=note, numbers=numbers)


def _room(check: Check) -> str:
    words = mm(round(check.worst, PLACES) - round(check.limit, PLACES))
    return words if check.verdict == "ok" else f"{words} {check.verdict}"


def _measures(facts: Facts) -> tuple[SheetMeasure, ...]:
    settled, record = facts.settled, facts.record
    height = Slot(
        "stop",
        "height of the pass after which all castings showed",
        "HEIGHT",
        facts.unit,
        short="height",
    )
    pieces: list[str | Slot] = [" --after-skim"]
    for k, (x, y) in enumerate(blank_places(record), start=1):
        place = f"{record.shown(x)} {record.shown(y)}"
        at = f"X{place.replace(' ', ' Y')}".replace("-", "−")
        slot = Slot(f"after-{k}", f"thickness after the skim at {at}", "T", facts.unit, short=at)
        pieces += [f" --thickness {place} ", slot]
    return (
        SheetMeasure(
            "The height of the pass after which everything shows",
            facts.command(" --stop-at ", height),
            "" if settled.stop_plane is None else f"recorded: {record.height(settled.stop_plane)}",
        ),
        SheetMeasure(
            "Thickness after it, by callipers, places as in A",
            facts.command(*pieces),
            facts.held(("", thickness) for _, _, thickness in settled.thickness_after),
        ),
    )
