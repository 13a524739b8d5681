"""Roughing the deck: level layers from the top of the stock down, always at least the leave above
the deck.

Bed frame of C, mm. *Limit* is the lowest that the tip may stand at a place: the drop-cutter height
over the deck plus what roughing leaves on. Layer k cuts along lines in X at max(level k, limit),
and only where stock still stands above that: the stretches of a line where the limit lies below the
level before. Where all the stock under the cutter is so low that the finishing takes it in one go
(`deck.one_go`), nothing is cut. So no line takes more than the depth of one layer, and the slopes
of the deck come out in steps of one line. Stretches of neighbouring lines are chained back and
forth; between chains the cutter moves over the safe height, to the nearest. A chain starts outside
the blank where its first stretch reaches the end of the blank, otherwise by a ramp along it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, segmentize

from corepath.geometry import masks
from corepath.geometry.morphology import eroded
from corepath.geometry.rasters import edges_of, inside
from corepath.motion.cutter_profile import CutterProfile, footprint
from corepath.motion.program import Move, Pass, line, rapid
from corepath.operations.deck.drop_cutter import DropCutter, thin
from corepath.operations.deck.roughing.needed import Standing, Stretch
from corepath.operations.entries import slope_of
from corepath.operations.facing.around import Around
from corepath.operations.facing.facing_paths import descend, joined
from corepath.work.cutting.deck_rough import NOTHING, THINNED, rough_rows
from corepath.work.keepoff import field_of, stand_off
from corepath.work.works import Deck, Work

__all__ = ["rough"]

Array = NDArray[np.float64]

# mm between the places of a line at which the limit is worked out.
_SAMPLE = 1.0
# mm by which lines run past the blank's ends.
_OVERRUN = 0.5
_SHORT_GAP = 25.0
"""mm; shorter gaps are crossed at feed, on the stock left there."""
_LONGEST_LINK = 130.0
"""mm; longer links go over the safe height: up, back down and a ramp take as long."""
_RAMP_WAY = 250.0
"""mm of way at rapid that take about as long as a ramp into a layer and back."""


@dataclass(frozen=True, slots=True)
class _RoughingLayer:
    """One layer: tip heights `z` (rows, samples) at the places `xs` (samples,) by `ys` (rows,), and
    those of the layer `before` it, in full.

    `level` is its lowest height, `standing` knows what shortened lines have left.
    """

    xs: Array
    ys: Array
    z: Array
    before: Array
    level: float
    standing: Standing


def rough(work: Work, deck: Deck, offset: DropCutter, around: Around | None = None) -> Pass:
    """All layers of roughing in one pass, within the room that obstacles or a frame leave
    (`around`, None for all of the blank)."""
    framed = around is not None and around.framed
    left, _, right, _ = field_of(work).bounds if framed else deck.area.bounds
    over = 0.0 if framed else _OVERRUN
    ys = rough_rows(work, deck)
    xs = np.linspace(left - over, right + over, math.ceil((right - left + 2 * over) / _SAMPLE) + 1)
    free = (
        np.ones((len(ys), len(xs)), dtype=np.bool_)
        if around is None
        else around.holds(*np.meshgrid(xs, ys))
    )
    limit = offset.tip(xs[None, :], ys[:, None]) + deck.rough
    one_go = _left_to_finishing(deck)
    taken = _taken_to(work, deck, one_go, xs, ys)
    standing = _standing(work, deck, one_go, xs, ys)
    # Rounded: half of the depth often ends in a 5 just after the last place that is written, and
    # the last bit of the spline would then decide how that is rounded.
    lowest = round(float(limit.min()), 9)
    # A depth of exactly n layers stays n, whatever rounding does.
    count = max(1, math.ceil((deck.top - lowest) / work.cutting.depth - 1e-6))
    moves: list[Move] = []
    above = deck.top
    for k in range(1, count + 1):
        level = deck.top - (deck.top - lowest) * k / count
        layer = _RoughingLayer(
            xs, ys, np.maximum(limit, level), np.maximum(limit, above), level, standing
        )
        if around is not None:
            moves += around.cut_contours(partial(_track, deck, offset, level), above)
        active = (limit < above - NOTHING) & (taken < above)
        stretches = standing.shortened(_stretches(active, free, xs), layer.z)
        chains = _chains(stretches, layer, around)
        for chain in _nearest_first(chains, layer, moves[-1] if moves else None):
            moves += _cut(work, deck, offset, layer, chain, around)
        above = level
    return Pass.of(joined(moves), f"rough the deck in {count} layer{'s' if count > 1 else ''}")


def _left_to_finishing(deck: Deck) -> Array:
    """Over each node of the deck the height, mm, down to which finishing takes all stock in one go:
    what is no higher is left to it. Over waste nothing is."""
    surface = deck.surface
    top = np.asarray(surface.grid, dtype=np.float64) + deck.one_go
    if deck.finished is not None:
        # Nothing finishes the waste: there roughing takes all that stands over what it leaves.
        waste = ~inside(edges_of(deck.finished), surface.xs, surface.ys)
        top[waste] += deck.rough - deck.one_go
    return top


def _taken_to(work: Work, deck: Deck, top: Array, xs: Array, ys: Array) -> Array:
    """(rows, samples) the lowest of `top`, over the nodes of the deck, under the cutter."""
    surface, cell = deck.surface, deck.surface.step
    # One node wider than the cutter: the node nearest to a sample, and that nearest to any place
    # under the cutter, are each less than 0.71 of a cell away.
    wide = work.cutter.radius + 1.5 * cell
    lowest = eroded(top, footprint(CutterProfile(wide, wide, 0.0), cell))
    # The deck may fall below its nodes between two of them.
    between = cell * surface.steepest
    under: Array = _nearest(deck, lowest, xs, ys).T
    return under - between


def _nearest(deck: Deck, values: Array, xs: Array, ys: Array) -> Array:
    """(n, m) of `values` over the nodes of the deck those nearest to `xs` (n,) by `ys` (m,)."""
    surface, cell = deck.surface, deck.surface.step
    i = np.clip(np.rint((xs - surface.xs[0]) / cell), 0, len(surface.xs) - 1).astype(np.int64)
    j = np.clip(np.rint((ys - surface.ys[0]) / cell), 0, len(surface.ys) - 1).astype(np.int64)
    found: Array = values[i[:, None], j[None, :]]
    return found


def _standing(work: Work, deck: Deck, top: Array, xs: Array, ys: Array) -> Standing:
    """The stock over all of the deck, of which what is no higher than `top` over its nodes may
    stay; nor may more stay than one layer takes."""
    _, low, _, high = deck.area.bounds
    cell = float(xs[1] - xs[0])
    places = np.linspace(low, high, math.ceil((high - low) / cell) + 1)
    grid = np.asarray(deck.surface.grid, dtype=np.float64)
    stays = np.minimum(top, grid + deck.rough + work.cutting.depth)
    # A node of the lattice stands for its square, and takes the height of a node of the deck that
    # is less than 0.71 of that one's cell away.
    between = math.sqrt(0.5) * (cell + deck.surface.step) * deck.surface.steepest
    may_stay = _nearest(deck, stays, xs, places) - between
    return Standing(xs, ys, places, may_stay, deck.top, work.cutter.profile)


def _stretches(
    active: NDArray[np.bool_], free: NDArray[np.bool_], xs: Array
) -> list[list[Stretch]]:
    """The stretches to cut on each line, in order of X: short gaps closed, one sample added at each
    end.

    Everything only where the cutter is `free` to go.
    """
    gap = round(_SHORT_GAP / float(xs[1] - xs[0]))
    found = []
    for row, flags in enumerate(active & free):
        runs: list[list[int]] = []
        for a, b in masks.runs(flags):
            # A sample more, since the stock begins somewhere between two samples.
            first = a - 1 if a > 0 and free[row, a - 1] else a
            last = b if b < len(xs) and free[row, b] else b - 1
            if runs and first - runs[-1][1] < gap and free[row, runs[-1][1] : first].all():
                runs[-1][1] = last
            else:
                runs.append([first, last])
        found.append([Stretch(row, a, b, a, b) for a, b in runs])
    return found


def _track(deck: Deck, offset: DropCutter, level: float, corners: Array) -> Array:
    """The tip's path (m, 3) along straight lines between `corners` (n, 2), as low as the layer
    allows."""
    places = np.array(segmentize(LineString(corners), _SAMPLE).coords)
    heights = np.maximum(offset.tip(places[:, 0], places[:, 1]) + deck.rough, level)
    track = np.column_stack([places, heights])
    # Thinned between corners only, as `thin` takes one straight line at a time.
    at = np.flatnonzero((places[:, None] == corners[None, :]).all(axis=2).any(axis=1))
    kept = [thin(track[a : b + 1], 0.01, THINNED)[:-1] for a, b in pairwise(at.tolist())]
    return np.concatenate([*kept, track[-1:]])


def _chains(
    rows: list[list[Stretch]], layer: _RoughingLayer, around: Around | None
) -> list[list[tuple[Stretch, bool]]]:
    """Stretches joined back and forth from line to line, each with its direction (True: towards
    +X)."""
    left_over = [list(row) for row in rows]
    chains = []
    for row in left_over:
        while row:
            stretch = row.pop(0)
            # Begin at an end of the blank where the stretch reaches one: there the cutter comes in
            # from outside.
            forward = stretch.first == 0 or stretch.last < len(layer.xs) - 1
            chain = [(stretch, forward)]
            while step := _next(left_over, chain[-1], layer, around):
                left_over[step[0].row].remove(step[0])
                chain.append(step)
            chains.append(chain)
    return chains


def _nearest_first(
    chains: list[list[tuple[Stretch, bool]]], layer: _RoughingLayer, here: Move | None
) -> Iterator[list[tuple[Stretch, bool]]]:
    """The chains in the order cut, each from its nearer end; `here` is where the cutter stands.

    An end inside the wood counts as farther away, by what a ramp takes.
    """
    xs, ys = layer.xs, layer.ys
    x, y = (float(xs[0]), float(ys[0])) if here is None else (here.x, here.y)
    both = [[chain, [(part, not ahead) for part, ahead in chain[::-1]]] for chain in chains]
    while both:
        ends = [
            (k, turned, float(xs[at]), float(ys[chain[0][0].row]), at in (0, len(xs) - 1))
            for k, ways in enumerate(both)
            for turned, chain in enumerate(ways)
            for at in [chain[0][0].first if chain[0][1] else chain[0][0].last]
        ]
        k, turned, *_ = min(
            ends,
            key=lambda end: (
                round(math.hypot(end[2] - x, end[3] - y) + (0.0 if end[4] else _RAMP_WAY), 6),
                end[:2],
            ),
        )
        chain = both.pop(k)[turned]
        last, ahead = chain[-1]
        x, y = float(xs[last.last if ahead else last.first]), float(ys[last.row])
        yield chain


def _next(
    left_over: list[list[Stretch]],
    last: tuple[Stretch, bool],
    layer: _RoughingLayer,
    around: Around | None,
) -> tuple[Stretch, bool] | None:
    """The stretch on the next line that can be entered nearest to where `last` ends, and its
    direction; None if none is near enough or the way is blocked."""
    stretch, forward = last
    xs = layer.xs
    if stretch.row + 1 >= len(left_over):
        return None
    end_of = stretch.last if forward else stretch.first
    choices = []
    for other in left_over[stretch.row + 1]:
        for begin, onward in ((other.first, True), (other.last, False)):
            choices.append(
                (round(abs(float(xs[begin] - xs[end_of])), 6), other.first, onward, other)
            )
    if not choices:
        return None
    away, _, onward, other = min(choices, key=lambda choice: choice[:3])
    if away > _LONGEST_LINK:
        return None
    here = np.array([xs[end_of], layer.ys[stretch.row]])
    there = np.array([xs[other.first if onward else other.last], layer.ys[other.row]])
    if around is not None and not around.straight(here, there):
        return None
    return other, onward


def _cut(
    work: Work,
    deck: Deck,
    offset: DropCutter,
    layer: _RoughingLayer,
    chain: list[tuple[Stretch, bool]],
    around: Around | None,
) -> list[Move]:
    """The moves of one chain, from the safe height to the safe height."""
    # The way in begins in air, or is a ramp from there: a line shortened into the wood is not.
    stretch, forward = chain[0]
    whole = replace(stretch, first=stretch.begin) if forward else replace(stretch, last=stretch.end)
    chain = [(whole, forward), *chain[1:]]
    path = [_entry(work, deck, layer, chain[0], around)]
    for k, (stretch, forward) in enumerate(chain):
        points = _points(layer, stretch, forward)
        if k:
            path.append(_link(deck, offset, layer, path[-1][-1], points[0]))
        # Up to 0.01 mm lower than the points: roughing leaves far more wood on.
        path.append(thin(points, 0.01, THINNED))
    track, slope = np.concatenate(path), slope_of(work.cutter.ramp_angle)
    x, y, z = (float(value) for value in track[0])
    moves = descend(work, x, y, z)
    for before, after in zip(track[:-1].tolist(), track[1:].tolist(), strict=True):
        run = math.hypot(after[0] - before[0], after[1] - before[1])
        # 1 % below the ramp angle: a ramp laid at exactly that slope must count as one in spite of
        # rounding.
        falls = before[2] - after[2] > run * slope * 0.99
        moves.append(
            line(after[0], after[1], after[2], work.cutting.ramp if falls else work.cutting.feed)
        )
    moves.append(rapid(moves[-1].x, moves[-1].y, work.clear))
    return moves


def _points(layer: _RoughingLayer, stretch: Stretch, forward: bool) -> Array:
    part = slice(stretch.first, stretch.last + 1)
    xs = layer.xs[part]
    points = np.column_stack(
        [xs, np.full(len(xs), layer.ys[stretch.row]), layer.z[stretch.row, part]]
    )
    return points if forward else points[::-1]


def _link(deck: Deck, offset: DropCutter, layer: _RoughingLayer, start: Array, end: Array) -> Array:
    """A straight link from stretch to stretch, as low as this layer allows."""
    count = max(2, math.ceil(math.hypot(end[0] - start[0], end[1] - start[1]) / _SAMPLE) + 1)
    places = np.linspace(start[:2], end[:2], count)
    heights = np.maximum(offset.tip(places[:, 0], places[:, 1]) + deck.rough, layer.level)
    return thin(np.column_stack([places, heights]), 0.01, THINNED)


def _entry(
    work: Work,
    deck: Deck,
    layer: _RoughingLayer,
    first: tuple[Stretch, bool],
    around: Around | None,
) -> Array:
    """The points (m, 3) of the entry to a chain, cheapest first: on a contour that this layer has
    cut, from outside the blank, straight down where nothing is cut there, or by a ramp as steep as
    the cutter takes."""
    stretch, forward = first
    slope = slope_of(work.cutter.ramp_angle)
    points = _points(layer, stretch, forward)
    edge = (
        around.edge_near(float(points[0, 0]), float(points[0, 1]), 1.5 * _SAMPLE)
        if around is not None
        else None
    )
    if edge is not None:
        return np.array([[*edge, points[0, 2]]])
    left, _, right, _ = deck.area.bounds
    out = stand_off(work)
    if stretch.first == 0 if forward else stretch.last == len(layer.xs) - 1:
        outside = np.array([[left - out if forward else right + out, points[0, 1], points[0, 2]]])
        if around is None or (not around.framed and around.straight(outside[0], points[0])):
            return outside
    before = np.maximum(layer.before[stretch.row], layer.standing.over(stretch.row))
    before = before[stretch.first : stretch.last + 1]
    before = before if forward else before[::-1]
    # The stretch begins in air (one sample was added) and falls no more steeply than a ramp: it is
    # its own ramp. As much as NOTHING may stand over its beginning, and THINNED besides: a cutter
    # without edges in its middle must not go straight down into that.
    touched = NOTHING if work.cutter.centre_cutting else 0.0
    if (
        points[0, 2] >= before[0] - touched
        and np.all(points[:2, 2] >= before[:2] - 1.5 * NOTHING)
        and np.all(np.diff(points[:, 2]) > -slope * _SAMPLE)
    ):
        return points[:1]
    run = np.abs(points[:, 0] - points[0, 0])
    # Along the stretch until the ramp meets its floor, then back to its start along that floor; the
    # stretch itself follows from there.
    ramp = np.maximum(points[:, 2], before[0] - run * slope)
    met = np.flatnonzero(ramp <= points[:, 2] + 1e-9)
    met = met[met > 0]
    down = points.copy()
    down[:, 2] = ramp
    if len(met) == 0:
        return _back_and_forth(points, float(before[0]), slope)
    return np.concatenate(
        [thin(down[: met[0] + 1], 0.0, THINNED), thin(points[met[0] :: -1], 0.01, THINNED)]
    )


def _back_and_forth(points: Array, top: float, slope: float) -> Array:
    """A ramp (m, 3) over a stretch too short for one run: an even number of runs, so it ends at its
    start.

    `top` is the stock's height there, `slope` the fall per mm.
    """
    length = max(float(abs(points[-1, 0] - points[0, 0])), 1.0)
    floor = float(points[:, 2].max())
    runs = max(2, math.ceil((top - floor) / (length * slope)))
    runs += runs % 2
    ends = [points[0] if k % 2 == 0 else points[-1] for k in range(runs + 1)]
    return np.array(
        [[end[0], end[1], top - (top - floor) * k / runs] for k, end in enumerate(ends)]
    )
