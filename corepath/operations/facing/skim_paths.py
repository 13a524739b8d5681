"""Skim: the whole bottom of the blank is planed to one plane after another, from the highest down.

Bed frame of set-up B, mm. Each plane is cut by lines along the grain (X), back and forth, beginning
and ending outside the blank; links run along the blank's end. Neighbouring lines overlap and the
outer lines overhang the blank's edges, so the swept area covers the whole blank with its corners.
There is one program for each plane and one for all of them, which stops where the casting may show.
Paths lead round obstacles.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corepath.errors import CorepathError
from corepath.geometry.step_counts import fewest_steps
from corepath.motion.program import Move, Pass, Program, line, rapid
from corepath.operations.facing.around import Around
from corepath.operations.facing.facing_paths import descend, joined, program
from corepath.work.keepoff import stand_off
from corepath.work.works import Facing, Work

__all__ = ["line_places", "skim_programs"]

Array = NDArray[np.float64]

_OVERHANG = 0.5
"""mm that the outer lines sweep beyond the blank's edges, for a blank that is slightly larger than
given."""


def skim_programs(work: Work) -> tuple[Program, ...]:
    """One program for each plane (`-pass-1` …) and the combined one (`-all`), which stops between
    planes.

    Any other work that planes the whole blank (the flush) is one program of all its planes.
    Raises CorepathError where the work has no plane.
    """
    facing = work.facing
    if facing is None or not facing.planes:
        raise CorepathError(f"{work.stem}: nothing to skim")
    if work.name != "skim":
        return (program(work, [_cut(work, facing, 0, len(facing.planes) - 1)]),)
    single = tuple(_pass_file(work, facing, k) for k in range(len(facing.planes)))
    # The combined file runs without a stop through the planes at which nothing can show yet, then
    # stops after each.
    first = min(max(facing.first_stop, 0), len(facing.planes) - 1)
    stretches = [(0, first)] + [(k, k) for k in range(first + 1, len(facing.planes))]
    combined = program(work, [_cut(work, facing, a, b) for a, b in stretches])
    return (*single, replace(combined, stem=f"{work.stem}-all", combined=True))


def _pass_file(work: Work, facing: Facing, k: int) -> Program:
    """The file of pass `k` alone, from 0."""
    made = replace(program(work, [_cut(work, facing, k, k)]), stem=f"{work.stem}-pass-{k + 1}")
    # The passes after the first go on under its zero: no slow first descent.
    if k:
        kept = work.kept if work.zero.again else f"{work.stem}-pass-1"
        made = replace(made, approach=None, kept=kept)
    return made


def line_places(low: float, high: float, radius: float, stepover: float) -> list[float]:
    """Places across (mm) of the fewest evenly spaced lines of a cutter of `radius` mm that sweep
    from `low` to `high`.

    Neighbours lie at most `stepover` apart.
    """
    # A very small cutter overhangs by a quarter of its radius, not by more than it is wide.
    reach = radius - min(_OVERHANG, radius / 4.0)
    span = high - low - 2.0 * reach
    if span <= 0.0:
        return [(low + high) / 2.0]
    gaps = fewest_steps(span, stepover)
    return [low + reach + span * k / gaps for k in range(gaps + 1)]


def _cut(work: Work, facing: Facing, first: int, last: int) -> Pass:
    """Planes `first` to `last` (indices) without a stop."""
    # Zones only grow as the plane falls: where the lowest plane is free, all are.
    if Around.of(work, facing.planes[last]) is not None:
        return _cut_around(work, facing, first, last)
    track = _track(work, facing)
    moves: list[Move] = []
    for z, _ in _layers(work, facing, first, last):
        x, y = track[0]
        moves += [line(x, y, z, work.cutting.plunge)] if moves else descend(work, x, y, z)
        moves += [line(x, y, z, work.cutting.feed) for x, y in track[1:]]
        # Every other layer runs the same lines backwards, so that the cutter need not lift.
        track.reverse()
    x, y = track[0]
    moves.append(rapid(x, y, work.clear))
    return Pass(tuple(joined(moves)), planes=facing.planes[first : last + 1])


def _layers(work: Work, facing: Facing, first: int, last: int) -> Iterator[tuple[float, float]]:
    """The height of each layer down to the planes `first` to `last`, and where its wood ends."""
    above = facing.top if first == 0 else facing.planes[first - 1]
    for plane in facing.planes[first : last + 1]:
        # A depth of just n layers stays n, whatever the rounding of the planes.
        count = max(1, math.ceil((above - plane) / work.cutting.depth - 1e-6))
        for k in range(1, count + 1):
            z = plane if k == count else above - (above - plane) * k / count
            yield z, above - (above - plane) * (k - 1) / count
        above = plane


def _cut_around(work: Work, facing: Facing, first: int, last: int) -> Pass:
    """The same beside obstacles: of each layer the edges of their zones first, then the lines
    between them."""
    track = np.array(_track(work, facing))
    moves: list[Move] = []
    for z, above in _layers(work, facing, first, last):
        moves += _layer_around(work, track, z, above)
    return Pass(tuple(joined(moves)), planes=facing.planes[first : last + 1])


def _layer_around(work: Work, track: Array, z: float, above: float) -> list[Move]:
    """One layer, from safe height to safe height; `above` is the height that the layer before
    left."""

    def level(corners: Array) -> Array:
        return np.column_stack([corners, np.full(len(corners), z)])

    around = Around.of(work, z)
    pieces = [track] if around is None else around.clipped(track)
    moves = around.cut_contours(level, above) if around is not None else []
    start = len(moves)
    for piece in pieces:
        path = level(piece)
        if around is None or len(moves) == start:
            moves += descend(work, *path[0].tolist())
        else:
            last = moves[-1]
            moves += around.passage(np.array([last.x, last.y, last.z]), path[0], level)
        moves += [line(x, y, height, work.cutting.feed) for x, y, height in path[1:].tolist()]
    return [*moves, rapid(moves[-1].x, moves[-1].y, work.clear)]


def _track(work: Work, facing: Facing) -> list[tuple[float, float]]:
    """Places of the axis on one plane, from outside the blank to outside the blank."""
    left, low, right, high = facing.area.bounds
    out = stand_off(work)
    track: list[tuple[float, float]] = []
    # Only the first and the last line run out of the blank; all others end at its edge, where the
    # links run.
    places = line_places(low, high, work.cutter.radius, work.cutting.stepover)
    for k, y in enumerate(places):
        ends = (left, right) if k % 2 == 0 else (right, left)
        track += [(ends[0], y), (ends[1], y)]
    track[0] = (left - out, places[0])
    track[-1] = (right + out if track[-1][0] == right else left - out, places[-1])
    return track
