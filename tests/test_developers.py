"""DEVELOPERS.md sends nobody to a place that is not there."""

from __future__ import annotations

import ast
import re
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "corepath"


def _table(heading: str) -> list[str]:
    """The rows of the table under a heading, without its head."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.partition(f"## {heading}\n")[2].partition("\n## ")[0]
    return [row for row in section.splitlines() if row.startswith("|")][2:]


def _places(row: str) -> list[tuple[str, list[str]]]:
    """Paths that a row names, each with the names that follow it before the next path. A module
    without its folder lies beside the one before it, or at the top of the package."""
    found: list[tuple[str, list[str]]] = []
    for word in re.findall(r"`([^`]+)`", row):
        if "/" in word:
            found.append((word, []))
        elif word.endswith(".py"):
            beside = f"{found[-1][0].rpartition('/')[0]}/" if found else ""
            found.append((word if (PACKAGE / word).exists() else beside + word, []))
        elif found and word.isidentifier():
            found[-1][1].append(word)
    return found


def _names(path: Path) -> set[str]:
    """Classes, functions, methods and constants of a module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = list(ast.walk(tree))
    assigned = (one for one in nodes if isinstance(one, ast.Assign | ast.AnnAssign))
    targets = [
        target
        for one in assigned
        for target in (one.targets if isinstance(one, ast.Assign) else [one.target])
    ]
    named = {one.id for one in targets if isinstance(one, ast.Name)}
    kinds = (ast.ClassDef, ast.FunctionDef)
    return named | {one.name for one in nodes if isinstance(one, kinds)}


ROWS = [*_table("Where to change what"), *_table("Owners")]


def test_the_table_is_found():
    assert len(ROWS) > 50
    assert _places("| a | `job/model.py` `Job`, `b` | `x` `load.py` `c` `lengths.py` `cli/` |") == [
        ("job/model.py", ["Job", "b", "x"]),
        ("job/load.py", ["c"]),
        ("lengths.py", []),
        ("cli/", []),
    ]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.split("|")[1].strip())
def test_a_row_names_a_file_or_a_name_that_is_gone(row):
    """A newcomer who is sent to a file that was moved loses trust in the rest of the page."""
    places = _places(row)
    assert places
    for path, names in places:
        file = ROOT / path if path.startswith("tests/") else PACKAGE / path
        assert file.exists(), path
        missing = set(names) - (_names(file) if file.suffix == ".py" else set())
        assert not missing, f"{path}: {sorted(missing)}"


def test_the_page_names_a_module_that_is_gone():
    """Also in its prose, where a module stands by its name or by its path."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    known = [f"/{path.relative_to(ROOT).as_posix()}" for path in ROOT.glob("[cts]*/**/*.py")]
    named = re.findall(r"`([\w/]+\.py)`", text)
    assert len(named) > 50
    assert not [name for name in named if not any(path.endswith(f"/{name}") for path in known)]


def _folders() -> dict[str, int]:
    """Every folder of the package with modules in it, and how many."""
    counts = {
        path.parent.relative_to(PACKAGE).as_posix(): len(
            [one for one in path.parent.glob("*.py") if one.name != "__init__.py"]
        )
        for path in PACKAGE.glob("**/__init__.py")
    }
    return {name: count for name, count in counts.items() if count and name != "."}


def _rooms() -> set[str]:
    """Folders that the first table names: in full, or below or beside the first of their row."""
    found: set[str] = set()
    for row in _table("How the folders follow the data"):
        names = re.findall(r"`(?:…/)?([^`]+)/`", row.split("|")[1])
        below = names[0], names[0].rpartition("/")[0]
        found |= {names[0], *(f"{parent}/{name}" for name in names for parent in below)}
        found |= set(names)
    return found


def test_a_folder_stands_not_in_the_table():
    assert sorted(set(_folders()) - _rooms()) == []


def test_a_folder_holds_more_than_anyone_finds_his_way_in():
    """Fifteen names are read at a glance, thirty are not (from memory)."""
    assert {name: count for name, count in _folders().items() if count > 15} == {}


def test_the_readme_is_more_than_a_reader_takes_in():
    """What does not fit stands in a page of docs/."""
    assert len((ROOT / "README.md").read_text(encoding="utf-8").splitlines()) <= 120


def test_a_name_is_held_by_two_modules_or_two_public_classes():
    """A stranger who searches for it reads the wrong one first. Commands are named as typed."""
    files = [path for path in PACKAGE.glob("**/*.py") if path.parent.name != "commands"]
    modules = [path.stem for path in files if path.stem not in ("__init__", "__main__")]
    classes = [
        node.name
        for path in files
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    ]
    for names in (modules, classes):
        assert len(names) > 300
        assert {name: count for name, count in Counter(names).items() if count > 1} == {}
