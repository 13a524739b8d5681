"""The list of holes as a table: those made alike in one row, at most 80 columns wide. Lengths in mm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from corepath.cli.tables import new_table, rendered
from corepath.lengths import MM, Units, mm

__all__ = ["hole_table"]


def hole_table(holes: Sequence[Mapping[str, Any]], units: Units = MM) -> str:
    """One row for each kind of hole; "" without holes. `holes` is the list of the report."""
    rows: dict[tuple[str, ...], list[str]] = {}
    for hole in holes:
        key = (_step(hole.get("seat")), _step(hole.get("bore")), str(hole["ends"]), _made(hole))
        rows.setdefault(key, []).append(str(hole["id"]))
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


def _step(step: Mapping[str, Any] | None) -> str:
    return "" if step is None else f"{mm(step['diameter']):.2f} x {mm(step['depth']):.2f}"


def _made(hole: Mapping[str, Any]) -> str:
    steps = [hole[name] for name in ("seat", "bore") if name in hole]
    return "; ".join(dict.fromkeys(f"T{step['cutter']} {step['made']}" for step in steps))
