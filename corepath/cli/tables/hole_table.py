"""The list of holes as a table at most 80 columns wide, with equal holes in one row. Lengths in
mm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import new_table, rendered
from corepath.lengths import MM, Units, mm

if TYPE_CHECKING:
    from corepath.work.lists import BoredStep, ListedHole

__all__ = ["hole_table"]


def hole_table(holes: Sequence[ListedHole], units: Units = MM) -> str:
    """Return a table with one row for each kind of hole; "" without holes."""
    rows: dict[tuple[str, ...], list[str]] = {}
    for hole in holes:
        key = (_step(hole.seat), _step(hole.bore), hole.ends, _made(hole))
        rows.setdefault(key, []).append(hole.id)
    if not rows:
        return ""
    table = new_table(units)
    table.add_column("holes", overflow="fold", max_width=20)
    for name in ("seat", "bore"):
        table.add_column(name, no_wrap=True)
    table.add_column("bore ends", overflow="fold")
    table.add_column("made", overflow="fold")
    for (seat, bore, ends, made), names in rows.items():
        table.row(", ".join(names), seat, bore, ends, made)
    return rendered(table) + f"\nholes: diameter x depth from the face that is up, {units.short}"


def _step(step: BoredStep | None) -> str:
    return "" if step is None else f"{mm(step.diameter):.2f} x {mm(step.depth):.2f}"


def _made(hole: ListedHole) -> str:
    return "; ".join(dict.fromkeys(f"T{step.cutter} {step.made}" for step in hole.steps))
