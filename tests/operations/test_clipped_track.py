"""Tracks clipped to the room beside obstacles: a piece too much is a clamp that is hit."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Point

from corepath.operations.facing.around import Around

ROOM = (
    shapely.box(0.0, 0.0, 100.0, 60.0)
    .difference(shapely.box(40.0, 20.0, 60.0, 40.0))
    .difference(Point(80.0, 60.0).buffer(9.0))
)


def clipped(track: np.ndarray) -> list[np.ndarray]:
    around = object.__new__(Around)
    around.room = ROOM
    return around.clipped(track)


def test_pieces_are_what_shapely_leaves_of_the_whole_track() -> None:
    """Against the intersection of the track as one line (shapely), along a track that crosses the
    room, its holes and itself."""
    for seed in range(20):
        track = np.random.default_rng(seed).uniform((-20.0, -20.0), (120.0, 80.0), (60, 2))
        pieces = clipped(track)
        kept = shapely.intersection(LineString(track), ROOM)
        assert np.isclose(sum(LineString(one).length for one in pieces), kept.length, atol=1e-9)
        assert all(ROOM.buffer(1e-9).covers(LineString(piece)) for piece in pieces)


def test_a_track_inside_the_room_stays_as_it_is() -> None:
    track = np.array([[1.0, 1.0], [30.0, 7.0], [30.0, 7.0], [3.0, 50.0], [99.0, 41.0]])
    (piece,) = clipped(track)
    assert piece.tolist() == track[[0, 1, 3, 4]].tolist()


def test_pieces_begin_and_end_at_the_obstacle_in_the_order_of_travel() -> None:
    """By hand: along y = 30 the hole from 40 to 60 is left out, there and back."""
    there = clipped(np.array([[10.0, 30.0], [90.0, 30.0]]))
    assert [piece.tolist() for piece in there] == [
        [[10.0, 30.0], [40.0, 30.0]],
        [[60.0, 30.0], [90.0, 30.0]],
    ]
    back = clipped(np.array([[90.0, 30.0], [10.0, 30.0]]))
    assert [piece.tolist() for piece in back] == [
        [[90.0, 30.0], [60.0, 30.0]],
        [[40.0, 30.0], [10.0, 30.0]],
    ]


def test_a_line_along_the_edge_of_the_room_stays() -> None:
    (piece,) = clipped(np.array([[5.0, 0.0], [95.0, 0.0]]))
    assert piece.tolist() == [[5.0, 0.0], [95.0, 0.0]]
