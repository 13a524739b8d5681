"""Lines that are cut into the bed, and the edge of a blank. Frame of the work, mm.

A line in the bed is cut by going along it and back: on the way there it goes down, so that no
cutter plunges, on the way back it is level. An edge is cut in layers from beside the blank to
beside the blank, each in the same direction, so that all of them climb.
"""

from __future__ import annotations

from shapely import MultiLineString

from corepath.geometry.step_counts import fewest_steps
from corepath.motion.program import Move, Pass, Program, line, rapid
from corepath.operations.facing.facing_paths import descend, joined, program
from corepath.work.works import Work

__all__ = ["line_program"]

_OVER = 0.3
"""mm above the bed where a line begins to go down."""


def line_program(work: Work, lines: MultiLineString) -> Program:
    """The program that leads the axis along each of `lines` down to `work.lowest`. Raises
    `CorepathError` as `facing_paths.program` does."""
    moves: list[Move] = []
    for one in lines.geoms:
        ends = [(float(x), float(y)) for x, y in one.coords]
        moves += _through(work, ends) if work.stock_top > 0.0 else _mark(work, ends)
    return program(work, [Pass(tuple(joined(moves)))])


def _mark(work: Work, ends: list[tuple[float, float]]) -> list[Move]:
    """There and back along a line in the bed."""
    (x, y), (u, v), z = ends[0], ends[-1], work.lowest
    ramp, feed = work.cutting.ramp, work.cutting.feed
    return [
        rapid(x, y, work.clear),
        line(x, y, _OVER, work.cutting.plunge),
        line(u, v, z, ramp),
        line(x, y, z, feed),
        rapid(x, y, work.clear),
    ]


def _through(work: Work, ends: list[tuple[float, float]]) -> list[Move]:
    """Layer by layer along an edge, from beside the blank to beside it."""
    (x, y), (u, v) = ends[0], ends[-1]
    depth = work.stock_top - work.lowest
    count = fewest_steps(depth, work.cutting.depth)
    moves: list[Move] = []
    for k in range(1, count + 1):
        z = work.stock_top - depth * k / count
        moves += descend(work, x, y, z)
        moves += [line(u, v, z, work.cutting.feed), rapid(u, v, work.clear)]
    return moves
