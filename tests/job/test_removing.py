"""Values taken out of a text and put in: nothing else of it may change, no comment be lost."""

from __future__ import annotations

import tomllib

import pytest

from corepath.errors import InputError
from corepath.job.text.removing import inserted, removed, with_row

TEXT = """\
# top
a = 1  # one
[[plug]]   # first
name = "x # no comment"  # nm
at = [[1, 2],   # p
      [3, 4],   # q
      [5, 6]]
# second
[[plug]]
name = "y"
pattern = {at = [7, 8], rows = 2, pitch = [9, 9]}
[z]
b.c = 2  # dotted
[[insert]]
[[plug]]  # comes late
name = "w"
"""

COMMENTS = ["top", "one", "first", "nm", "p", "q", "second", "dotted", "comes late"]


@pytest.mark.parametrize(
    ("path", "gone", "left"),
    [
        (("a",), "a = 1", "# one\n"),
        (("plug", 0, "name"), 'name = "x', "# nm\n"),
        (("plug", 0, "at"), "[1, 2],", "# p\n# q\n"),
        (("plug", 0, "at", 0), "[1, 2], ", "at = [# p\n      [3, 4],   # q\n"),
        (("plug", 0, "at", 1), "[3, 4]", "at = [[1, 2],   # p\n      # q\n      [5, 6]]\n"),
        (("plug", 1, "pattern", "rows"), "rows", "pattern = {at = [7, 8], pitch = [9, 9]}\n"),
        (("plug", 1, "pattern", "pitch"), "pitch", "pattern = {at = [7, 8], rows = 2}\n"),
        (("plug", 0), "x # no comment", "# first\n# nm\n# p\n# q\n# second\n[[plug]]\n"),
        (("plug", 2), '"w"', "[[insert]]\n# comes late\n"),
        (("z",), "[z]", "# dotted\n[[insert]]\n"),
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_more_goes_than_what_was_asked_for(
    path: tuple[str | int, ...], gone: str, left: str, end: str
) -> None:
    """Or a comment is lost; also with a byte order mark and other line ends."""
    before = "\ufeff" + TEXT.replace("\n", end)
    after = removed(before, path)
    assert gone not in after and left.replace("\n", end) in after and after[0] == "\ufeff"
    wanted = tomllib.loads(TEXT)
    held = wanted
    for part in path[:-1]:
        held = held[part]  # type: ignore[index]
    del held[path[-1]]  # type: ignore[arg-type]
    assert tomllib.loads(after[1:]) == wanted
    assert [word for word in COMMENTS if f"# {word}{end}" not in after] == []
    # what is left are lines of before, but for those named
    assert set(after[1:].split(end)) <= {*before[1:].split(end), *left.split("\n")}


def test_what_is_not_there_is_taken_out() -> None:
    for path in (("b",), ("plug", 3), ("plug", 0, "at", 3)):
        with pytest.raises(InputError, match="is not there"):
            removed(TEXT, path)


@pytest.mark.parametrize(
    ("before", "place", "after"),
    [
        ("a = [[1, 2],  # p\n     [3, 4]]  # q\n", 2,
         "a = [[1, 2],  # p\n     [3, 4], [5, 6]]  # q\n"),
        ("a = [[1, 2],  # p\n     [3, 4]]  # q\n", 1,
         "a = [[1, 2],  # p\n     [5, 6], [3, 4]]  # q\n"),
        ("a = [\n 1,  # one\n]\n", 1, "a = [\n 1, [5, 6],  # one\n]\n"),
        ("a = []\n", 0, "a = [[5, 6]]\n"),
    ],
)  # fmt: skip
def test_an_element_goes_to_another_place(before: str, place: int, after: str) -> None:
    assert inserted(before, ("a", place), "[5, 6]") == after


def test_a_table_is_added_in_the_wrong_place() -> None:
    """Behind the last of its name, whatever stands between; at the end where there is none."""
    more = with_row(TEXT, "plug", {"name": '"n"', "diameter": "18.0"})
    assert more == TEXT + '\n[[plug]]\nname = "n"\ndiameter = 18.0\n'
    assert with_row("a = 1\r\n", "plug", {"name": '"n"'}) == (
        'a = 1\r\n\r\n[[plug]]\r\nname = "n"\r\n'
    )
    early = with_row("[[plug]]\nb = 1  # b\n[z]\n", "plug", {"b": "2"})
    assert early == "[[plug]]\nb = 1  # b\n\n[[plug]]\nb = 2\n[z]\n"
