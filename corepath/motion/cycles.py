"""Drilling cycles as the plain motions that a control makes of them, in the order of NIST IR 6556
(2000), 3.5.16.

A cycle of the XY plane, absolute (G90), that ends at its retract height R (G99):

1. where the tip stands below R, a rapid up to R;
2. a rapid over the hole at that height, then a rapid down to R;
3. G81: feed to the bottom. G83: feed down by one peck Q or to the bottom, whichever is less deep; a
   rapid out to R, a rapid down to `BACK_OFF` above what is drilled, and the next peck, until the
   bottom is reached;
4. a rapid out to R.

Bed frame, mm and mm/min. Motions without a length are left out, as a control makes none of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from corepath.motion.program import Kind, Move, line, rapid

__all__ = ["BACK_OFF", "CYCLES", "expand", "expand_counted"]

CYCLES = frozenset({Kind.DRILL, Kind.PECK})

BACK_OFF = 0.254
"""mm off the drilled bottom where a peck feeds again: not in the standard's text, from memory of
its code."""


def expand(moves: Sequence[Move]) -> Sequence[Move]:
    """Returns `moves` with every drilling cycle as rapids and lines; `moves` itself where there is
    none.

    Raises ValueError for a cycle that comes first (nobody knows from where), one whose retract
    height is not above its bottom, and one that pecks by nothing.
    """
    return expand_counted(moves)[0]


def expand_counted(moves: Sequence[Move]) -> tuple[Sequence[Move], Sequence[int]]:
    """Returns the same as `expand`, and for each motion the index of the move in `moves` that it
    comes from. Raises ValueError as `expand` does."""
    if not any(move.kind in CYCLES for move in moves):
        return moves, range(len(moves))
    plain: list[Move] = []
    owner: list[int] = []
    for k, move in enumerate(moves):
        if move.kind not in CYCLES:
            plain.append(move)
        elif not plain:
            raise ValueError("a drilling cycle from an unknown place")
        else:
            plain += _motions(plain[-1], move)
        owner += [k] * (len(plain) - len(owner))
    return plain, owner


def _motions(before: Move, cycle: Move) -> Iterator[Move]:
    retract, peck = cycle.i, cycle.j
    if retract <= cycle.z:
        raise ValueError(
            f"a cycle whose retract height {retract:g} is not above its bottom {cycle.z:g}"
        )
    if cycle.kind == Kind.PECK and peck <= 0.0:
        raise ValueError(f"a pecking cycle with a peck of {peck:g}")
    x, y, z = before.x, before.y, before.z
    if z < retract:
        z = retract
        yield rapid(x, y, z)
    if (x, y) != (cycle.x, cycle.y):
        yield rapid(cycle.x, cycle.y, z)
    if z > retract:
        yield rapid(cycle.x, cycle.y, retract)
    # G81 is a single peck of the whole depth
    yield from _down(cycle, retract, peck if cycle.kind == Kind.PECK else retract - cycle.z)
    yield rapid(cycle.x, cycle.y, retract)


def _down(cycle: Move, retract: float, peck: float) -> Iterator[Move]:
    reached = retract
    while True:
        reached = max(reached - peck, cycle.z)
        yield line(cycle.x, cycle.y, reached, cycle.feed)
        if reached <= cycle.z:
            return
        yield rapid(cycle.x, cycle.y, retract)
        # a first peck shallower than the back-off must not raise the tip above R
        yield rapid(cycle.x, cycle.y, min(reached + BACK_OFF, retract))
