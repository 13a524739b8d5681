"""The cells of a board: where thickness, gap and bed are taken to be the same. Board frame, mm.

A cell is about 150 mm of the groove, a piece of the deck as large, a plug or a seat. Within a cell
the errors are the same, so that of all its places the one with the least left decides: a finer
sampling of places within cells finds the same one to within what the deck rises between two.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.board.features import Board
from corepath.geometry.polylines import places_along
from corepath.stackup.heights import At
from corepath.stackup.odds.drawn_errors import ErrorCell
from corepath.stackup.stacks import CastingStack
from corepath.stackup.stackup import Stackup

__all__ = ["CORRELATION", "CastingCell", "DeckCell", "casting_cells", "deck_cells"]

Floats = NDArray[np.float64]

CORRELATION = 150.0
"""mm over which the error of a thickness map stays alike (common practice, no source)."""

_MARKS = 15
"""Marks along the groove in each cell, by the nearest of which a place is counted to one."""


_NODES = 2.5
"""mm between the places of the deck that are looked at: on a crest 0.002 mm are one core in 100."""


@dataclass(frozen=True, slots=True)
class CastingCell:
    """One cell of a casting: where its pocket is shallowest, the gap under it widest, and the deck
    over it highest (`deck`, mm above the finished bottom, at `highest_at`)."""

    cell: ErrorCell
    casting: CastingStack
    shallowest_at: At
    widest_gap_at: At
    highest_at: At
    deck: float


@dataclass(frozen=True, slots=True)
class DeckCell:
    """One cell of the deck: where it is highest, mm above the finished bottom."""

    cell: ErrorCell
    at: At
    deck: float


def casting_cells(stack: Stackup, board: Board, size: float = CORRELATION) -> Iterator[CastingCell]:
    """Yields the cells of all castings; `size` is the length of one along the groove, mm."""
    for casting in stack.castings:
        places, heights = casting.places, stack.heights
        one = casting.casting
        low = heights.depth_over(one.floor, casting.operation, places, one.id)[1]
        gap, deck = heights.gap_upper(places), np.asarray(board.deck.height(*places.T))
        for number, rows in enumerate(_stretches(casting, size)):
            here = places[rows]
            yield CastingCell(
                ErrorCell(f"{one.id} {number}", one.id),
                casting,
                _where(here, -low[rows]),
                _where(here, gap[rows]),
                _where(here, deck[rows]),
                float(deck[rows].max()),
            )


def _stretches(casting: CastingStack, size: float) -> Iterator[NDArray[np.intp]]:
    """Yields the rows of `casting.places` of each cell: the groove by its length, a plug whole."""
    area = casting.casting.area
    if not area.interiors:
        yield np.arange(len(casting.places))
        return
    ring = area.exterior
    count = max(1, math.ceil(ring.length / size))
    # by the nearest of some marks along the ring, which is far quicker than the exact distance
    # along it; where two cells meet they may differ by half the distance of two marks
    share = (np.arange(count * _MARKS) + 0.5) / (count * _MARKS)
    marks = places_along(shapely.get_coordinates(ring), share * ring.length)
    number = _nearest(casting.places, marks) // _MARKS
    for k in range(count):
        rows = np.flatnonzero(number == k)
        if len(rows):
            yield rows


def _nearest(places: Floats, marks: Floats) -> NDArray[np.intp]:
    """Returns for each of (n, 2) places the row of the nearest of (m, 2) marks."""
    # |p - m|² less |p|², which is the same for all marks: one product of matrices
    nearest: NDArray[np.intp] = np.argmin((marks**2).sum(axis=1) - 2.0 * places @ marks.T, axis=1)
    return nearest


def deck_cells(stack: Stackup, board: Board, size: float = CORRELATION) -> Iterator[DeckCell]:
    """Yields the cells of the deck over the whole blank, `size` mm long and wide."""
    x, y = stack.heights.blank.nodes(_NODES)
    deck = np.asarray(board.deck.height(x, y))
    highest, at_x, at_y = board.deck.highest_over(board.blank)
    x, y, deck = np.append(x, at_x), np.append(y, at_y), np.append(deck, highest)
    # counted from the blank's middle, so that a mirrored job has the mirrored cells
    column, row = (np.rint(along / size).astype(np.intp) for along in (x, y))
    # the highest place of each cell, the first of equal ones: sorting is stable
    order = np.lexsort((-np.round(deck, 6), row, column))
    first = np.ones(len(order), dtype=np.bool_)
    first[1:] = (np.diff(column[order]) != 0) | (np.diff(row[order]) != 0)
    for top in order[first].tolist():
        cell = ErrorCell(f"deck {column[top]} {row[top]}")
        yield DeckCell(cell, (float(x[top]), float(y[top])), float(deck[top]))


def _where(places: Floats, value: Floats) -> At:
    """Returns the place where `value` (n,) is largest, the first of equal ones."""
    x, y = places[int(np.argmax(np.round(value, 6)))]
    return float(x), float(y)
