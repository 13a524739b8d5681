"""Long lines along X over the ground that combs leave: level enough for the widest step.

Bed frame of C, mm. A line finishes a band as wide as the flat part of the cutter. Lines lie evenly
apart; each is as long as the ground that is still needed in its band. Of some pitches and places of
the first line the shortest set is taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corepath.geometry.masks import runs
from corepath.operations.deck.deck_lines import OVERHANG, TURN
from corepath.work.cutting.deck_steps import StepTable

__all__ = ["LevelGround", "level_ground", "level_lines"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_LESS = 1.5
"""mm by which a comb finishes less than the flat radius beyond the ends of its lines: between two
of them its edge is scalloped."""
_INSET = 2.0
"""mm by which a line may end short of the ground of a comb, on both sides of which discs reach."""
_BREAK = 60.0
"""mm; breaks of a line shorter than this are cut through: two turns would cost more."""
_SHORTEST = 1.0  # mm
_PITCHES = 7
_CLOSEST = 0.85
_STARTS = 8
"""Pitches tried from the widest step down to this share of it, and places of the first line."""


@dataclass(frozen=True, slots=True)
class LevelGround:
    """Which bins need a level line, their middles along X and Y, the blank's columns (first, past
    the last), and the size of a bin."""

    needed: Mask
    xs: Array
    ys: Array
    columns: tuple[int, int]
    size: float

    def but(self, needed: Mask) -> LevelGround:
        """The same ground where these bins are needed."""
        return replace(self, needed=needed)


def level_lines(
    ground: LevelGround,
    size: tuple[float, float],
    tried: tuple[float, float, float, float],
) -> list[Array]:
    """Lines (2, 2) from low to high x over all of the `ground` that needs them; none where nothing
    does.

    `size` is the largest step and the radius of the cutter's flat part, `tried` (left, low, right,
    high) the ground that is judged, mm.
    """
    widest, flat = size
    rows = np.flatnonzero(ground.needed.any(axis=0))
    if not len(rows):
        return []
    half = 0.5 * ground.size
    first, last = ground.ys[rows[0]] - half, ground.ys[rows[-1]] + half
    edge = flat - OVERHANG
    sets = []
    for pitch in np.linspace(widest, _CLOSEST * widest, _PITCHES).tolist():
        for start in range(_STARTS):
            low = first + edge - start / _STARTS * pitch
            count = max(math.ceil((last - edge - low) / pitch - 1e-9), 0) + 1
            rows_at = [low + k * pitch for k in range(count)]
            sets.append(
                [
                    one
                    for k, y in enumerate(rows_at)
                    for one in _row(ground, y, pitch, flat, k in (0, count - 1))
                ]
            )
    # Rounded, so that a tie goes to the same set on every machine.
    shortest = min(sets, key=lambda rows: round(sum(b - a + TURN for a, b, _ in rows), 6))
    # A line just outside would finish no more than one on the side.
    return [
        np.array([[a, y], [b, y]])
        for a, b, y in ((a, b, min(max(y, tried[1]), tried[3])) for a, b, y in shortest)
    ]


def level_ground(
    steps: StepTable,
    sloped: Mask,
    flat: float,
    tried: tuple[float, float, float, float],
) -> LevelGround:
    """The ground of `tried` (left, low, right, high) that combs over the `sloped` bins leave, by a
    cutter whose flat part has the radius `flat`, mm."""
    from scipy.ndimage import distance_transform_edt

    left, low, right, high = tried
    size = steps.size
    xs = steps.left + (np.arange(sloped.shape[0]) + 0.5) * size
    ys = steps.low + (np.arange(sloped.shape[1]) + 0.5) * size
    # No sloping bin at all: the distance to none would be that to a corner of the array.
    away = distance_transform_edt(~sloped) * size if sloped.any() else np.full(sloped.shape, np.inf)
    # Lines along X finish no ground beyond the sides of the blank.
    within_x, within_y = (xs > left) & (xs < right), (ys > low) & (ys < high)
    needed = (away > flat - _LESS) & within_x[:, None] & within_y[None, :]
    if steps.needed is not None:
        needed &= steps.needed
    columns = np.flatnonzero(within_x)
    return LevelGround(
        needed,
        np.asarray(xs),
        np.asarray(ys),
        (int(columns[0]), int(columns[-1]) + 1),
        size,
    )


def _row(
    ground: LevelGround, y: float, pitch: float, flat: float, outermost: bool
) -> list[tuple[float, float, float]]:
    """The lines (from x, to x, y) of one row: over all that is needed in its band."""
    # The outermost lines have no neighbour beyond them: their band is all that the disc reaches.
    half = flat if outermost else 0.5 * pitch
    band = ground.needed[:, np.abs(ground.ys - y) < half + ground.size].any(axis=1)
    # As in `deck_lines`: a flat end that stops inside the blank's side still sweeps up to it
    # between two lines, while the outermost lines run over the side to clear the corners.
    deep = 0.9 * math.sqrt(max(flat**2 - (0.5 * pitch) ** 2, 0.0))
    inset = -OVERHANG if outermost else deep
    found: list[tuple[float, float, float]] = []
    for first, last in runs(np.asarray(band)):
        start = float(ground.xs[first]) - 0.5 * ground.size
        end = float(ground.xs[last - 1]) + 0.5 * ground.size
        start += inset if first == ground.columns[0] else _INSET
        end -= inset if last == ground.columns[1] else _INSET
        if end - start < _SHORTEST:
            middle = 0.5 * (start + end)
            start, end = middle - 0.5 * _SHORTEST, middle + 0.5 * _SHORTEST
        if found and start - found[-1][1] < _BREAK:
            found[-1] = (found[-1][0], end, y)
        else:
            found.append((start, end, y))
    return found
