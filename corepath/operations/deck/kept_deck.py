"""How the deck's paths, and what they leave, are kept from run to run."""

from __future__ import annotations

from dataclasses import astuple
from typing import Any

from corepath.caching.kept_entry import KeptEntry
from corepath.caching.store import KeptKind
from corepath.motion.clock import move_table
from corepath.motion.program import Pass
from corepath.operations.deck.deck_finish import Left
from corepath.operations.kept_paths import pass_facts, passes_of

__all__ = ["FINISHED", "LEFT", "ROUGHED", "Finished"]

Finished = tuple[Pass, Left | None]
"""A finishing pass and what it leaves, where that was judged with it."""


def _pack_pass(made: Pass) -> KeptEntry:
    return KeptEntry({"passes": pass_facts([made])}, (move_table(made.moves),))


def _pass_of(entry: KeptEntry) -> Pass:
    return next(passes_of(entry.head["passes"], entry.arrays[0]))


def _pack_finished(made: Finished) -> KeptEntry:
    stretch, left = made
    packed = _pack_pass(stretch)
    return KeptEntry(
        {**packed.head, "left": None if left is None else astuple(left)}, packed.arrays
    )


def _finished_of(entry: KeptEntry) -> Finished:
    left: list[Any] | None = entry.head["left"]
    return _pass_of(entry), None if left is None else Left(*left)


def _pack_left(left: Left) -> KeptEntry:
    return KeptEntry({"left": astuple(left)})


def _left_of(entry: KeptEntry) -> Left:
    return Left(*entry.head["left"])


ROUGHED = KeptKind("rough deck", _pack_pass, _pass_of)
FINISHED = KeptKind("finished deck", _pack_finished, _finished_of)
LEFT = KeptKind("left over a deck", _pack_left, _left_of)
