"""How roughing goes over the deck, and the most that it leaves standing for the finishing cutter.

Bed frame of C, mm. Roughing goes along lines in X, a *step* apart. Its last layer leaves
`deck.rough` over the deck under the cutter; on a slope across the lines the ground between two of
them stands as much higher as the slope rises over one step. The height left at a place is the
lowest that the cutter reaches over it from any place of a line where it clears the deck: a dilation
of the deck by the cutter's shape, then an erosion along the lines (mathematical morphology).
Elementary geometry on a coarse grid, no source needed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.motion.cutter_profile import footprint
from corepath.motion.cutter_profile import heights as over_tip
from corepath.work.cutting.deck_steps import level_step
from corepath.work.keepoff import field_of
from corepath.work.works import Deck, Work

__all__ = ["NOTHING", "THINNED", "rough_left", "rough_rows"]

Array = NDArray[np.float64]

NOTHING = 0.05
"""Less stock than this over what roughing leaves is left to finishing, mm."""
THINNED = 0.03
"""mm by which straight parts of a line may lie over what it leaves."""
_GRID = 1.0
"""mm between the places at which the height left is asked for, or as far as the deck's nodes are
apart."""


def rough_rows(work: Work, deck: Deck) -> Array:
    """Y of the lines (n,) over the deck, or over the field within its frame."""
    _, low, _, high = (field_of(work) if deck.framed else deck.area).bounds
    count = max(1, math.ceil((high - low) / _step(work, deck) - 1e-9))
    rows: Array = low + (np.arange(count) + 0.5) * (high - low) / count
    return rows


def _step(work: Work, deck: Deck) -> float:
    """Distance of lines: what the clearing allows, less where ridges would stand higher than one
    layer."""
    level = level_step(work.cutter, 0.5 * work.cutting.depth, work.cutting.stepover)
    return min(level, 0.9 * work.cutting.depth / max(_across(deck), 1e-9))


def _across(deck: Deck) -> float:
    """Steepest slope across the lines."""
    spacing = float(deck.surface.ys[1] - deck.surface.ys[0])
    return float(np.abs(np.diff(np.asarray(deck.surface.grid), axis=1)).max()) / spacing


def rough_left(work: Work, deck: Deck) -> float:
    """The most that stands over the deck after roughing `work`, mm; what a frame or an obstacle
    spares is not asked."""
    from scipy.ndimage import grey_dilation

    surface = deck.surface
    spacing = float(surface.xs[1] - surface.xs[0])
    every = max(1, int(_GRID / spacing + 1e-9))
    grid, ys, cell = (
        np.asarray(surface.grid, dtype=np.float64)[::every, ::every],
        surface.ys[::every],
        every * spacing,
    )
    under, structure = footprint(work.cutter.profile, cell)
    along = np.arange(-(len(under) // 2), len(under) // 2 + 1) * cell
    tips = grey_dilation(grid, footprint=under, structure=structure, mode="nearest")
    rows = rough_rows(work, deck)
    over = _over_rows(tips, np.asarray(ys, dtype=np.float64), rows)
    left = np.full_like(grid, deck.top)
    for row, heights in zip(rows.tolist(), over.T, strict=True):
        near = np.flatnonzero(np.abs(ys - row) <= work.cutter.radius)
        for j in near.tolist():
            end = over_tip(np.hypot(along, float(ys[j]) - row), work.cutter.profile)
            left[:, j] = np.minimum(left[:, j], _along(heights, end))
    between = 0.5 * cell * _across(deck)  # the place left highest may lie between two nodes
    most = (
        float((left - grid)[_inside(surface.xs[::every], ys, deck)].max())
        + between
        + deck.rough
        + NOTHING
        + THINNED
    )
    return min(most, deck.top - float(grid.min()))


def _inside(xs: Array, ys: Array, deck: Deck) -> NDArray[np.bool_]:
    """Which nodes lie over the deck's area."""
    left, low, right, high = deck.area.bounds
    inside: NDArray[np.bool_] = ((xs >= left) & (xs <= right))[:, None] & (
        (ys >= low) & (ys <= high)
    )
    return inside


def _over_rows(tips: Array, ys: Array, rows: Array) -> Array:
    """Tip heights (nodes in X, rows), from those at the nodes (nodes in X, nodes in Y)."""
    at = np.clip((rows - ys[0]) / (ys[1] - ys[0]), 0.0, len(ys) - 1.0)
    first = np.minimum(at.astype(np.int64), len(ys) - 2)
    share = at - first
    result: Array = tips[:, first] * (1.0 - share) + tips[:, first + 1] * share
    return result


def _along(heights: Array, end: Array) -> Array:
    """The lowest that the cutter reaches over each node of a line, from any node of it."""
    from scipy.ndimage import grey_erosion

    under = np.isfinite(end)
    if not under.any():
        return np.full_like(heights, np.inf)
    result: Array = grey_erosion(
        heights, footprint=under, structure=np.where(under, -end, 0.0), mode="nearest"
    )
    return result
