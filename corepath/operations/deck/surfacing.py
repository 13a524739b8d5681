"""Surfacing the deck in set-up C: roughing in level layers, or finishing along drop-cutter heights.

Bed frame of C, mm: z = h(x, y) is the deck to be made. Finishing follows the drop-cutter heights
over the surface in one continuous path that starts and ends outside the blank. A ball leaves the
same ridges in every direction: it runs along the grain. A cutter with a flat end is led up and down
the slopes, region by region (`corepath.operations.deck.deck_finish`). Roughing is in
`corepath.operations.deck.roughing.rough_layers`. Inside a frame, or beside obstacles, the edges of
the room are cut first (`corepath.operations.facing.around`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corepath.caching.store import NOTHING, Store, kept
from corepath.errors import CorepathError
from corepath.geometry.polylines import part_counts
from corepath.lengths import mm
from corepath.motion.clock import move_table
from corepath.motion.program import Move, Pass, Program, Zero, line, rapid
from corepath.operations.deck.bore_openings import opening_words, slowed
from corepath.operations.deck.deck_finish import (
    ROUNDS,
    Bounds,
    Left,
    follower,
    left_over,
    regional,
    with_strokes,
)
from corepath.operations.deck.drop_cutter import DropCutter
from corepath.operations.deck.kept_deck import FINISHED, LEFT, ROUGHED, Finished
from corepath.operations.deck.plain_lines import Strip, strips
from corepath.operations.deck.roughing.rough_layers import rough
from corepath.operations.deck.widths import fed
from corepath.operations.facing.around import Around, Follow
from corepath.operations.facing.facing_paths import descend, joined, program
from corepath.work.cutting.deck_steps import needed_bins
from corepath.work.keepoff import field_of, stand_off
from corepath.work.works import Deck, Work

__all__ = ["deck_programs", "finished", "judged"]

Array = NDArray[np.float64]

# mm of the allowed ridge that chords of the path may take.
_ABOVE = 0.003
# mm between the places of the path before thinning, as in `deck_finish`.
_SAMPLE = 0.5
_OVERRUN = 0.5
"""mm by which the axis runs past the blank's end before it turns."""
_TOLD = 0.005
"""mm above the allowed ridge from which a hollow is reported."""


def deck_programs(work: Work, store: Store = NOTHING) -> tuple[Program, ...]:
    """The program that roughs the deck (`deck.rough` > 0) or finishes it."""
    if _deck(work).rough > 0.0:
        plain = _way_alone(work)
        return (_program(work, kept(store, ROUGHED, (plain,), lambda: _roughed(plain))),)
    return (finished(work, store=store)[0],)


def finished(
    work: Work, *, rounds: int = ROUNDS, store: Store = NOTHING
) -> tuple[Program, Left | None]:
    """The finishing program, and what it leaves (None beside obstacles or inside a frame).

    `rounds` is how often the path is laid and tried at most; 1 for a path that is only to be
    compared.
    """
    plain = _way_alone(work)
    stretch, left = kept(store, FINISHED, (plain, rounds), lambda: _finished(plain, rounds))
    watch = () if left is None else _told(_deck(work), left)
    return _program(work, stretch, watch), left


_NO_ZERO = Zero(0.0, 0.0, 0.0, "", False)


def _way_alone(work: Work) -> Work:
    """The work without what changes feeds and words but never the way over the deck: the bores
    under it, its zero, the first descent.

    The way is found from this alone, so that it can be kept when one of them changes.
    """
    deck = replace(_deck(work), openings=())
    return replace(
        work, deck=deck, zero=_NO_ZERO, approach=None, watch=(), look=(0.0, 0.0, 0.0), kept=""
    )


def _roughed(work: Work) -> Pass:
    deck = _deck(work)
    return rough(work, deck, DropCutter(deck.surface, work.cutter), Around.of(work))


def _finished(work: Work, rounds: int) -> Finished:
    deck, around = _deck(work), Around.of(work)
    offset = DropCutter(deck.surface, work.cutter)
    if around is None:
        return _finish(work, deck, offset, rounds)
    return _finish_around(work, deck, offset, around, rounds), None


def _program(work: Work, stretch: Pass, watch: tuple[str, ...] = ()) -> Program:
    """One file, slowed down where it meets more than lines beside one another, and over the bores
    that it opens."""
    finishing = work.deck is not None and work.deck.rough <= 0.0
    moves = slowed(fed(stretch.moves, work) if finishing else stretch.moves, work)
    # Splitting adds moves that no point was given for: the count of given points grows with them.
    given = stretch.given + len(moves) - len(stretch.moves)
    return program(
        work, [Pass.of(moves, stretch.message, given)], watch=(*opening_words(work), *watch)
    )


def judged(work: Work, moves: Sequence[Move], store: Store = NOTHING) -> Left:
    """What straight cuts of the work's cutter, one after another, leave over its deck."""
    path = move_table(moves)[:, 1:4]
    plain = _way_alone(work)
    return kept(store, LEFT, (plain, path), lambda: _judged(plain, path))


def _judged(work: Work, path: Array) -> Left:
    deck = _deck(work)
    return left_over(path, work, deck, DropCutter(deck.surface, work.cutter))


def _deck(work: Work) -> Deck:
    if work.deck is None:
        raise CorepathError(f"{work.stem}: no deck to surface")
    if work.cutter.shape == "drill":
        raise CorepathError(
            f"{work.stem}: {work.cutter.describe()} cannot surface a deck; list a flat, ball or "
            "bull one"
        )
    return work.deck


def _told(deck: Deck, left: Left) -> tuple[str, ...]:
    """Lines for the head about ground that is too hollow for the cutter."""
    if left.high <= deck.scallop + _TOLD:
        return ()
    return (
        f"leaves {mm(left.high):.2f} in a hollow near X{mm(left.x):.0f} Y{mm(left.y):.0f}: "
        "sand or scrape it",
    )


