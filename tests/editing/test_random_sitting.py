"""200 random changes as a page asks for them, written to the disk, over all samples and files laid
out as nobody would: after each the file loads, equals the page, has every comment, and no line but
those of what was changed has moved. Slow; a few of them each day."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("watchfiles", reason="the extra corepath[edit] is not installed")

from corepath.editing.desk import _changed
from corepath.editing.forms import forms
from corepath.editing.session import Session
from corepath.job.text.positions import layout_of
from corepath.job.text.source import key_of, path_of, value_at
from tests.editing.test_random_edits import HOSTILE, SAMPLES, comments, numbers

Path_ = tuple[str | int, ...]


def _sittings(folder: Path) -> Iterator[Session]:
    """A sitting with a copy of each sample, its line ends turned for every other, and each hostile
    text."""
    texts = {path.name: path.read_bytes() for path in sorted(SAMPLES.rglob("*.toml"))}
    shop = texts.pop("shop.toml")
    (folder / "shop.toml").write_bytes(shop)
    for number, (name, text) in enumerate(texts.items()):
        texts[name] = text.replace(b"\n", b"\r\n") if number % 2 else text
    texts |= {f"{name}.toml": text.encode() for name, text in HOSTILE.items()}
    for name, text in texts.items():
        (folder / name).write_bytes(text)
        yield Session(folder / name)


def _lists(document: Any, path: Path_ = ()) -> Iterator[Path_]:
    """Paths of all lists of two elements and more, but for a pair of numbers."""
    items = document.items() if isinstance(document, dict) else enumerate(document)
    for name, held in items:
        if isinstance(held, (dict, list)):
            yield from _lists(held, (*path, name))
        if isinstance(held, list) and len(held) > 1 and isinstance(held[0], list):
            yield (*path, name)


def _message(draw: random.Random, text: str, document: Any) -> tuple[str, dict[str, Any], Path_]:
    """What a page asks for, and the value or list that it is about."""
    kind = draw.choice(("set", "set", "remove", "insert", "add"))
    lists = list(_lists(document))
    rows = [name for name in ("plug", "insert", "dowel") if document.get(name)]
    if kind in ("remove", "insert") and lists:
        path = draw.choice(lists)
        place = draw.randrange(len(value_at(document, path)[1]))
        key = key_of((*path, place))
        if kind == "remove":
            return kind, {"kind": kind, "key": key}, path
        return kind, {"kind": kind, "key": key, "value": "[7.25, -3.5]"}, path
    if kind == "add" and rows and "name" in document[rows[0]][0]:
        values = {"name": f"N{draw.randrange(10**6)}", "at": "[[1.5, -2]]"}
        return kind, {"kind": kind, "table": rows[0], "values": values}, (rows[0],)
    path = draw.choice(numbers(text))
    value = f"{draw.uniform(1, 20):.{draw.randrange(3)}f}"
    return "set", {"kind": "set", "values": {key_of(path): value}}, path


def _expected(document: Any, kind: str, message: dict[str, Any], path: Path_) -> None:
    """Do to the document what the message asks for of the text."""
    if kind == "set":
        held = value_at(document, path[:-1])[1]
        held[path[-1]] = float(next(iter(message["values"].values())))
        return
    held = value_at(document, path)[1]
    if kind == "add":
        held.append({"name": message["values"]["name"], "at": [[1.5, -2]]})
        return
    place = int(message["key"].rpartition("[")[2].rstrip("]")) - 1
    if kind == "remove":
        del held[place]
    else:
        held.insert(place, [7.25, -3.5])


def _moved_lines(before: str, after: str) -> tuple[int, int]:
    """How many lines of either text stand between what both begin with and what both end with."""
    one, other = before.split("\n"), after.split("\n")
    same = 0
    while same < min(len(one), len(other)) and one[same] == other[same]:
        same += 1
    end = 0
    while end < min(len(one), len(other)) - same and one[-1 - end] == other[-1 - end]:
        end += 1
    return len(one) - same - end, len(other) - same - end


def _walked(folder: Path, seed: int, count: int) -> None:
    draw = random.Random(seed)
    sittings = list(_sittings(folder))
    done = dict.fromkeys(("set", "remove", "insert", "add"), 0)
    for number in range(count):
        session = sittings[number % len(sittings)]
        before = session.text
        bare = before.removeprefix("\ufeff")
        document = tomllib.loads(bare.replace("\r\n", "\n"))
        kind, message, path = _message(draw, before, document)
        _expected(document, kind, message, path)
        text = _changed(session, message)
        session.write(text)
        held = session.path.read_bytes()
        assert held == text.encode(), "what is on the disk is what the page was told"
        found = tomllib.loads(text.removeprefix("\ufeff").replace("\r\n", "\n"))
        # the thickest station and the board's thickness are one thing: the other follows
        together = ("deck" in path and "stations" in path) or path == ("board", "thickness")
        if together:
            for one in (found, document):
                one.get("deck", {}).pop("stations", None)
                one.get("board", {}).pop("thickness", None)
        assert found == document, (session.path.name, message)
        assert comments(text) == comments(before), (session.path.name, message)
        assert before.startswith("\ufeff") == text.startswith("\ufeff")
        if "\r\n" in before:
            assert text.count("\n") == text.count("\r\n"), (session.path.name, message)
        if not together:
            values = layout_of(bare).values
            start, end = values.get(path, (0, 0))
            own = bare[start:end].count("\n") + 1 if path in values else 0
            gone, new = _moved_lines(before, text)
            assert gone <= own, (session.path.name, message)
            assert new <= (5 if kind == "add" else own + 1), (session.path.name, message)
        _equals_page(session, found)
        if number % 3 == 2:
            session.undo()
            assert session.path.read_bytes() == before.encode()
        done[kind] += 1
    assert min(done.values()) > count // 15, done


def _equals_page(session: Session, document: dict[str, Any]) -> None:
    """Each key of a table that the file has is shown as it stands there."""
    shown = forms(session.text, session.path)
    assert shown["broken"] == []
    texts = {one["key"]: one for of in shown["tables"] for one in of["keys"] if one["there"]}
    count = 0
    for key, one in texts.items():
        if one["of_shop"]:
            continue
        value = one["text"] if one["kind"] in ("text", "choice") else None
        if value is None:
            value = tomllib.loads("v = " + one["text"].replace("\r\n", "\n"))["v"]
        there, now = value_at(document, path_of(key))
        if there:
            assert value == now, key
            count += 1
    assert count > 0


def test_a_sitting_of_a_few_random_changes_touches_something_else(tmp_path: Path) -> None:
    _walked(tmp_path, 23, 30)


@pytest.mark.slow
def test_a_sitting_of_200_random_changes_touches_something_else(tmp_path: Path) -> None:
    _walked(tmp_path, 24, 200)
