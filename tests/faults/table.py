"""The table of the bench in `docs/readback.md`, as a run of it writes it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.faults.bench import Verdict

__all__ = ["PAGE", "Row", "rows_in", "write"]

PAGE = Path(__file__).resolve().parents[2] / "docs" / "readback.md"
_HEAD = "| rule | faults | must be found | found | harmless, told too |\n|---|---|---|---|---|\n"


@dataclass(frozen=True)
class Row:
    """One rule: faults planted, those that must be found, those of them that were, harmless ones
    told as well."""

    rule: str
    faults: int
    must: int
    found: int
    besides: int

    @staticmethod
    def of(rule: str, some: Sequence[Verdict]) -> Row:
        must = [one for one in some if one.must]
        besides = sum(bool(one.kinds) and not one.must for one in some)
        return Row(rule, len(some), len(must), sum(bool(one.kinds) for one in must), besides)

    @staticmethod
    def total(rows: Iterable[Row]) -> Row:
        rows = list(rows)
        sums = [
            sum(getattr(row, name) for row in rows)
            for name in ("faults", "must", "found", "besides")
        ]
        return Row("all", *sums)

    @property
    def text(self) -> str:
        return f"| {self.rule} | {self.faults} | {self.must} | {self.found} | {self.besides} |\n"


def write(rows: Sequence[Row], seeds: Sequence[int], page: Path = PAGE) -> None:
    """Replace the table, and the line over it, in the page."""
    text = page.read_text(encoding="utf-8")
    start = text.index("Last run: ")
    after = text.index(_HEAD, start) + len(_HEAD)
    end = next(
        (after + found.start() for found in re.finditer(r"^(?!\| )", text[after:], re.MULTILINE)),
        len(text),
    )
    named = f"seed{'s' if len(seeds) > 1 else ''} {', '.join(map(str, seeds))}"
    total = Row.total(rows)
    line = (
        f"Last run: {len(rows)} rules, {named}; of {total.must} faults that must be found "
        f"{total.found} were found.\n\n"
    )
    table = "".join(row.text for row in [*rows, total])
    page.write_text(text[:start] + line + _HEAD + table + text[end:], encoding="utf-8")


def rows_in(text: str) -> list[Row]:
    """The rows of the table in a page's text, the sum left out."""
    lines = text[text.index(_HEAD) + len(_HEAD) :].split("\n")
    cells = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in lines
        if line.startswith("| ")
    ]
    return [Row(rule, *map(int, figures)) for rule, *figures in cells if rule != "all"]
