"""A wrong line in a message sends the user to the wrong place: positions are held against
`tomllib`."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from corepath.job.text.positions import Positions, scan
from tests.job.toml_texts import documents

SAMPLES = sorted((Path(__file__).parents[2] / "samples").glob("*.toml"))


def _paths(value: Any, at: tuple[str | int, ...] = ()) -> list[tuple[tuple[str | int, ...], Any]]:
    items = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    return [
        pair for name, held in items for pair in [((*at, name), held), *_paths(held, (*at, name))]
    ]


def _assert_found(text: str) -> None:
    lines = text.split("\n")
    document = tomllib.loads(text)
    positions = scan(text)
    for path, held in _paths(document):
        place = positions.find(path)
        assert place is not None, path
        there = lines[place.line - 1][place.column - 1 :][: place.width]
        if isinstance(path[-1], str):
            assert next(iter(tomllib.loads(f"{there} = 0"))) == path[-1], path
        elif not isinstance(held, (dict, list, str)):
            assert repr(tomllib.loads(f"x = {there}")["x"]) == repr(held), path
    assert set(positions.places) == {path for path, _ in _paths(document)}


@pytest.mark.whole
@settings(max_examples=200, derandomize=True, deadline=None)
@given(documents())
def test_every_key_that_tomllib_finds_has_its_place(text: str) -> None:
    """A key without a place, or with the place of another, would show up here: all paths, and no
    others."""
    _assert_found(text)


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.name)
def test_samples_have_all_places(sample: Path) -> None:
    """The samples are what users start from."""
    _assert_found(sample.read_text(encoding="utf-8"))


def test_lines_by_hand() -> None:
    """Lines and columns counted by hand in a small text with all kinds of tables."""
    text = "# head\na.b = 1\n[[plug]]\nat = [\n  [1, 2], # first\n  [3, 4],\n]\n"
    text += '[[plug]]\n"at" = [[5, 6]]\n[plug.sub]\nx = {y = 2}\n'
    found = scan(text)

    def at(*path: str | int) -> tuple[int, int, int]:
        place = found.find(path)
        assert place is not None
        return place.line, place.column, place.width

    assert at("a", "b") == (2, 3, 1)
    assert at("plug", 0, "at", 1) == (6, 3, 6)
    assert at("plug", 0, "at", 1, 1) == (6, 7, 1)
    assert at("plug", 1, "at", 0, 0) == (9, 10, 1)
    assert at("plug", 1) == (8, 3, 4)
    assert at("plug", 1, "sub", "x", "y") == (11, 6, 1)


def test_nearest_is_the_table_around() -> None:
    """A missing key is reported at its table, not at nothing."""
    found = scan("\n[board]\nthickness = 1\n")
    place = found.nearest(("board", "edge_thickness"))
    assert place is not None and place.line == 2
    assert Positions({}).nearest(("board",)) is None


def test_line_separators_of_unicode_are_no_line_ends() -> None:
    """TOML ends lines with a line feed only; U+2028 inside a string must not shift the lines
    below."""
    found = scan('a = "x\u2028y\u0085"\nb = 1\n').find(("b",))
    assert found is not None and found.line == 2
