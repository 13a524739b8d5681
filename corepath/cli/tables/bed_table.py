"""The files of a bed as a table at most 80 columns wide, with what was found of each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import new_table, rendered, wrapped
from corepath.lengths import MM, Units, marked, mm
from corepath.motion.cutter import cutter_words

if TYPE_CHECKING:
    from corepath.planning.bed.bed_files import BedPlan

__all__ = ["bed_table"]


def bed_table(plan: BedPlan, units: Units = MM) -> str:
    """Return a row for each file with the height that its read-back found, and what is told."""
    table = new_table(units)
    table.add_column("file", no_wrap=True)
    table.heads(f"cutter, {units.short}", overflow="fold")
    for name in ("minutes", "cut to", "as read"):
        table.add_column(name, justify="right", no_wrap=True)
    for file in plan.files:
        table.row(
            file.name,
            cutter_words(file.program.cutter.facts(), " D", " R"),
            f"{file.minutes:.1f}",
            f"{mm(file.work.floor):.2f}",
            f"{mm(file.proof.cut_low):.2f}",
        )
    said = [f"{file.name}: {marked(text)}" for file in plan.files for text in file.told]
    return "\n".join([rendered(table), *(wrapped(units.text(text)) for text in said)])
