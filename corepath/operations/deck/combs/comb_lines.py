"""Lines over the sloping ground alone, side by side like the teeth of a comb, along X or along Y.

Bed frame of C, mm. *Sloping* is where lines along X at the widest step would leave too much. Each
of its bins is given lines along X or along Y, whichever may lie farther apart; patches of one
direction are combed by themselves. Their lines end where the slope ends, so that level ground is
left to few long lines (`corepath.operations.deck.combs.level_lines`).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.geometry import masks
from corepath.operations.deck.combs.planes import ALONG, UPRIGHT, Outward, Plane
from corepath.operations.deck.deck_lines import (
    TURN,
    Sheet,
    extra_lines,
    first_line,
)
from corepath.work.cutting.deck_steps import StepTable

__all__ = ["Comb", "combs", "sloping"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_LEVEL = 0.97
"""Share of the widest step above which a bin counts as level: below it a line more is needed."""
_BRIDGE = 15.0
"""mm; level breaks of a line shorter than this are cut through: two turns would cost more."""
_SMALLEST = 12
"""Bins of a patch that gets lines of its own; a smaller one gets strokes if it needs any."""
_SPARE = 2
"""Bins by which an extra line is longer than it must be at each end, since its turn begins
early."""
_RATHER = 0.1
"""Share by which lines square to the outline may be longer and are taken all the same: they need no
seams between patches of two directions."""
_ASIDE = 0.1
"""Share of its distance from the outline that a bin may lie beside the line square to it."""
_NARROWER = 0.95
_CLOSEST = 0.05
"""Gaps are tried from the widest step down, each this much narrower, to this share of it."""


@dataclass(frozen=True, slots=True)
class Comb:
    """The lines over one patch, each (k, 2) places (u, v) of their `plane`: through lines, then
    extra ones between them."""

    through: list[Array]
    extra: list[Array]
    plane: Plane


def sloping(along: StepTable, widest: float) -> Mask:
    """(columns, rows) the bins where lines are needed and those along X `widest` mm apart leave too
    much."""
    sloped = np.asarray(along.table < _LEVEL * widest)
    return sloped if along.needed is None else sloped & along.needed


def combs(
    tables: list[StepTable],
    sloped: Mask,
    widest: float,
    flat: float,
    penalty: float,
    square: Outward | None = None,
) -> list[Comb]:
    """Combs over all `sloped` bins.

    `tables` have the allowed steps for lines along X, along Y and, with `square`, for those square
    to the outline; `widest` is the largest step and `flat` the radius of the cutter's flat part,
    mm; `penalty` is what lines across the grain (Y) count.
    """
    own = _best_way(tables, sloped, flat, penalty, square)
    found = []
    for k, plane in enumerate((ALONG, UPRIGHT)):
        steps, wanted = tables[k], sloped & (own == k)
        # In the plane of the lines: u along them, v across.
        table, corner = steps.table, (steps.left, steps.low)
        if plane is UPRIGHT:
            table, wanted, corner = table.T, wanted.T, corner[::-1]
        found += _combs(Sheet(table, *corner, 0.0, 0.0, steps.size), wanted, widest, plane)
    if square is not None:
        sheet, wanted = _laid_out(tables[2], sloped, sloped & (own == 2), widest, square)
        found += _combs(sheet, wanted, widest, square)
    return found


def _best_way(
    tables: list[StepTable], sloped: Mask, flat: float, penalty: float, square: Outward | None
) -> NDArray[np.int64]:
    """Which of the `tables` each bin gets its lines by: that with the shortest ones."""
    from scipy.ndimage import gaussian_filter

    # 1/step is the length of line for a unit of area. Averaged over about what the cutter covers:
    # a patch smaller than that is not worth a direction of its own.
    size = tables[0].size
    saved = np.where(sloped, 1.0 / tables[0].table - penalty / tables[1].table, 0.0)
    own = np.where(gaussian_filter(saved, flat / size) > 0.0, 1, 0).astype(np.int64)
    if square is None:
        return own
    alone, weight = _square_to(tables[2], sloped, square, penalty)
    others = np.where(own == 1, penalty / tables[1].table, 1.0 / tables[0].table)
    saved = np.where(sloped, others - (1.0 - _RATHER) * weight / tables[2].table, 0.0)
    return np.asarray(np.where(alone & (gaussian_filter(saved, flat / size) > 0.0), 2, own))


@dataclass(frozen=True, slots=True)
class _Feet:
    """The nearest place of the outline to each sloping bin: its number, its distance, mm; (n, m),
    anything elsewhere."""

    number: NDArray[np.int64]
    away: Array


def _feet(steps: StepTable, sloped: Mask, square: Outward) -> _Feet:
    def found() -> _Feet:
        from scipy.spatial import cKDTree

        i, j = np.nonzero(sloped)
        number, away = np.zeros(sloped.shape, dtype=np.int64), np.zeros(sloped.shape)
        away[i, j], number[i, j] = cKDTree(square.guide).query(_middles(steps, i, j))
        return _Feet(number, away)

    # The same in every round: lines are laid again with other steps on the same ground.
    return square.kept.of(("feet", _key(steps, sloped)), found)


def _key(steps: StepTable, sloped: Mask) -> tuple[float, float, float, bytes]:
    return steps.left, steps.low, steps.size, sloped.tobytes()


def _middles(steps: StepTable, i: NDArray[np.int64], j: NDArray[np.int64]) -> Array:
    corner = (steps.left, steps.low)
    places = np.column_stack([i, j]) * steps.size + corner + 0.5 * steps.size
    return np.asarray(places, dtype=np.float64)


def _square_to(
    steps: StepTable, sloped: Mask, square: Outward, penalty: float
) -> tuple[Mask, Array]:
    """Which sloping bins have one nearest place of the outline, in sight of lines square to it, and
    what such lines count there."""

    def found() -> tuple[Mask, Array]:
        feet = _feet(steps, sloped, square)
        i, j = np.nonzero(sloped)
        places, away, near = _middles(steps, i, j), feet.away[i, j], feet.number[i, j]
        normal = square.normals[near]
        u = ((places - square.guide[near]) * normal).sum(axis=1)
        aside = np.hypot(*(places - square.guide[near] - u[:, None] * normal).T)
        alone = np.zeros(sloped.shape, dtype=np.bool_)
        # The nearest place kept lies at most half of their distance aside.
        alone[i, j] = aside < 0.75 * square.apart + _ASIDE * away
        weight = np.ones(sloped.shape)
        weight[i, j] = np.where(np.abs(normal[:, 1]) > np.abs(normal[:, 0]), penalty, 1.0)
        return alone, weight

    return square.kept.of(("square to", _key(steps, sloped), penalty), found)


def _laid_out(
    steps: StepTable, sloped: Mask, own: Mask, widest: float, square: Outward
) -> tuple[Sheet, Mask]:
    """The steps in the plane of lines square to an outline, across as they count at the outline,
    and which of its bins are wanted: those over the sloping bins `own`."""
    size, feet = steps.size, _feet(steps, sloped, square)
    i, j = np.nonzero(own)
    if not len(i):
        return Sheet(np.ones((1, 1)), 0.0, 0.0, 0.0, 0.0, size), np.zeros((1, 1), np.bool_)
    places, away, near = _middles(steps, i, j), feet.away[i, j], feet.number[i, j]
    side = ((places - square.guide[near]) * square.normals[near]).sum(axis=1)
    u = np.where(side > 0.0, away, -away)
    first, last = math.floor(u.min()) - 1.0, math.ceil(u.max()) + 1.0
    bins, stretch, alone = _plane_over(steps, sloped, first, last, square)
    table = np.minimum(steps.table.ravel()[bins] / stretch, widest)
    return Sheet(table, first, 0.0, 0.0, 0.0, size), alone & own.ravel()[bins]


def _plane_over(
    steps: StepTable, sloped: Mask, first: float, last: float, square: Outward
) -> tuple[NDArray[np.int64], Array, Mask]:
    """Of bins in the plane of lines square to the outline, from u `first` to `last`, (n, m) each:
    over which bin of the steps they lie, counted row by row, how much farther apart lines are there
    than at the outline, and which of those over sloping bins have no other place of the outline
    nearer."""

    def found() -> tuple[NDArray[np.int64], Array, Mask]:
        from scipy.spatial import cKDTree

        size = steps.size
        us = first + (np.arange(round((last - first) / size)) + 0.5) * size
        vs = (np.arange(math.ceil(square.length / size)) + 0.5) * size
        grid = np.stack(np.meshgrid(us, vs, indexing="ij"), axis=-1)
        at = square.xy(grid.reshape(-1, 2)).reshape(grid.shape)
        aside = np.roll(at, -1, axis=1) - np.roll(at, 1, axis=1)
        stretch = np.maximum(np.hypot(aside[..., 0], aside[..., 1]) / (2.0 * size), 0.05)
        bins = np.floor((at - (steps.left, steps.low)) / size).astype(np.int64)
        alone = ((bins >= 0) & (bins < sloped.shape)).all(axis=2)
        bins = np.clip(bins, 0, np.array(sloped.shape) - 1)
        over = bins[..., 0] * sloped.shape[1] + bins[..., 1]
        alone &= sloped.ravel()[over]
        away, _ = cKDTree(square.guide).query(at[alone])
        # Where lines have crossed, another place of the outline is nearer.
        alone[alone] = away > np.abs(us)[np.nonzero(alone)[0]] - 0.75 * square.apart
        return over, stretch, alone

    return square.kept.of(("plane", _key(steps, sloped), first, last), found)


def _combs(whole: Sheet, wanted: Mask, widest: float, plane: Plane) -> list[Comb]:
    from scipy.ndimage import label

    table, size = whole.table, whole.size
    patches, count = label(_bridged(wanted, round(_BRIDGE / size)), np.ones((3, 3)))
    found = []
    for k in range(1, count + 1):
        own = patches == k
        if own.sum() < _SMALLEST:
            continue
        i, j = np.flatnonzero(own.any(axis=1)), np.flatnonzero(own.any(axis=0))
        window = slice(i[0], i[-1] + 1), slice(j[0], j[-1] + 1)
        # in rows along u whatever the plane: each order of an array would be compiled again
        inside = np.ascontiguousarray(own[window])
        sheet = Sheet(
            np.ascontiguousarray(np.where(inside, table[window], widest)),
            whole.u + int(i[0]) * size,
            whole.v + int(j[0]) * size,
            whole.u + int(i[-1] + 1) * size,
            whole.v + int(j[-1] + 1) * size,
            size,
        )
        found.append(Comb(*_lines(sheet, inside, widest), plane))
    return found


def _bridged(wanted: Mask, most: int) -> Mask:
    """The bins with breaks of up to `most` bins along the lines filled."""
    from scipy.ndimage import binary_closing

    # Padded: a closing at the very edge of the array would lose what it adds.
    padded = np.pad(wanted, ((most, most), (0, 0)))
    return np.asarray(binary_closing(padded, np.ones((most, 1)))[most : len(padded) - most])


def _lines(sheet: Sheet, own: Mask, widest: float) -> tuple[list[Array], list[Array]]:
    """Through and extra lines, each (k, 2) points (u, v), over the bins `own` of the sheet."""
    places = _places(sheet, own, widest)
    edges = [sheet.v, *(0.5 * (a + b) for a, b in itertools.pairwise(places)), sheet.top]
    through = [
        np.array([[sheet.u + first * sheet.size, v], [sheet.u + last * sheet.size, v]])
        for v, (low, high) in zip(places, itertools.pairwise(edges), strict=True)
        for first, last in _runs(_band(sheet, own, low, high), sheet.size)
    ]
    extra = [
        line
        for low, high in itertools.pairwise(places)
        for line in extra_lines(sheet, low, high, spare=_SPARE)
    ]
    return through, extra


def _places(sheet: Sheet, own: Mask, widest: float) -> list[float]:
    """v of the through lines."""
    here = sheet.v + first_line(sheet, widest, sheet.v, 1.0)
    last = sheet.top - first_line(sheet, widest, sheet.top, -1.0)
    if last <= here:
        return [0.5 * (sheet.v + sheet.top)]
    places = [here]
    # 1e-6 mm: no line more where the last step ended there but for rounding.
    while places[-1] < last - 1e-6:
        room = last - places[-1]
        width = _best_gap(sheet, own, places[-1], min(widest, room))
        # No sliver as the last gap: two even ones instead.
        if 1e-6 < room - width < 0.5 * width:
            width = room / 2.0
        places.append(places[-1] + width)
    return places


def _best_gap(sheet: Sheet, own: Mask, low: float, widest: float) -> float:
    """The width of the gap above `low` that costs least for each mm of it."""
    from corepath.operations.deck.combs.gap_kernels import lines_of_gaps

    widths = [widest]
    while widths[-1] * _NARROWER > _CLOSEST * widest:
        widths.append(widths[-1] * _NARROWER)
    highs = low + np.array(widths)
    bins, stretches, runs = lines_of_gaps(
        sheet.table, own, highs - low, _rows(sheet, low, highs), _BRIDGE / sheet.size
    )
    # Length of all lines of the gap, a turn for each, and the spare ends of extra ones.
    lengths = bins * sheet.size + TURN * np.maximum(runs, 1)
    lengths += stretches * (TURN + 2 * _SPARE * sheet.size)
    costs = lengths / np.array(widths)
    least = np.flatnonzero(costs <= costs.min() + 2e-9)
    # Rounded, so that a tie goes to the wider gap on every machine.
    rounded = [round(cost, 9) for cost in costs[least].tolist()]
    return widths[int(least[rounded.index(min(rounded))])]


def _rows(sheet: Sheet, low: float, highs: Array) -> NDArray[np.int64]:
    """The row of bins in which bands from `low` to each of `highs` (k,) in v begin, and those in
    which they end (1 + k,)."""
    end = sheet.table.shape[1] - 1
    first = min(max(int((low + 1e-9 - sheet.v) / sheet.size), 0), end)
    lasts = ((highs - 1e-9 - sheet.v) / sheet.size).astype(np.int64)
    return np.concatenate([[first], np.clip(lasts, first, end)])


def _band(sheet: Sheet, own: Mask, low: float, high: float) -> Mask:
    """(n,) which bins along u have any of `own` between `low` and `high` in v."""
    first, last = _rows(sheet, low, np.array([high])).tolist()
    return np.asarray(own[:, first : last + 1].any(axis=1))


def _runs(wanted: Mask, size: float) -> list[tuple[int, int]]:
    """(first, last) of the runs of wanted bins, joined over short breaks."""
    runs: list[tuple[int, int]] = []
    for first, last in masks.runs(wanted):
        if runs and (first - runs[-1][1]) * size < _BRIDGE:
            runs[-1] = (runs[-1][0], last)
        else:
            runs.append((first, last))
    return runs
