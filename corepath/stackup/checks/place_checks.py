"""The checks in X and Y: wood between features, the dowels, and registration."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from corepath.board.features import Board
from corepath.geometry.closest import closest, least_distance
from corepath.job.model import DowelSection
from corepath.job.pose import pose_of
from corepath.lengths import mm
from corepath.stackup.checks.judge import judge, weakest
from corepath.stackup.checks.registration import registration
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.stackup.stackup import Stackup

__all__ = ["place_checks", "standing", "standing_at"]


def place_checks(stack: Stackup, board: Board) -> tuple[Check, ...]:
    """Return the checks spacing, dowels and registration."""
    return _spacing(stack, board), _dowels(stack, board), registration(stack, board)


def _spacing(stack: Stackup, board: Board) -> Check:
    named: list[tuple[str, BaseGeometry]] = [("blank's edge", LineString(board.blank.exterior))]
    named += [(casting.id, casting.area) for casting in board.castings]
    named += [(f"seat {place.id}", place.seat.area) for place in board.places]
    named += [(f"dowel {k}", _hole(dowel)) for k, dowel in enumerate(board.dowels, start=1)]
    least, one, two = closest([shape for _, shape in named])
    (name_a, a), (name_b, b) = named[one], named[two]
    at = nearest_points(a, b)[0]
    limit = stack.job.limits.spacing
    return judge(
        "spacing",
        Linear.of(least),
        limit,
        message=f"{mm(least):.2f} of wood between {name_a} and {name_b}",
        where=f"{name_a} – {name_b} at X{mm(at.x):.1f} Y{mm(at.y):.1f}",
        fix=f"move them apart by {mm(limit - least):.2f}",
    )


def _hole(dowel: DowelSection) -> Polygon:
    return Point(dowel.at).buffer(dowel.diameter / 2, quad_segs=64)


def _dowels(stack: Stackup, board: Board) -> Check:
    checks = [_wrong_way(stack, board)]
    checks += [_sound_wood(stack, board, number, dowel) for number, dowel in _numbered(board)]
    return weakest([*checks, *standing(stack, board)])


def _wrong_way(stack: Stackup, board: Board) -> Check:
    """Check that the dowel pattern fits no other way round than flipped as the job says.

    The value is how far it misses at best, beyond half a dowel's diameter.
    """
    # The other three ways a rectangle can lie: two flips less the right one, and a half turn. A
    # turned pattern goes on if every hole meets a dowel, so its worst hole decides.
    places = [dowel.at for dowel in board.dowels]
    right = pose_of(stack.job, "B").factors
    wrong = [turn for turn in ((1, -1), (-1, 1), (-1, -1)) if turn != right]

    def miss(turn: tuple[float, float]) -> float:
        turned = [(turn[0] * x, turn[1] * y) for x, y in places]
        return max(min(math.dist(place, other) for other in turned) for place in places)

    least = min(miss(turn) for turn in wrong)
    room = least - max(dowel.diameter for dowel in board.dowels) / 2
    return judge(
        "dowels",
        Linear.of(room),
        stack.job.limits.dowels,
        message=f"the wrong way round the pattern misses by {mm(least):.2f}, {mm(room):.2f} more "
        "than half a dowel",
        where="pattern",
        fix="set the dowels at more unequal distances from the middle",
    )


def _sound_wood(stack: Stackup, board: Board, number: int, dowel: DowelSection) -> Check:
    hole = _hole(dowel)
    soft: list[BaseGeometry] = [
        LineString(board.blank.exterior),
        *(casting.area for casting in board.castings),
    ]
    soft += [place.seat.area for place in board.places]
    least = least_distance(hole, soft)
    return judge(
        "dowels",
        Linear.of(least),
        stack.job.limits.dowels,
        message=f"{mm(least):.2f} of sound wood beside dowel {number}",
        where=f"dowel {number}",
        fix="move it away from castings, seats and the blank's edge",
    )


def standing_at(stack: Stackup, board: Board, plane: float) -> tuple[Check, ...]:
    """Check the room between the top of each dowel, which stands on the bed, and a skim down to
    `plane` (mm above the bed in B)."""
    return tuple(
        _stands_below(stack, k, dowel, "B", stack.heights.plane(plane))
        for k, dowel in _numbered(board)
    )


def _numbered(board: Board) -> Iterator[tuple[int, DowelSection]]:
    return enumerate(board.dowels, start=1)


def standing(stack: Stackup, board: Board) -> tuple[Check, ...]:
    """Check the room between the top of each dowel and the lowest cut over it, in B and in C."""
    # In C only dowels under the deck pass count, which leaves a frame along the blank's edge.
    inner, stop = (
        board.blank.buffer(-stack.job.deck.margin, join_style="mitre"),
        stack.skim.planned_plane,
    )
    in_c = [
        _stands_below(
            stack, k, dowel, "C", stack.heights.deck(board.deck.lowest_over(_hole(dowel))[0], stop)
        )
        for k, dowel in _numbered(board)
        if _hole(dowel).intersects(inner)
    ]
    return (*standing_at(stack, board, stack.skim.judged_plane), *in_c)


def _stands_below(
    stack: Stackup, number: int, dowel: DowelSection, setup: str, cut: Linear
) -> Check:
    room = cut - dowel.stand
    return judge(
        "dowels",
        room,
        stack.job.limits.dowels,
        message=f"dowel {number} stands {mm(dowel.stand):.2f}, the lowest cut over it in {setup} "
        f"is {mm(cut.nominal):.2f}",
        where=f"dowel {number} in {setup}",
        fix=f"let it stand {mm(stack.job.limits.dowels - room.worst()[0]):.2f} lower",
    )
