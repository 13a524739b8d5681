"""The other stops and blanks that the read-back tried the files on, as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.text import Text

from corepath.cli.tables import new_table, rendered

__all__ = ["case_table"]

_COLUMNS = (
    ("least_floor", "under casting"), ("thinnest", "thinnest"), ("edge_casting", "edge casting"),
    ("wood_over_seat", "over seats"), ("load", "load"),
)  # fmt: skip


def case_table(cases: Sequence[Mapping[str, Any]]) -> str:
    """One row for each case: lengths in mm, the load as a share of the heaviest cut planned. Empty without cases."""
    if not cases:
        return ""
    table = new_table()
    table.add_column("tried also", overflow="fold")
    for _, name in _COLUMNS:
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("found only there or elsewhere too", overflow="fold")
    for case in cases:
        figures = [f"{case[key]:.2f}" if key in case else "" for key, _ in _COLUMNS]
        found = ", ".join(case["kinds"]) or ("deck planned again from the stop" if case["planned_again"] else "nothing")
        table.add_row(Text(case["says"]), *figures, found)
    return rendered(table)
