"""Paths that are kept: all of each program comes back, and a moved bore leaves the deck's way."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import pytest

from corepath.caching.kept_entry import KeptEntry, from_bytes, to_bytes
from corepath.job.load import load_job
from corepath.lengths import marked
from corepath.motion.program import Program
from corepath.operations import programs
from corepath.operations.deck import surfacing
from corepath.operations.kept_paths import programs_form
from corepath.planning.prepare import prepare_job
from corepath.work.works import Opening, Work

SAMPLES = Path(__file__).parents[2] / "samples"


class Memory(dict[str, KeptEntry]):
    """A store that turns each entry into bytes, and counts."""

    def __init__(self) -> None:
        super().__init__()
        self.found = self.missed = 0

    def read(self, key: str) -> KeptEntry | None:
        entry = self.get(key)
        self.found += entry is not None
        self.missed += entry is None
        return entry

    def write(self, key: str, entry: KeptEntry) -> None:
        self[key] = from_bytes(key, to_bytes(key, entry))


@pytest.fixture(scope="module")
def works() -> tuple[Work, ...]:
    """Those of the coupon with coarser ridges."""
    job = load_job(SAMPLES / "coupon.toml")
    coarse = job.model_copy(update={"deck": job.deck.model_copy(update={"scallop": 0.15})})
    return prepare_job(coarse, SAMPLES).ahead


@pytest.fixture(scope="module")
def filled(works: tuple[Work, ...]) -> Memory:
    """A store with the paths of all works."""
    store = Memory()
    for work in works:
        programs(work, store)
    return store


def exactly(made: Program) -> list[object]:
    """All of a program with the types of its figures and the marks of its texts: equality alone
    takes 1 for 1.0, and a text in mm for a marked one."""
    passes = [
        (
            marked(one.message),
            one.points,
            one.planes,
            [tuple(map(repr, move)) for move in one.moves],
        )
        for one in made.passes
    ]
    watch = [marked(line) for line in made.watch]
    rest = [getattr(made, field.name) for field in fields(made) if field.name != "passes"]
    return [passes, watch, repr(made.corners), *rest]


@pytest.mark.whole
def test_a_kept_path_differs_from_the_one_that_was_found(
    works: tuple[Work, ...], filled: Memory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the last digit of one move, or in a word of its head."""
    plain = [[exactly(made) for made in programs(work)] for work in works]
    before = filled.missed
    # nothing is found anew: the functions that could are gone
    for name in ("_roughed", "_finished"):
        monkeypatch.delattr(surfacing, name)
    monkeypatch.delattr("corepath.operations._finder")
    again = [[exactly(made) for made in programs(work, filled)] for work in works]
    assert again == plain and len(plain) >= 7
    assert filled.missed == before == len(filled) and filled.found >= len(works)


@pytest.mark.whole
def test_a_moved_bore_lays_the_deck_anew_or_keeps_the_old_feeds(
    works: tuple[Work, ...], filled: Memory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The way of the deck does not hang on the bores under it, its feeds do."""
    (deck,) = (work for work in works if work.name == "deck")
    assert deck.deck is not None
    bore = Opening("I9", 5.0, 3.0, 8.0, 12.0)
    moved = replace(deck, deck=replace(deck.deck, openings=(bore,)), watch=("another word",))
    (fresh,) = programs(moved)
    monkeypatch.delattr(surfacing, "_finished")
    (made,) = programs(moved, filled)
    assert exactly(made) == exactly(fresh)
    (before,) = programs(deck, filled)
    assert [move.feed for move in made.moves] != [move.feed for move in before.moves]


def test_works_share_a_path(works: tuple[Work, ...], filled: Memory) -> None:
    """Each with another cutter, machine or height has its own."""
    (holes,) = (work for work in works if work.name == "inserts")
    others = (
        replace(holes, cutter=replace(holes.cutter, diameter=holes.cutter.diameter - 0.01)),
        replace(holes, clear=holes.clear + 0.1),
        replace(holes, milling=replace(holes.milling, conventional=not holes.milling.conventional)),
        replace(holes, milling=replace(holes.milling, limits=replace(holes.milling.limits,
            accel=holes.milling.limits.accel + 1.0))),
    )  # fmt: skip
    for other in others:
        missed = filled.missed
        assert programs(other, filled) == programs(other) and filled.missed == missed + 1


@pytest.mark.whole
@pytest.mark.parametrize("name", ["pads-900", "cradle-460", "balance-740"])
def test_a_program_has_something_that_is_not_kept(name: str) -> None:
    """Corners that stay round, obstacles, a trim: other programs than the coupon's."""
    prepared = prepare_job(load_job(SAMPLES / f"{name}.toml"), SAMPLES)
    for work in prepared.ahead:
        if work.deck is not None:
            continue
        form, made = programs_form(work), programs_bare(work)
        again = form.unpack(from_bytes("k", to_bytes("k", form.pack(made))))
        assert [exactly(one) for one in again] == [exactly(one) for one in made]


def programs_bare(work: Work) -> tuple[Program, ...]:
    """The programs of a work before their feeds are held to what the machine reaches."""
    from corepath.operations import _finder

    return _finder(work)(work)
