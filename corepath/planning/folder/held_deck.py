"""A deck from a mesh or grid file, as a plan's folder holds it: its heights in `geometry.json`, so
that no other file is needed.

`job.resolved.json` has the SHA-256 of the file (`deck.sha256`) and, beside the job, that of the
heights over the blank (`deck_heights`): a folder whose heights were changed is refused.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.make_deck import FILE_GRAIN, nodes_of
from corepath.board.deck.surface import DeckSource, DeckSurface
from corepath.errors import Fault, InputError
from corepath.job.model import Job

__all__ = ["KEY", "grid_over", "held_deck", "seal"]

KEY = "deck_heights"

Floats = NDArray[np.float64]


def grid_over(deck: DeckSurface, length: float, width: float) -> tuple[float, float, Floats]:
    """Return x0, y0 and the heights (n, m), mm, of the deck's 1 mm grid over a blank of this
    `length` and `width`, up to the nodes just beyond its edges."""
    i, j = _within(deck.xs, length / 2), _within(deck.ys, width / 2)
    return float(deck.xs[i[0]]), float(deck.ys[j[0]]), deck.grid[np.ix_(i, j)]


def _within(places: Floats, half: float) -> NDArray[np.intp]:
    # One node beyond the edge, so that the edge itself lies between nodes. A hair less than the
    # grid's 1 mm: with a whole mm and rounding errors, one side could get a node more.
    return np.flatnonzero(np.abs(places) <= half + 0.999999)


def seal(deck: DeckSurface, job: Job) -> dict[str, str]:
    """Return the entry of `job.resolved.json` about the heights; empty for a deck that follows from
    the job's keys alone."""
    if deck.source.sha256 is None:
        return {}
    return {KEY: _digest(grid_over(deck, job.blank.length, job.blank.width)[2])}


def _digest(heights: Floats) -> str:
    # Over the rounded numbers that `geometry.json` holds, in a fixed byte order: the heights of the
    # plan and those read back from the text must give the same bytes on any machine.
    return hashlib.sha256(
        np.ascontiguousarray(np.round(heights, FILE_GRAIN), dtype="<f8").tobytes()
    ).hexdigest()


def held_deck(job: Job, resolved: Mapping[str, Any], geometry: Mapping[str, Any]) -> DeckSurface:
    """Return the deck of a plan's folder from its `job.resolved.json` and `geometry.json`.

    Raises InputError where the heights are missing, or are not those of the plan.
    """
    held: Any = geometry.get("deck")
    try:
        heights = np.array(held["h"], dtype=np.float64)
        xs, ys = nodes_of(job.blank.length), nodes_of(job.blank.width)
        i, j = _within(xs, job.blank.length / 2), _within(ys, job.blank.width / 2)
        if heights.shape != (len(i), len(j)) or _digest(heights) != resolved.get(KEY):
            raise ValueError
    except (KeyError, TypeError, ValueError):
        says = "the deck's heights are not there, or not those that the plan was made with"
        raise InputError(
            [Fault("deck.h", says, allowed="the file as the plan wrote it", file="geometry.json")]
        ) from None
    # Beyond the blank the file holds no heights; nothing is cut to them, so the edge's height does.
    grid = np.full((len(xs), len(ys)), job.board.edge_thickness)
    grid[np.ix_(i, j)] = heights
    return DeckSurface(xs, ys, grid, job.board.edge_thickness, DeckSource(sha256=job.deck.sha256))
