"""The other stops and blanks on which the read-back tried the files, as a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from corepath.cli.tables.paragraphs import new_table, rendered
from corepath.lengths import MM, Units, mm
from corepath.reported import reported

if TYPE_CHECKING:
    from corepath.readback.result import CaseOutcome

__all__ = ["case_table"]

_COLUMNS = (
    ("least_floor", "floor"), ("thinnest", "thinnest"), ("edge_casting", "edge"),
    ("wood_over_seat", "seats"), ("load", "load"),
)  # fmt: skip


def case_table(cases: Sequence[CaseOutcome], units: Units = MM) -> str:
    """Return a table with one row for each case; "" without cases.

    Its columns: the least wood under the castings, the thinnest place of the board, the least
    casting at its edge and the least wood over seats, all lengths; the load as a share of the
    heaviest cut planned; the kinds of findings.
    """
    if not cases:
        return ""
    table = new_table(units)
    table.heads(f"tried also, {units.short}", no_wrap=True)
    for _, name in _COLUMNS:
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("found", overflow="fold")
    for case in cases:
        held = (
            (reported(case.figures.get(key)), float if key == "load" else mm) for key, _ in _COLUMNS
        )
        figures = ["" if one is None else f"{kind(one):.2f}" for one, kind in held]
        found = ", ".join(case.kinds) or (
            "deck planned again from the stop" if case.again else "nothing"
        )
        table.row(case.case.message, *figures, found)
    return rendered(table)
