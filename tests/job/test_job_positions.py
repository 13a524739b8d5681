"""A wrong line in a message sends the user to the wrong place: positions are held against
`tomllib`."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.job.text.positions import Positions, scan

SAMPLES = sorted((Path(__file__).parents[2] / "samples").glob("*.toml"))

bare = st.from_regex(r"[A-Za-z0-9_-]{1,6}", fullmatch=True)
text = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=8)
keys = st.one_of(bare, bare, text)
comment = st.sampled_from(["", "  # a [comment] with = and \" and '''", "\t#"])


def _basic(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


@st.composite
def _key(draw: Any, name: str) -> str:
    if (
        name
        and all(c.isascii() and (c.isalnum() or c in "_-") for c in name)
        and draw(st.booleans())
    ):
        return name
    if "'" not in name and "\n" not in name and draw(st.booleans()):
        return f"'{name}'"
    return _basic(name)


scalars = st.one_of(
    st.integers(-999, 999).map(str),
    st.sampled_from(
        [
            "1.5",
            "nan",
            "-inf",
            "1_000.5e3",
            "0x1F",
            "true",
            "1979-05-27 07:32:00Z",
            "1979-05-27",
            "07:32:00",
        ]
    ),
    text.map(_basic),
    st.sampled_from(
        [
            "'a # ] , b'",
            '"""x\n ] # " \\"" """',
            "'''\n= [\n'''",
            '""',
            "''",
            '"""a"""""',
            "'''b'''''",
        ]
    ),
)


@st.composite
def _gap(draw: Any) -> str:
    """White space inside an array, with line ends and comments."""
    return draw(st.sampled_from(["", " ", "\n", '\n  # ] a comment, with [ and "\n  ', "\t"]))


@st.composite
def _array(draw: Any, values: Any) -> str:
    items = draw(st.lists(values, max_size=4))
    body = ",".join(f"{draw(_gap())}{item}{draw(_gap())}" for item in items)
    return f"[{body}{',' if items and draw(st.booleans()) else draw(_gap())}]"


@st.composite
def _inline(draw: Any, values: Any) -> str:
    names = draw(st.lists(keys, max_size=3, unique=True))
    pairs = [f"{draw(_key(name))} = {draw(values)}" for name in names]
    return "{ " + ", ".join(pairs) + " }"


values = st.recursive(scalars, lambda inner: st.one_of(_array(inner), _inline(inner)), max_leaves=6)


@st.composite
def documents(draw: Any) -> str:
    """A TOML text of plain and dotted keys, tables, sub-tables and arrays of tables."""
    lines: list[str] = []
    names = draw(st.lists(keys, min_size=1, max_size=4, unique=True))
    for name in names[: draw(st.integers(0, len(names)))]:
        names.remove(name)
        pairs = draw(st.sampled_from([name, "dotted"]))
        if pairs == "dotted":
            parts = draw(st.lists(keys, min_size=1, max_size=2))
            path = " . ".join([draw(_key(name)), *[draw(_key(part)) for part in parts]])
        else:
            path = draw(_key(name))
        lines.append(f"{path} = {draw(values)}{draw(comment)}")
    for name in names:
        for _ in range(draw(st.integers(1, 3)) if (many := draw(st.booleans())) else 1):
            written = draw(_key(name))
            lines.append(
                f"[[ {written} ]]{draw(comment)}" if many else f" [{written}]{draw(comment)}"
            )
            for inner in draw(st.lists(keys, max_size=3, unique=True)):
                lines.append(f"  {draw(_key(inner))}={draw(values)}{draw(comment)}")
            if draw(st.booleans()):
                lines.append(f"[{written}.  {_basic('sub' + name)}]\ninner = {draw(values)}")
    return draw(st.sampled_from(["\n", "\n\n"])).join(lines) + draw(st.sampled_from(["", "\n"]))


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
