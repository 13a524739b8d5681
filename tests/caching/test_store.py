"""Taking a result from a store or making it."""

from __future__ import annotations

import pytest

from corepath.caching.kept_entry import KeptEntry
from corepath.caching.store import NOTHING, KeptKind, kept


class Memory(dict[str, KeptEntry]):
    """A store in memory."""

    def read(self, key: str) -> KeptEntry | None:
        return self.get(key)

    def write(self, key: str, entry: KeptEntry) -> None:
        self[key] = entry


PLAIN: KeptKind[str] = KeptKind(
    "plain", lambda text: KeptEntry({"text": text}), lambda entry: entry.head["text"] + ""
)


class Maker:
    def __init__(self) -> None:
        self.made = 0

    def __call__(self) -> str:
        self.made += 1
        return f"result {self.made}"


def test_a_kept_result_is_made_again_or_taken_for_another() -> None:
    store, make = Memory(), Maker()
    assert [kept(store, PLAIN, (1.0,), make) for _ in range(3)] == ["result 1"] * 3
    assert kept(store, PLAIN, (2.0,), make) == "result 2"
    other = KeptKind("other", PLAIN.pack, PLAIN.unpack)
    assert kept(store, other, (1.0,), make) == "result 3" and len(store) == 3
    assert kept(NOTHING, PLAIN, (1.0,), make) == "result 4"


def test_a_failure_is_kept() -> None:
    """It says what to change in the job; the next run would know nothing of it."""

    def fail() -> str:
        raise ValueError("no path")

    store = Memory()
    with pytest.raises(ValueError, match="no path"):
        kept(store, PLAIN, (1.0,), fail)
    assert not store


def test_a_result_that_does_not_come_back_whole_is_kept() -> None:
    """A new field that the form does not know yet."""
    store = Memory()
    short = KeptKind("short", PLAIN.pack, lambda entry: entry.head["text"][:3])
    assert kept(store, short, (), Maker()) == "result 1" and not store


def test_an_entry_that_cannot_be_understood_stops_a_run() -> None:
    store, make = Memory(), Maker()
    kept(store, PLAIN, (), make)
    for head in ({}, {"text": None}):
        for key in store:
            store[key] = KeptEntry(head)
        assert kept(store, PLAIN, (), make).startswith("result")
