"""What may be lost in X and Y: the casting at the edge, the wall round a bolt, the wood round a
seat. Lengths in mm.

How far a later cut is off comes from `registered`; a seat is lost where it runs into a casting, so
that its flange no longer lies in wood all round.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import shapely

from corepath.board.features import Board, Casting, Place
from corepath.stackup.checks.registration import registered
from corepath.stackup.linear import Linear
from corepath.stackup.stackup import Stackup

__all__ = ["left_in_place"]


def left_in_place(stack: Stackup, board: Board) -> Iterator[tuple[str, Linear]]:
    """Yields the id of each feature and what is left of it, which must not be negative; of the
    seats only those that may come as far as a casting."""
    things = registered(stack, board)
    for thing in things:
        if thing.kind != "seat":
            yield thing.id, thing.left
    off = {thing.id: thing.left for thing in things if thing.kind == "seat"}
    reach = max((-left.worst()[0] for left in off.values()), default=0.0)
    for name, beside in _beside(board.places, board.castings, reach).items():
        yield f"seat {name}", beside + off[name]


def _beside(places: Sequence[Place], castings: Sequence[Casting], reach: float) -> dict[str, float]:
    """Returns by the id of an insert the wood between its seat and the nearest casting, where that
    is less than `reach`."""
    if not places:
        return {}  # a query with an empty list is none of shapes
    tree = shapely.STRtree([casting.area for casting in castings])
    seats = [place.seat.area for place in places]
    found: dict[str, float] = {}
    for k, casting in tree.query(seats, predicate="dwithin", distance=reach).T.tolist():
        name, wood = places[k].id, seats[k].distance(castings[casting].area)
        found[name] = min(wood, found.get(name, wood))
    return found
