"""Comments: ASCII, one pair of parentheses, at most 80 characters, no accidental message."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.gcode.write.comments import WIDTH, comment, message, plain


def _legal(row: str) -> bool:
    inside = row[1:-1]
    return (
        row.isascii()
        and row.isprintable()
        and len(row) <= WIDTH
        and row[0] == "("
        and row[-1] == ")"
        and not set("()") & set(inside)
    )


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.text(max_size=300))
def test_any_text_becomes_legal_comments(text: str) -> None:
    """A title with parentheses or signs of another alphabet must not break the file (NIST IR 6556,
    3.3.4)."""
    rows = comment(text)
    assert all(_legal(row) for row in rows)
    assert not any(row[1:].replace(" ", "").upper().startswith("MSG,") for row in rows)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.text(max_size=300))
def test_message_is_one_message_line_at_the_end(text: str) -> None:
    """Of several messages a control may show only the last: the rest must be plain comments."""
    rows = message(text)
    assert all(_legal(row) for row in rows)
    assert [row.startswith("(MSG, ") for row in rows] == [False] * (len(rows) - 1) + [True]


def test_message_says_all_of_it_once() -> None:
    """What the screen has no room for stands above it, each word in its order; what fits is not
    said twice."""
    assert message("fit the cutter") == ["(MSG, fit the cutter)"]
    words = [f"word{k}" for k in range(60)]
    rows = message(" ".join(words))
    assert len(rows) > 3
    assert " ".join(row.removeprefix("(MSG,").strip("( )") for row in rows).split() == words


def test_words_survive() -> None:
    """Accents go, letters and figures stay."""
    assert plain("Größe 6,0 ± 0,1 mm; 90° (außen)") == "Grosse 6,0 +/- 0,1 mm, 90 deg [aussen]"
    assert plain("100%") == "100 percent"
    assert plain("①！") == "1."


def test_long_comment_loses_nothing() -> None:
    text = "one two three four five six seven eight nine ten " * 5
    assert " ".join(row[1:-1].strip() for row in comment(text)).split() == text.split()


def test_user_text_that_looks_like_a_message_is_marked() -> None:
    assert comment("MSG, cut on") == ["(- MSG, cut on)"]
