"""A job changed by position: what is not asked for stays byte for byte, whatever the layout."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from corepath.errors import InputError
from corepath.job.text.editing import edited, is_value, toml_text, without_line
from corepath.job.text.source import path_of
from tests.job.toml_texts import documents

SAMPLES = Path(__file__).parents[2] / "samples"
TOKEN = "987654321"  # stands in no text that is tried

Place = tuple[str | int, ...]


def _pairs(value: Any) -> Any:
    return value.items() if isinstance(value, dict) else enumerate(value)


def _leaves(value: Any, at: Place = ()) -> list[Place]:
    if not isinstance(value, (dict, list)) or value == []:
        return [at]
    return [path for name, held in _pairs(value) for path in _leaves(held, (*at, name))]


def _tables(value: Any, at: Place = ()) -> list[Place]:
    if not isinstance(value, (dict, list)):
        return []
    inner = [path for name, held in _pairs(value) for path in _tables(held, (*at, name))]
    return [at, *inner] if isinstance(value, dict) else inner


def _with(document: Any, path: Place, value: Any) -> Any:
    """The document with one value, which need not have been there."""
    held = changed = copy.deepcopy(document)
    for part in path[:-1]:
        held = held[part]
    held[path[-1]] = value
    return changed


def _parsed(text: str) -> Any:
    return tomllib.loads(text.removeprefix("\ufeff"))


def _sorted(value: Any) -> Any:
    """The same with keys in the order of the alphabet: a table may go behind another."""
    if isinstance(value, dict):
        return {name: _sorted(value[name]) for name in sorted(value)}
    return [_sorted(one) for one in value] if isinstance(value, list) else value


def _assert_only_this_value_changes(text: str, every: int = 1) -> None:
    document = _parsed(text)
    for path in _leaves(document)[::every]:
        after = edited(text, {path: TOKEN})
        head, tail = after.split(TOKEN)
        assert text.startswith(head) and text.endswith(tail), path
        assert repr(_parsed(after)) == repr(_with(document, path, int(TOKEN))), path


def _assert_a_key_is_added_alone(text: str) -> None:
    document = _parsed(text)
    for table in _tables(document):
        after = edited(text, {(*table, "a new key"): TOKEN})
        # one insertion: what is alike before it, then what is new, then the rest of the old text
        unlike = (place for place, letter in enumerate(text) if after[place] != letter)
        alike = next(unlike, len(text))
        new = after[alike : alike + len(after) - len(text)]
        assert after == text[:alike] + new + text[alike:] and new.count(TOKEN) == 1, table
        wanted = _with(document, (*table, "a new key"), int(TOKEN))
        assert repr(_sorted(_parsed(after))) == repr(_sorted(wanted)), table


@settings(max_examples=40, derandomize=True, deadline=None)
@given(documents())
def test_one_value_of_any_layout_changes_alone(text: str) -> None:
    """Whatever the layout, all characters before and behind the value are those of the old text."""
    _assert_only_this_value_changes(text)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(documents())
def test_a_key_that_a_table_of_any_layout_lacks_is_one_insertion(text: str) -> None:
    """Under headers, in braces, beside dotted keys, in rows of arrays, or with a new header."""
    _assert_a_key_is_added_alone(text)


def test_samples_change_by_nothing_else() -> None:
    """All tables of two samples, as others save them: with a mark and CRLF, or no last line end."""
    texts = [(SAMPLES / f"{name}.toml").read_text() for name in ("board-1280", "cradle-460")]
    for text in ("\ufeff" + texts[0].replace("\n", "\r\n"), texts[1].rstrip("\n")):
        _assert_a_key_is_added_alone(text)
        _assert_only_this_value_changes(text, every=17)
    for path in sorted(SAMPLES.glob("*.toml")):
        _assert_only_this_value_changes(path.read_text(encoding="utf-8"), every=61)


HOSTILE = """\
\ufeff# head [not] = a key
"quoted" . key=1
blank = { length = 10, "width"=20 } # braces
\t[groove] # a \ttab before
  inside = 8.0# no blank

[[insert]]
at = [ # [[9, 9]]
  [1_0.0, 0x1F], [2, 3],
]
  [insert.pattern]
  rows = 2
[groove.more]
x = '''
[groove]
floor = 1'''
[[insert]]
name = "]"
[[insert]] # bare
# the end""".replace("\n", "\r\n")


