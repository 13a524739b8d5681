"""The listed cutters compared for the deck, as a table of at most 80 columns. Times in minutes, lengths in mm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from corepath.cli.tables import new_table, rendered, wrapped
from corepath.lengths import MM, Units, marked, mm

__all__ = ["deck_cutter_table"]


def deck_cutter_table(entries: Sequence[Mapping[str, Any]], units: Units = MM) -> str:
    """One row for each cutter, the quickest first; "" without entries. `entries` is `deck.cutters` of the report."""
    if not entries:
        return ""
    table = new_table(units)
    table.heads(f"deck with, {units.short}", overflow="fold")
    for name in ("minutes", "least", "ball lines", "ridges", "hollows"):
        table.add_column(name, justify="right", no_wrap=True)
    for entry in entries:
        high = entry["highest"]
        table.row(
            f"{marked(entry['cutter'])}{' (taken)' if entry['taken'] else ''}",
            f"{'about ' if entry['estimate'] else ''}{entry['minutes']:.1f}",
            f"{entry['least']:.1f}",
            f"{entry['ball_lines']:.1f}",
            "" if high is None else f"{mm(entry['lowest']):+.3f} to {mm(high):+.3f}",
            f"{mm(entry['hollow']):.3f}",
        )
    words = wrapped("ball lines: along the grain, with a ball of that diameter; hollows: what it cannot reach")
    return rendered(table) + f"\n{words}"
