"""What skim and deck paths share: the entry from beside the blank, limits, and the finished
program.

Everything is in the bed frame of the set-up, mm. *Outside* is a strip round the blank where the
cutter stands clear of the wood: its axis lies more than a radius beyond the blank's edge.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from corepath.errors import CorepathError
from corepath.lengths import mm
from corepath.motion.cycles import expand
from corepath.motion.program import Corner, Kind, Move, Pass, Program, line, rapid
from corepath.work.keepoff import CLEARANCE
from corepath.work.works import Work

__all__ = ["check_path", "descend", "joined", "program"]

_OVER_STOCK = 2.0
"""mm above the stock down to which a rapid may come."""


def descend(work: Work, x: float, y: float, z: float) -> list[Move]:
    """Rapid to the place at the safe height, rapid down to just above the stock, then feed down to
    `z`."""
    over = min(max(work.stock_top + _OVER_STOCK, z), work.clear)
    return [rapid(x, y, work.clear), rapid(x, y, over), line(x, y, z, work.cutting.plunge)]


def check_path(work: Work, moves: Sequence[Move]) -> None:
    """Refuses a path that meets an obstacle or goes below what the operation may cut.

    Raises `CorepathError` naming the obstacle and the place, or the height.
    """
    moves = expand(moves)
    lowest = min((move for move in moves), key=lambda move: move.z)
    # Paths over the deck are thinned and may dip by as much as a gouge is allowed; all others end
    # exactly at their floors.
    spare = work.deck.gouge if work.deck is not None else 1e-6
    if lowest.z < work.lowest - spare:
        raise CorepathError(
            f"{work.stem}: a path at z {mm(lowest.z):.3f} (x {mm(lowest.x):.1f}, y "
            f"{mm(lowest.y):.1f}) would go below "
            f"{mm(work.lowest):.3f}, the lowest this operation may cut"
        )
    for obstacle in work.obstacles:
        # The cutter from its tip up, and the collet, which is wider, from the stick-out up.
        bodies = (
            (work.cutter.describe(), work.cutter.radius, 0.0),
            ("the collet", work.collet / 2, work.cutter.stick_out),
        )
        for body, radius, over in bodies:
            near = _nearest(moves, obstacle.area, obstacle.height - over)
            if near is None or near[0] >= radius:
                continue
            left, low, right, high = obstacle.area.bounds
            raise CorepathError(
                f"{work.stem}: {body} would meet the {obstacle.name} at x {mm(left):.1f} to "
                f"{mm(right):.1f}, "
                f"y {mm(low):.1f} to {mm(high):.1f}, {mm(obstacle.height):g} high, "
                f"near x {mm(near[1]):.1f}, y {mm(near[2]):.1f}; "
                f"move it at least {mm(radius - near[0] + CLEARANCE):.1f~} away from there (set-up "
                f"{work.setup}), "
                f"or hold the blank another way"
            )


def _nearest(
    moves: Sequence[Move], area: shapely.Polygon, height: float
) -> tuple[float, float, float] | None:
    """Distance from `area` to the nearest move that comes below `height`, and the place (x, y);
    None if none does."""
    pairs = [_low_part(before, move, height) for before, move in itertools.pairwise(moves)]
    pairs = [pair for pair in pairs if pair is not None]
    if not pairs:
        return None
    lines = shapely.linestrings(pairs)
    away = shapely.distance(area, lines)
    k = int(np.argmin(np.round(away, 6)))
    place = shapely.get_point(shapely.shortest_line(lines[k], area), 0)
    return float(away[k]), float(place.x), float(place.y)


def _low_part(
    one: Move, two: Move, height: float
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Both ends (x, y) of the part of a straight move that lies below `height`; None where none
    does."""
    if min(one.z, two.z) >= height:
        return None
    # Each end that lies above is moved along to where the move passes the height.
    ends = []
    for near, far in ((one, two), (two, one)):
        share = (near.z - height) / (near.z - far.z) if near.z > height else 0.0
        ends.append((near.x + (far.x - near.x) * share, near.y + (far.y - near.y) * share))
    return ends[0], ends[1]


def program(
    work: Work,
    passes: Iterable[Pass],
    *,
    watch: tuple[str, ...] = (),
    corners: tuple[Corner, ...] = (),
) -> Program:
    """The program of `work` with these passes, each checked for obstacles and depth first.

    `watch` and `corners` are added to what its head says. Raises `CorepathError` as `check_path`
    does.
    """
    kept = tuple(passes)
    for stretch in kept:
        check_path(work, stretch.moves)
    return Program(
        stem=work.stem,
        order=work.order,
        setup=work.setup,
        name=work.name,
        cutter=work.cutter,
        cutting=work.cutting,
        zero=work.zero,
        clear=work.clear,
        park=work.park,
        passes=kept,
        watch=work.watch + watch,
        corners=corners,
        approach=work.approach,
        kept=work.kept,
    )


def joined(moves: Iterable[Move]) -> list[Move]:
    """The moves without those that go nowhere; arcs stay, since a full circle ends where it
    begins."""
    kept: list[Move] = []
    for move in moves:
        last = kept[-1] if kept else None
        if (
            last
            and (last.x, last.y, last.z) == (move.x, move.y, move.z)
            and move.kind in (Kind.RAPID, Kind.LINE)
        ):
            continue
        kept.append(move)
    return kept
