"""One word for one thing: what docs/words.md says not to use stands in no page, message, drawing or
docstring."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
WORDS = ROOT / "docs" / "words.md"


def rows() -> list[tuple[str, list[str]]]:
    """Each word of the table with those that are not to stand for it."""
    lines = [line for line in WORDS.read_text("utf-8").splitlines() if line.startswith("| ")][1:]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return [(word, [part for part in wrong.split(", ") if part]) for word, _, _, wrong in cells]


def texts() -> Iterator[tuple[Path, str]]:
    """All that people read: pages, templates and scripts whole, of code the strings and docstrings,
    one line each."""
    for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")):
        if path not in (WORDS, ROOT / "docs" / "benchmarks.md"):
            yield path, path.read_text("utf-8")
    for path in sorted((ROOT / "corepath").rglob("*")):
        if path.suffix in (".j2", ".js", ".toml"):
            yield path, path.read_text("utf-8")
        elif path.suffix == ".py":
            tree = ast.parse(path.read_text("utf-8"))
            said = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)]
            yield path, "\n".join(one for one in said if isinstance(one, str))


def test_no_second_word_for_one_thing() -> None:
    """Who reads two names looks for two things, at a machine with the wrong height in mind."""
    wrong = [part for _, parts in rows() for part in parts]
    assert len(wrong) >= 6
    found = re.compile(
        "|".join(rf"\b{re.escape(part)}s?\b".replace(r"\ ", r"\s+") for part in wrong), re.I
    )
    told = [
        f"{path.relative_to(ROOT)}: {hit[0]}"
        for path, text in texts()
        for hit in found.finditer(text)
    ]
    assert not told


@pytest.mark.parametrize(
    "word", ["safe height", "spoil board", "contour line", "work zero", "rehearsal"]
)
def test_the_words_of_the_table_are_in_use(word: str) -> None:
    """A word that the table has and nothing uses was renamed somewhere else."""
    assert word in {name for name, _ in rows()}
    assert any(word in re.sub(r"\s+", " ", text) for _, text in texts())