@pytest.mark.parametrize(
    ("key", "value", "old", "new"),
    [
        ("groove.inside", "7.5", "8.0#", "7.5#"),
        ("groove.floor", "1.2", "no blank|", "no blank|  floor = 1.2|"),
        ("blank.width", "21", "=20 }", "=21 }"),
        ("blank.wood", '"ash"', "=20 }", '=20, wood = "ash" }'),
        ("quoted.other", "2", "key=1|", "key=1|quoted.other = 2|"),
        ("title", '"T"', "# braces|", '# braces|title = "T"|'),
        ("insert[1].at[1][1]", "11", "1_0.0", "11"),
        ("insert[1].recess", "0.4", "3],|]|", "3],|]|recess = 0.4|"),
        ("insert[1].pattern.pitch", "[1, 2]", "rows = 2|", "rows = 2|  pitch = [1, 2]|"),
        ("insert[2].pattern.rows", "3", '"]"|', '"]"|pattern = {rows = 3}|'),
        ("insert[3].recess", "0", "# bare|", "# bare|recess = 0|"),
        ("groove.more.x", '"a"', "'''|[groove]|floor = 1'''", '"a"'),
        ("skim.step", "0.3", "# the end", "# the end||[skim]|step = 0.3|"),
    ],
)
def test_a_key_goes_where_a_person_would_put_it(key: str, value: str, old: str, new: str) -> None:
    """By hand, in a text of tables that lie across each other; | is a line end."""
    old, new = old.replace("|", "\r\n"), new.replace("|", "\r\n")
    assert HOSTILE.count(old) == 1
    assert edited(HOSTILE, {path_of(key): value}) == HOSTILE.replace(old, new)


def test_keys_of_a_new_table_share_its_header() -> None:
    """Two values of [skim], which is not there, made one table; a text without a key gets one."""
    values = {("skim", "step"): "0.3", ("skim", "overlap"): "0.2"}
    assert edited("a = 1\n", values) == "a = 1\n\n[skim]\nstep = 0.3\noverlap = 0.2\n"
    assert edited("", {("a",): "1"}) == "a = 1\n"
    assert edited("# of b\n[b]\n", {("a",): "1"}) == "a = 1\n\n# of b\n[b]\n"


@pytest.mark.parametrize(
    ("key", "message"),
    [
        ("insert.recess", "insert.recess: does not say which; allowed: insert[1] to insert[3]"),
        ("insert[9].recess", "insert[9].recess: is not there; allowed: insert[1] to insert[3]"),
        ("insert[1].at[3]", "insert[1].at[3]: is not there; allowed: insert[1].at[1] to "),
        ("groove.inside.x", "groove.inside.x: is no key of a job"),
        ("groove", "groove: is a table, not a value"),
    ],
)
def test_a_path_that_leads_nowhere_is_a_fault(key: str, message: str) -> None:
    """A slip of the pen in a key must not make a table of its own."""
    with pytest.raises(InputError) as raised:
        edited(HOSTILE, {path_of(key): "1"})
    assert str(raised.value).startswith(message)


@pytest.mark.parametrize("text", ["1\nx = 2", "1 # one", "", "1,", "[1", "maple", "1 2", "{a = 1"])
def test_what_is_no_single_value_is_never_written(text: str) -> None:
    """A value with a line end or a comment would write keys that nobody asked for."""
    assert not is_value(text)
    with pytest.raises(InputError, match="not a value"):
        edited("a = 1\n", {("a",): text})


def test_a_line_taken_out_stays_as_a_comment() -> None:
    """All lines of its value, with the reason; its neighbours stay."""
    text = "[blank]\r\n  at = [ # two\r\n  1, 2]\r\nwidth = 3\r\n"
    assert without_line(text, ("blank", "at"), "of the old blank") == (
        "[blank]\r\n# of the old blank\r\n#   at = [ # two\r\n#   1, 2]\r\nwidth = 3\r\n"
    )
    assert without_line(text, ("blank", "other"), "") == text


def test_values_are_written_plainly() -> None:
    """By hand; a number with an exponent or a bare line end would be no number of a job."""
    value = [0.1, 1e-7, 2e16, -3, True, 'a "b"\n', {"at": [1.5], "a b": "ä"}]
    assert toml_text(value) == (
        '[0.1, 0.0000001, 20000000000000000, -3, true, "a \\"b\\"\\n", {at = [1.5], "a b" = "ä"}]'
    )
