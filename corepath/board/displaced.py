"""Where the inserts lie that are bored: off their places by a shift found in set-up B, or as
measured. Board frame, mm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from shapely.affinity import translate

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.job.pose import pose_of
from corepath.job.record.settled import Settled

__all__ = ["displaced", "off_places"]

Off = tuple[float, float]


def off_places(job: Job, board: Board, settled: Settled) -> dict[str, Off]:
    """Return (dx, dy) of each insert that is bored and does not lie on its place, by its id.

    A place that was measured counts before a shift of the set-up, which moved all of them.
    """
    dx, dy, _ = settled.shift_of("inserts")
    along, across = pose_of(job, "B").factors
    all_of_them = (dx * along, dy * across)
    found: dict[str, Off] = {}
    for place in board.places:
        off = settled.off_place.get(place.id, all_of_them)
        if any(off):
            found[place.id] = off
    return found


def displaced(job: Job, board: Board, settled: Settled) -> Board:
    """Return the board with every insert where it is: all that asks for its place sees that."""
    offs: Mapping[str, Off] = off_places(job, board, settled)
    if not offs:
        return board
    places = []
    for place in board.places:
        dx, dy = offs.get(place.id, (0.0, 0.0))
        seat = replace(
            place.seat,
            x=place.seat.x + dx,
            y=place.seat.y + dy,
            area=translate(place.seat.area, dx, dy),
        )
        places.append(replace(place, x=place.x + dx, y=place.y + dy, seat=seat))
    return replace(board, places=tuple(places))
