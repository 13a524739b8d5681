"""How paths are kept from run to run: programs and passes as entries of a store.

All moves stand in one table of floats; what a `Work` holds itself is not kept but taken from it
again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.caching.kept_entry import KeptEntry
from corepath.caching.store import KeptKind
from corepath.lengths import marked
from corepath.motion.clock import move_table
from corepath.motion.program import Corner, Kind, Move, Pass, Program
from corepath.operations.facing.facing_paths import program
from corepath.work.works import Work

__all__ = ["pass_facts", "passes_of", "programs_form"]

Floats = NDArray[np.float64]

_KINDS = {kind.value: kind for kind in Kind}


def programs_form(work: Work) -> KeptKind[tuple[Program, ...]]:
    """Return the form in which the programs of a work are kept."""
    return KeptKind("programs", _pack_programs, lambda entry: tuple(_programs(work, entry)))


def _pack_programs(made: Sequence[Program]) -> KeptEntry:
    passes = [stretch for one in made for stretch in one.passes]
    table = move_table([move for one in passes for move in one.moves])
    head = {"programs": [_facts(one) for one in made], "passes": pass_facts(passes)}
    return KeptEntry(head, (table,))


def _facts(one: Program) -> dict[str, Any]:
    return {
        "stem": one.stem,
        "passes": len(one.passes),
        "combined": one.combined,
        "watch": [marked(line) for line in one.watch],
        "corners": [(marked(corner.feature), *corner[1:]) for corner in one.corners],
        "approached": one.approach is not None,
        "kept": one.kept,
    }


def _programs(work: Work, entry: KeptEntry) -> Iterator[Program]:
    passes = passes_of(entry.head["passes"], entry.arrays[0])
    for facts in entry.head["programs"]:
        own = [next(passes) for _ in range(facts["passes"])]
        yield replace(
            program(work, own, corners=tuple(Corner(*corner) for corner in facts["corners"])),
            stem=facts["stem"],
            combined=facts["combined"],
            watch=tuple(facts["watch"]),
            approach=work.approach if facts["approached"] else None,
            kept=facts["kept"],
        )


def pass_facts(passes: Sequence[Pass]) -> list[dict[str, Any]]:
    """Return all of the passes but their moves, as plain JSON types."""
    return [
        {
            "says": marked(one.message),
            "points": one.points,
            "planes": list(one.planes),
            "moves": len(one.moves),
        }
        for one in passes
    ]


def passes_of(facts: Sequence[dict[str, Any]], table: Floats) -> Iterator[Pass]:
    """Yield the passes of which `pass_facts` and `move_table` were kept."""
    moves = (Move(_KINDS[int(kind)], *fields) for kind, *fields in table.tolist())
    for one in facts:
        own = tuple(islice(moves, one["moves"]))
        yield Pass(own, one["says"], one["points"], tuple(one["planes"]))
