"""The other stops and blanks that the read-back tried the files on, as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.text import Text

from corepath.cli.tables import new_table, rendered

__all__ = ["case_table"]

_COLUMNS = (
    ("least_floor", "floor"), ("thinnest", "thinnest"), ("edge_casting", "edge"),
    ("wood_over_seat", "seats"), ("load", "load"),
)  # fmt: skip


def case_table(cases: Sequence[Mapping[str, Any]]) -> str:
    """One row for each case; empty without cases.

    In mm the least wood under the castings, the thinnest place of the board, the least casting at its edge, the least
    wood over seats; the load as a share of the heaviest cut planned; the kinds of findings.
    """
    if not cases:
        return ""
    table = new_table()
    table.add_column("tried also", no_wrap=True)
    for _, name in _COLUMNS:
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("found", overflow="fold")
    for case in cases:
        figures = [f"{case[key]:.2f}" if key in case else "" for key, _ in _COLUMNS]
        found = ", ".join(case["kinds"]) or ("deck planned again from the stop" if case["planned_again"] else "nothing")
        table.add_row(Text(case["says"]), *figures, found)
    return rendered(table)
