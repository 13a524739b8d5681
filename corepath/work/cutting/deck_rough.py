"""How roughing runs over the deck, and the most stock that it leaves for the finishing cutter.

Bed frame of C, mm. Roughing runs along lines in X, a *step* apart. Its last layer leaves
`deck.rough` over the deck under the cutter; on a slope across the lines the ground between two of
them stands as much higher as the slope rises over one step. The height left at a place is the
lowest that the cutter reaches over it from any place of a line where it clears the deck: a dilation
of the deck by the cutter's shape, then an erosion along the lines (mathematical morphology).
Elementary geometry on a coarse grid, no source needed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.morphology import dilated, eroded_along
from corepath.geometry.step_counts import fewest_steps
from corepath.motion.cutter_profile import footprint, sections
from corepath.work.cutting.deck_steps import level_step
from corepath.work.keepoff import field_of
from corepath.work.works import Deck, Work

__all__ = ["NOTHING", "THINNED", "rough_left", "rough_rows"]

Array = NDArray[np.float64]

NOTHING = 0.05
"""mm; less stock than this over what roughing leaves is left to finishing."""
THINNED = 0.03
"""mm by which straight parts of a line may lie above the heights worked out."""
_GRID = 1.0
"""mm between the places at which the height left is asked for; wider where the nodes of the deck
lie farther apart."""


def rough_rows(work: Work, deck: Deck) -> Array:
    """Y (n,), mm, of the lines over the deck, or over the field within its frame."""
    _, low, _, high = (field_of(work) if deck.framed else deck.area).bounds
    count = max(1, fewest_steps(high - low, _step(work, deck)))
    rows: Array = low + (np.arange(count) + 0.5) * (high - low) / count
    return rows


def _step(work: Work, deck: Deck) -> float:
    """Distance between lines, mm: as far as the clearing allows, less where ridges would stand
    higher than one layer."""
    level = level_step(work.cutter, 0.5 * work.cutting.depth, work.cutting.stepover)
    # 1e-9: level across the lines, and the depth does not limit their distance.
    return min(level, 0.9 * work.cutting.depth / max(_across(deck), 1e-9))


def _across(deck: Deck) -> float:
    """Steepest slope across the lines (a tangent), between neighbouring nodes."""
    spacing = float(deck.surface.ys[1] - deck.surface.ys[0])
    return float(np.abs(np.diff(np.asarray(deck.surface.grid), axis=1)).max()) / spacing


def rough_left(work: Work, deck: Deck) -> float:
    """The most that stands over the deck after roughing `work`, mm, not counting what a frame or an
    obstacle keeps from being cut."""
    surface = deck.surface
    spacing = float(surface.xs[1] - surface.xs[0])
    # 1e-9: a grid of just this spacing is taken whole, whatever the division's rounding.
    every = max(1, int(_GRID / spacing + 1e-9))
    grid, cell = np.asarray(surface.grid, dtype=np.float64)[::every, ::every], every * spacing
    rows = rough_rows(work, deck)
    key = ("roughed", work.cutter.profile, every, rows.tobytes())
    reached = surface.kept_fields.of(key, lambda: _reached(work, deck, rows, every))
    # Nodes that no line reaches keep the full stock.
    left = np.minimum(reached, deck.top)
    # The place left highest may lie between two nodes.
    between = 0.5 * cell * _across(deck)
    most = (
        float((left - grid)[_inside(surface.xs[::every], surface.ys[::every], deck)].max())
        + between
        + deck.rough
        + NOTHING
        + THINNED
    )
    # All these margins must not ask for more than the stock there is.
    return min(most, deck.top - float(grid.min()))


def _reached(work: Work, deck: Deck, rows: Array, every: int) -> Array:
    """The lowest that the cutter reaches over every `every`-th node (n, m) from lines at `rows`, mm
    above the deck's zero; inf where it does not come."""
    surface, radius = deck.surface, work.cutter.radius
    grid = np.asarray(surface.grid, dtype=np.float64)[::every, ::every]
    ys = np.asarray(surface.ys[::every], dtype=np.float64)
    cell = every * float(surface.xs[1] - surface.xs[0])
    end = footprint(work.cutter.profile, cell)
    over = _over_rows(dilated(grid, end), ys, rows)
    reached = np.full_like(grid, np.inf)
    for row, heights in zip(rows.tolist(), over.T, strict=True):
        near = np.flatnonzero(np.abs(ys - row) <= radius)
        over_nodes = sections(work.cutter.profile, cell, ys[near] - row)
        reached[:, near] = np.minimum(reached[:, near], eroded_along(heights, over_nodes))
    return reached


def _inside(xs: Array, ys: Array, deck: Deck) -> NDArray[np.bool_]:
    """Which nodes lie over the deck's area."""
    left, low, right, high = deck.area.bounds
    inside: NDArray[np.bool_] = ((xs >= left) & (xs <= right))[:, None] & (
        (ys >= low) & (ys <= high)
    )
    return inside


def _over_rows(tips: Array, ys: Array, rows: Array) -> Array:
    """Drop-cutter heights (nodes in X, rows) at the lines, interpolated from those at the nodes
    (nodes in X, nodes in Y)."""
    at = np.clip((rows - ys[0]) / (ys[1] - ys[0]), 0.0, len(ys) - 1.0)
    first = np.minimum(at.astype(np.int64), len(ys) - 2)
    share = at - first
    result: Array = tips[:, first] * (1.0 - share) + tips[:, first + 1] * share
    return result
