"""`README.md` of this folder names every test here, with its source, and no test that is gone."""

from __future__ import annotations

import ast
import re
from pathlib import Path

HERE = Path(__file__).parent
MARKS = (
    "read",
    "from memory",
    "worked out",
    "independent library",
    "second implementation",
    "guard",
)


def rows() -> dict[tuple[str, str], list[str]]:
    """Cells of each row after the test's name, by file and test."""
    found: dict[tuple[str, str], list[str]] = {}
    file = ""
    for line in (HERE / "README.md").read_text("utf-8").splitlines():
        if heading := re.fullmatch(r"## `(\S+)`", line):
            file = heading[1]
        elif line.startswith("| `test_"):
            cells = [cell.strip() for cell in line.split("|")[1:-1]]
            key = (file, cells[0].strip("`"))
            assert key not in found, f"{key} stands twice"
            found[key] = cells[1:]
    return found


def written() -> set[tuple[str, str]]:
    return {
        (path.name, node.name)
        for path in HERE.glob("test_*.py")
        if path != Path(__file__)
        for node in ast.parse(path.read_text("utf-8")).body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }


def test_each_outside_check_has_its_row() -> None:
    """A check whose source nobody can find again proves nothing to the next reader; nor does a row
    without a check."""
    assert sorted(rows()) == sorted(written())


def test_each_row_says_all_of_it() -> None:
    """What, source, value, tolerance, and whether it was read or comes from memory."""
    for key, cells in rows().items():
        assert len(cells) == 5 and all(cells), key
        assert any(mark in cells[-1] for mark in MARKS), key
