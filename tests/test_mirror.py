"""Tests lie where the code lies that they test."""

from __future__ import annotations

from pathlib import Path

TESTS = Path(__file__).parent
PACKAGE = TESTS.parent / "corepath"
BESIDE = {"benchmarks", "broken", "faults", "fuzz", "guide", "outside", "population"}
"""Folders that belong to no folder of the package: each says in its page or first line what it
is."""


def folders(root: Path) -> set[str]:
    return {path.parent.name for path in root.glob("*/*.py")}


def test_folders_are_those_of_the_package() -> None:
    """After a move the tests of the old folder would be looked for in vain, or never be missed."""
    assert folders(TESTS) - BESIDE == folders(PACKAGE)


def test_no_two_files_of_tests_have_one_name() -> None:
    """A report that names the file alone would send one to the wrong one."""
    names = [path.name for path in TESTS.glob("**/test_*.py")]
    assert len(names) == len(set(names))
