"""Surfacing the deck in set-up C: roughing in level layers, or finishing lines offset for the cutter.

Bed frame of C, mm: z = h(x, y) is the deck to be. Finishing follows the tip heights over the surface in
one continuous path that starts and ends outside the blank; straight moves keep within 0.002 mm below
and 0.003 mm above the true tip path. Roughing is in `corepath.operations.roughing`.
Inside a frame, or beside obstacles, the edges of the room are cut first (`corepath.operations.around`).
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from corepath.errors import CorepathError
from corepath.motion.program import Move, Pass, Program, line, rapid
from corepath.operations.around import Around
from corepath.operations.facing_paths import RUN_IN, descend, joined, program
from corepath.operations.finishing import Strip, strips
from corepath.operations.offsetting import CutterOffset, thin
from corepath.operations.roughing import rough
from corepath.work.keepoff import field_of
from corepath.work.model import Deck, Work

__all__ = ["plan"]

Array = NDArray[np.float64]

_BELOW = 0.002
_ABOVE = 0.003
_SAMPLE = 0.5
_OVERRUN = 0.5
"""How far the axis runs past the blank's end before it turns, mm."""


def plan(work: Work) -> tuple[Program, ...]:
    """The program that roughs the deck (`deck.rough` > 0) or finishes it."""
    deck = work.deck
    if deck is None:
        raise CorepathError(f"{work.stem}: no deck to surface")
    if work.cutter.shape == "drill":
        raise CorepathError(
            f"{work.stem}: {work.cutter.describe()} cannot surface a deck; list a flat, ball or bull one"
        )
    offset = CutterOffset(deck.surface, work.cutter)
    around = Around.of(work)
    if deck.rough > 0.0:
        stretch = rough(work, deck, offset, around)
    else:
        stretch = _finish(work, deck, offset) if around is None else _finish_around(work, deck, offset, around)
    return (program(work, work.stem, [stretch]),)


def _lines(work: Work, deck: Deck, bounds: tuple[float, float, float, float]) -> tuple[Array, float]:
    """Ends (n, 2) of all lines within `bounds`, close enough for the ridges allowed; end of the first strip."""
    allowed = max(deck.scallop - _ABOVE - 0.001, 0.5 * deck.scallop)
    found = strips(deck.surface, work.cutter, allowed, work.cutting.stepover, bounds)
    return _corners(found, bounds), found[0].high


def _finish_around(work: Work, deck: Deck, offset: CutterOffset, around: Around) -> Pass:
    """The same inside a frame or beside obstacles: the edges of the room first, then the lines clipped to it."""
    left, low, right, high = field_of(work).bounds
    out = work.cutter.radius + RUN_IN - 1e-3
    if not around.framed:
        low, high = low + out, high - out
        corners, beside = _lines(work, deck, (left + out - _OVERRUN, low, right - out + _OVERRUN, high))
        last = right if corners[-1, 0] > 0.5 * (left + right) else left
        corners = np.concatenate([[[left, corners[0, 1]]], corners, [[last, corners[-1, 1]]]])
    else:
        corners, beside = _lines(work, deck, (left, low, right, high))

    def follow(places: Array) -> Array:
        return _follow(offset, places)

    moves = around.cut_contours(follow, deck.top)
    begun, given = False, 0
    for piece in around.clipped(corners):
        given += int(_counts(piece).sum()) + 1
        path = follow(piece)
        if begun:
            moves += around.passage(np.array([moves[-1].x, moves[-1].y, moves[-1].z]), path[0], follow)
        else:
            moves += descend(work, *path[0].tolist())
        feeds = _feeds(work, path[1:, 1], beside)
        moves += [line(x, y, z, feed) for (x, y, z), feed in zip(path[1:].tolist(), feeds, strict=True)]
        begun = True
    moves.append(rapid(moves[-1].x, moves[-1].y, work.clear))
    return Pass.of(joined(moves), "finish the deck", given)


def _finish(work: Work, deck: Deck, offset: CutterOffset) -> Pass:
    left, low, right, high = deck.area.bounds
    corners, beside = _lines(work, deck, (left - _OVERRUN, low, right + _OVERRUN, high))
    path = _follow(offset, corners)
    out = work.cutter.radius + RUN_IN - 1e-3
    first, last = path[0], path[-1]
    start = left - out
    end = right + out if last[0] > 0.5 * (left + right) else left - out
    moves: list[Move] = descend(work, start, float(first[1]), float(first[2]))
    feeds = _feeds(work, path[:, 1], beside)
    moves += [line(x, y, z, feed) for (x, y, z), feed in zip(path.tolist(), feeds, strict=True)]
    moves += [line(end, float(last[1]), float(last[2]), work.cutting.feed), rapid(end, float(last[1]), work.clear)]
    return Pass.of(joined(moves), "finish the deck", int(_counts(corners).sum()) + 1)


def _feeds(work: Work, ys: Array, beside: float) -> list[float]:
    """Feed to each point: full-width at first, then beside what is cut, the chips thin and the feed higher."""
    return [work.cutting.feed if y < beside else work.cutting.finish for y in ys.tolist()]


def _corners(found: list[Strip], bounds: tuple[float, float, float, float]) -> Array:
    """Ends (n, 2) of all lines in the order cut: strips back and forth, and the lines of each cell too."""
    places: list[tuple[float, float]] = []
    for k, strip in enumerate(found):
        forward = k % 2 == 0
        for cell in strip.cells if forward else strip.cells[::-1]:
            near, far = (cell.left, cell.right) if forward else (cell.right, cell.left)
            width = strip.high - strip.low
            for n in range(cell.lines):
                y = strip.low + (n + 0.5) * width / cell.lines
                places += [(near, y), (far, y)] if n % 2 == 0 else [(far, y), (near, y)]
    return np.array(places)


def _counts(corners: Array) -> NDArray[np.int64]:
    """Number of samples (n - 1,) along each line between the `corners` (n, 2)."""
    spans = np.hypot(*np.diff(corners, axis=0).T)
    counts: NDArray[np.int64] = np.maximum(np.ceil(spans / _SAMPLE - 1e-9).astype(np.int64), 1)
    return counts


def _follow(offset: CutterOffset, corners: Array) -> Array:
    """Tip path (n, 3) along the straight lines between `corners`, thinned line by line."""
    counts = _counts(corners)
    places = [
        np.linspace(a, b, n, endpoint=False) for a, b, n in zip(corners[:-1], corners[1:], counts, strict=True)
    ] + [corners[-1:]]
    flat = np.concatenate(places)
    points = np.column_stack([flat, offset.tip(flat[:, 0], flat[:, 1])])
    at = np.concatenate([[0], np.cumsum(counts)])
    kept = [thin(points[a : b + 1], _BELOW, _ABOVE)[:-1] for a, b in itertools.pairwise(at) if b > a]
    return np.concatenate([*kept, points[-1:]])
