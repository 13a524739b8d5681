"""TOML texts drawn by hypothesis: plain and dotted keys, tables, arrays of tables, and strings that
look like something else."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import strategies as st

__all__ = ["documents"]

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