def _track(
    work: Work, deck: Deck, offset: DropCutter, bounds: Bounds, rounds: int, *, open_sides: bool
) -> tuple[Array, Follow]:
    """The places (n, 2) of the axis within `bounds`, and the function from them to the tip's path.

    With `open_sides` lines may run over the sides of the bounds, where the ground is level.
    """
    # A ball has no flat part to lead up the slopes: plain lines along the grain do as well.
    if work.cutter.flat_radius > 0.0:
        return (
            regional(work, deck, offset, bounds, open_sides=open_sides, rounds=rounds),
            follower(offset),
        )
    left, low, right, high = bounds
    over = _OVERRUN if open_sides else 0.0
    wide = (left - over, low, right + over, high)
    # As in `deck_finish`: chords and lifting take their part of the ridge, but at most half of it.
    allowed = max(deck.scallop - _ABOVE - 0.001, 0.5 * deck.scallop)
    found = strips(deck.surface, work.cutter, allowed, work.cutting.stepover, wide)
    needed = None
    if deck.finished is not None:
        needed = needed_bins(deck.surface, work.cutter, wide, deck.finished)
    track = _corners(found, wide, needed)
    if rounds > 1:
        track = with_strokes(track, work, deck, offset, wide, bounds)
    return track, follower(offset)


def _finish(work: Work, deck: Deck, offset: DropCutter, rounds: int) -> tuple[Pass, Left]:
    corners, follow = _track(work, deck, offset, deck.asked.bounds, rounds, open_sides=True)
    corners = np.concatenate(
        [_outside(work, deck, corners[0]), corners, _outside(work, deck, corners[-1])]
    )
    path = follow(corners)
    moves: list[Move] = descend(work, *path[0].tolist())
    moves += [line(x, y, z, work.cutting.finish) for x, y, z in path[1:].tolist()]
    moves.append(rapid(moves[-1].x, moves[-1].y, work.clear))
    given = int(part_counts(corners, _SAMPLE).sum()) + 1
    return Pass.of(joined(moves), "finish the deck", given), left_over(path, work, deck, offset)


def _outside(work: Work, deck: Deck, place: Array) -> Array:
    """(1, 2) the place clear of the blank straight out over the side nearest to `place`."""
    return _on_side(deck.area.bounds, place, stand_off(work))


def _on_side(bounds: Bounds, place: Array, out: float) -> Array:
    """(1, 2) the place `out` mm beyond the side of the bounds that is nearest to `place`."""
    left, low, right, high = bounds
    x, y = (float(value) for value in place)
    ways = [
        (x - left, left - out, y),
        (right - x, right + out, y),
        (y - low, x, low - out),
        (high - y, x, high + out),
    ]
    return np.array([min(ways, key=lambda way: round(way[0], 6))[1:]])


def _finish_around(work: Work, deck: Deck, offset: DropCutter, around: Around, rounds: int) -> Pass:
    """Finishing inside a frame or beside obstacles: the edges of the room first, then the lines
    clipped to it."""
    left, low, right, high = field_of(work).bounds
    out = stand_off(work)
    if around.framed:
        room = (left, low, right, high)
        corners, follow = _track(work, deck, offset, room, rounds, open_sides=False)
        # From the side, which is cut already: there is wood all round where lines may begin.
        corners = np.concatenate([_on_side(room, corners[0], 0.0), corners])
    else:
        # The field is the blank grown by this much: back to the blank itself.
        within = (left + out, low + out, right - out, high - out)
        corners, follow = _track(work, deck, offset, within, rounds, open_sides=True)
        corners = np.concatenate(
            [_outside(work, deck, corners[0]), corners, _outside(work, deck, corners[-1])]
        )
    moves = around.cut_contours(follow, deck.top)
    begun, given = False, 0
    for piece in around.clipped(corners):
        given += int(part_counts(piece, _SAMPLE).sum()) + 1
        path = follow(piece)
        if begun:
            moves += around.passage(
                np.array([moves[-1].x, moves[-1].y, moves[-1].z]), path[0], follow
            )
        else:
            moves += descend(work, *path[0].tolist())
        moves += [line(x, y, z, work.cutting.finish) for x, y, z in path[1:].tolist()]
        begun = True
    moves.append(rapid(moves[-1].x, moves[-1].y, work.clear))
    return Pass.of(joined(moves), "finish the deck", given)


def _corners(found: list[Strip], bounds: Bounds, needed: NDArray[np.bool_] | None) -> Array:
    """The ends (n, 2) of all lines in the order cut: strips back and forth, and the lines of each
    cell likewise, as far along as lines are `needed` (columns, rows of 1 mm from the left and low
    of `bounds`; None: everywhere)."""
    left, low = bounds[:2]
    places: list[tuple[float, float]] = []
    forward = True
    for strip in found:
        first, last = -np.inf, np.inf
        if needed is not None:
            rows = slice(max(int(strip.low - low), 0), math.ceil(strip.high - low))
            bins = np.flatnonzero(needed[:, rows].any(axis=1))
            if not len(bins):
                continue
            first, last = left + float(bins[0]), left + float(bins[-1] + 1)
        for cell in strip.cells if forward else strip.cells[::-1]:
            if cell.right <= first or cell.left >= last:
                continue
            ends = max(cell.left, first), min(cell.right, last)
            near, far = ends if forward else ends[::-1]
            width = strip.high - strip.low
            for n in range(cell.lines):
                y = strip.low + (n + 0.5) * width / cell.lines
                places += [(near, y), (far, y)] if n % 2 == 0 else [(far, y), (near, y)]
        forward = not forward
    return np.array(places)
