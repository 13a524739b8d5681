"""The listed cutters compared for the deck, as a table at most 80 columns wide. Times in minutes,
lengths in mm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import new_table, rendered, wrapped
from corepath.lengths import MM, Units, marked, mm
from corepath.reported import PLACES

if TYPE_CHECKING:
    from corepath.planning.report.deck_table import ComparedCutter

__all__ = ["deck_cutter_table"]


def deck_cutter_table(cutters: Sequence[ComparedCutter], units: Units = MM) -> str:
    """Return a table with one row for each cutter, the quickest first; "" without cutters."""
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
    return rendered(table) + f"\n{words}"


def _mm(length: float) -> float:
    """Return a length rounded as in the report."""
    return mm(round(length, PLACES))
