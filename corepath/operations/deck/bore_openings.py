"""Halve the feed where the deck pass breaks into or crosses an insert bore; otherwise its thin rim
splinters.

Bed frame of C, mm. The cutter touches the rim of a bore only while its axis is nearer than both
radii together, and only from a little above the end of the bore downwards; everywhere else the feed
stays.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from corepath.motion.program import Kind, Move, line
from corepath.work.works import Opening, Work

__all__ = ["opening_words", "slowed"]

# Share of the feed within reach of an opening.
_SHARE = 0.5
# mm; no cut is split this near to its ends, where the piece would be shorter than the last digits
# of the file.
_SHORT = 1e-3


def slowed(moves: Sequence[Move], work: Work) -> list[Move]:
    """The moves with straight cuts split where they enter and leave the reach of an opening, at
    half feed within."""
    openings = work.deck.openings if work.deck is not None else ()
    if not openings or len(moves) < 2:
        return list(moves)
    ends = np.array([(move.x, move.y) for move in moves])
    # A finishing path has tens of thousands of moves and a few openings: only moves that come near
    # one are looked at.
    tree = shapely.STRtree(shapely.linestrings(np.stack([ends[:-1], ends[1:]], axis=1)))
    near: dict[int, list[Opening]] = {}
    for opening in openings:
        reach = opening.diameter / 2.0 + work.cutter.radius
        for k in tree.query(
            shapely.Point(opening.x, opening.y), predicate="dwithin", distance=reach
        ):
            near.setdefault(int(k) + 1, []).append(opening)
    out = [moves[0]]
    for k in range(1, len(moves)):
        if k in near and moves[k].kind == Kind.LINE:
            out += _split(moves[k - 1], moves[k], near[k], work)
        else:
            out.append(moves[k])
    return out


def opening_words(work: Work) -> tuple[str, ...]:
    """Lines for the head of the file about the bores that the deck opens; empty for none."""
    if work.deck is None or not work.deck.openings:
        return ()
    names = ", ".join(opening.id for opening in work.deck.openings)
    return (f"the deck opens the bores {names}: half feed over them, chips and slivers may fly",)


def _split(before: Move, move: Move, openings: Sequence[Opening], work: Work) -> Iterator[Move]:
    """The cut in pieces, each wholly within or wholly out of reach of the openings."""
    start = np.array([before.x, before.y, before.z])
    span = np.array([move.x, move.y, move.z]) - start
    length = float(np.linalg.norm(span))
    shares = {0.0, 1.0}
    for opening in openings:
        reach = opening.diameter / 2.0 + work.cutter.radius
        shares.update(
            s
            for s in _crossings(before, move, opening, reach)
            if _SHORT < s * length < length - _SHORT
        )
    cuts = sorted(shares)
    for a, b in itertools.pairwise(cuts):
        x, y, _ = (float(value) for value in start + span * ((a + b) / 2.0))
        # A move that sinks into the rim meets it at its lower end: judge by that.
        lowest = float(start[2] + min(a * span[2], b * span[2]))
        inside = any(_touches(opening, work, x, y, lowest) for opening in openings)
        feed = _SHARE * move.feed if inside else move.feed
        if b == 1.0:
            yield line(move.x, move.y, move.z, feed)
        else:
            x, y, z = (float(value) for value in start + span * b)
            yield line(x, y, z, feed)


def _touches(opening: Opening, work: Work, x: float, y: float, z: float) -> bool:
    away = math.hypot(x - opening.x, y - opening.y)
    near = away < opening.diameter / 2.0 + work.cutter.radius
    return near and z < opening.top + work.milling.break_through


def _crossings(before: Move, move: Move, opening: Opening, reach: float) -> list[float]:
    """Shares of the way at which the axis passes the circle of reach, seen from above."""
    dx, dy = move.x - before.x, move.y - before.y
    fx, fy = before.x - opening.x, before.y - opening.y
    a, b, c = dx * dx + dy * dy, fx * dx + fy * dy, fx * fx + fy * fy - reach * reach
    root = b * b - a * c
    # A move straight down crosses no circle, and one that only touches it stays out of reach.
    if a < 1e-12 or root <= 0.0:
        return []
    return [(-b - math.sqrt(root)) / a, (-b + math.sqrt(root)) / a]
