"""How each cutter of a job is run, as a table at most 80 columns wide."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import new_table, rendered
from corepath.lengths import MM, Units, mm
from corepath.motion.cutter import cutter_words

if TYPE_CHECKING:
    from corepath.work import Work

__all__ = ["feed_table"]


def feed_table(works: Sequence[Work], units: Units = MM) -> str:
    """Returns a table with a row for each operation: cutter, speed, feeds, depth and stepover."""
    table = new_table(units)
    table.add_column("operation", overflow="fold")
    table.add_column("cutter", no_wrap=True)
    for name in ("rpm", "feed", "finish", "ramp", "plunge", "depth", "over"):
        table.add_column(name, justify="right", no_wrap=True)
    for work in works:
        run = work.cutting
        table.row(
            work.stem,
            cutter_words(work.cutter.facts(), " D", " R"),
            f"{run.rpm:.0f}",
            *(f"{mm(feed):.0f}" for feed in (run.feed, run.finish, run.ramp, run.plunge)),
            f"{mm(run.depth):.1f}",
            f"{mm(run.stepover):.1f}",
        )
    words = f"feeds: {units.short} a minute; depth of a layer and stepover at most, {units.short}"
    return f"{rendered(table)}\n{units.text(words)}"
