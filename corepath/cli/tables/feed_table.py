"""How each cutter of a job is run, as a table at most 80 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import WIDTH, new_table, rendered
from corepath.lengths import MM, Units, mm, square_cm
from corepath.motion.cutter import cutter_words

if TYPE_CHECKING:
    from corepath.work import Work
    from corepath.work.least_time.waste_minutes import WasteMinutes

__all__ = ["feed_table", "waste_line"]

_LEAST_SAVED = 0.1
"""min; less is not worth a line."""


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


def waste_line(found: WasteMinutes | None, units: Units = MM) -> Iterator[str]:
    """Yields a line that says what `deck.beyond` saves, or would save; none where it cannot be
    given, or saves less than a tenth of a minute."""
    if found is None or found.saves < _LEAST_SAVED:
        return
    what = "saves" if found.given else "would save"
    says = (
        f"deck.beyond = {mm(found.beyond):g} {what} about {found.saves:.1f} min of finishing lines "
        f"over {square_cm(found.waste / 100.0):.0f~} of waste"
    )
    yield textwrap.fill(units.text(says), WIDTH, subsequent_indent="  ")
