"""The listed cutters compared for the deck, as a table at most 80 columns wide. Times in minutes,
lengths in mm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import new_table, rendered, wrapped
from corepath.lengths import MM, UNIT, Units, marked, mm
from corepath.reported import PLACES

if TYPE_CHECKING:
    from corepath.planning.exploring.explore import Explored
    from corepath.planning.report.deck_table import ComparedCutter
    from corepath.planning.report.ridge_minutes import RidgeMinutes

__all__ = ["deck_cutter_table", "explored_lines"]


def deck_cutter_table(
    cutters: Sequence[ComparedCutter], ridges: Sequence[RidgeMinutes] = (), units: Units = MM
) -> str:
    """Return a table with one row for each cutter, the quickest first, and what higher ridges would
    take; "" without cutters."""
    if not cutters:
        return ""
    table = new_table(units)
    table.heads(f"deck with, {units.short}", overflow="fold")
    for name in ("minutes", "least", "ball lines", "ridges", "hollows"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in cutters:
        low, high = one.lowest, one.highest
        table.row(
            f"{marked(one.cutter)}{' (taken)' if one.taken else ''}",
            f"{'about ' if one.estimate else ''}{round(one.minutes, 2):.1f}",
            f"{round(one.least, 2):.1f}",
            f"{round(one.ball_lines, 2):.1f}",
            "" if low is None or high is None else f"{_mm(low):+.3f} to {_mm(high):+.3f}",
            f"{_mm(one.hollow):.3f}",
        )
    words = wrapped(
        "ball lines: along the grain, with a ball of that diameter; hollows: what it cannot reach"
    )
    lines = [words, *([wrapped(units.text(_ridges(ridges)))] if len(ridges) > 1 else [])]
    return "\n".join([rendered(table), *lines])


def _ridges(ridges: Sequence[RidgeMinutes]) -> str:
    """Return the minutes of the finished deck for each height of its ridges."""
    told = [
        f"{_mm(one.scallop):g}: {'about ' if one.estimate else ''}{one.minutes:.1f} min with "
        f"{marked(one.cutter)}"
        for one in ridges
    ]
    return f"ridges of at most (deck.scallop, {UNIT}) {'; '.join(told)}"


def explored_lines(explored: Sequence[Explored], units: Units = MM) -> str:
    """Return what one cutter more would save, a line for each that was tried."""
    return "\n".join(wrapped(units.text(_explored(one))) for one in explored)


def _explored(one: Explored) -> str:
    words = f"with one cutter more, {marked(one.cutter)}: "
    if one.against:
        return f"{words}no plan, {marked(one.against)}"
    if not one.used_for:
        return f"{words}it would not be used"
    # Minutes; less would print as 0.0.
    if one.saves < 0.05:
        return f"{words}nothing saved; {one.minutes:.1f} min in all"
    return (
        f"{words}{one.minutes:.1f} min in all, {one.saves:.1f} less; for {', '.join(one.used_for)}"
    )


def _mm(length: float) -> float:
    """Return a length rounded as in the report."""
    return mm(round(length, PLACES))
