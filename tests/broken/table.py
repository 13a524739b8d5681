"""The table of `tests/broken/README.md`: what was broken and which test said so; read back, row by
row."""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass
from pathlib import Path

from tests.broken.bench import ROOT, Outcome

__all__ = ["ALIKE", "PAGE", "Row", "pruned", "rows", "stands", "written"]

PAGE = Path(__file__).parent / "README.md"
BEGIN, ALIKE, END = "<!-- table -->", "<!-- alike -->", "<!-- end -->"

_CELL = re.compile(r"(?<!\\)\|")


@dataclass(frozen=True, slots=True)
class Row:
    """A line of one of the tables: `module` from corepath/, `last` the test that failed or why none
    can."""

    module: str
    within: str
    kind: str
    before: str
    after: str
    last: str

    @staticmethod
    def of(outcome: Outcome) -> Row:
        one = outcome.change
        before, after = (" ".join(text.split()) for text in (one.before, one.after))
        return Row(
            outcome.module.removeprefix("corepath/"),
            one.within,
            one.kind,
            before,
            after,
            outcome.caught,
        )

    @property
    def text(self) -> str:
        cells = (
            f"`{self.module}` {self.within}",
            self.kind,
            f"`{self.before}`",
            f"`{self.after}`",
            self.last,
        )
        return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def rows(page: str, begin: str = BEGIN) -> list[Row]:
    """The rows of the table after `begin`."""
    found = []
    for line in page.split(begin, 1)[1].split(END, 1)[0].splitlines():
        cells = [cell.strip().replace("\\|", "|") for cell in _CELL.split(line)[1:-1]]
        place = re.fullmatch(r"`(\S+)` (\S+)", cells[0]) if len(cells) == 5 else None
        if place:
            found.append(
                Row(
                    place[1], place[2], cells[1], cells[2].strip("`"), cells[3].strip("`"), cells[4]
                )
            )
    return found


def written(page: str, caught: list[Row]) -> str:
    """`page` with another table of what was caught."""
    head, rest = page.split(BEGIN, 1)
    top = "\n| place | mistake | was | became | caught by |\n|---|---|---|---|---|\n"
    return (
        head
        + BEGIN
        + top
        + "\n".join(row.text for row in caught)
        + "\n"
        + END
        + rest.split(END, 1)[1]
    )


def pruned(page: str) -> str:
    """`page` without the rows of either table whose place is gone."""
    gone = {row.text for row in (*rows(page), *rows(page, ALIKE)) if not stands(row)}
    return "\n".join(line for line in page.split("\n") if line not in gone)


def stands(row: Row) -> bool:
    """Whether the expression still stands in the place that the row names."""
    path = ROOT / "corepath" / row.module
    if not path.is_file():
        return False
    source = path.read_text("utf-8")
    node: ast.AST | None = ast.parse(source)
    for name in row.within.split(".") if row.within != "module" else ():
        node = next(
            (
                one
                for one in ast.walk(node)
                if isinstance(one, ast.FunctionDef | ast.ClassDef) and one.name == name
            )
            if node is not None
            else iter(()),
            None,
        )
    text = (
        source
        if isinstance(node, ast.Module)
        else ast.get_source_segment(source, node)
        if node
        else ""
    )
    return row.before in " ".join((text or "").split())
