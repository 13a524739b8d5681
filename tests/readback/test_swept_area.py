"""What a disc sweeps along the motions: nothing that it passed over is told as left, and what it
left is."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import Point, Polygon

from corepath.readback.surfaces.walls import swept_area
from corepath.stock.path import Pieces

# The inner turn of a pocket's path, more than once round, so that it crosses itself: shapely's
# buffer of it by 3 keeps a hole in the very middle (GEOS 3.14; it hangs on the last digits). None
# of its places lies farther than 2.9 from (-310, -21.1), so a disc of 3 that follows it passes over
# that place all the way round.
CROSSING = [
    (-308.1904262305793, -23.00142725827676),
    (-308.05240000000003, -22.869699999999995),
    (-307.9309, -22.7346),
    (-307.6742, -22.371399999999994),
    (-307.3689, -21.6062),
    (-307.3123, -20.742400000000004),
    (-308.1084, -19.073400000000007),
    (-311.4497, -18.7222),
    (-312.4849, -22.0561),
    (-311.0104, -23.5039),
    (-309.5323, -23.6592),
    (-308.7335, -23.384500000000003),
    (-308.376, -23.156999999999996),
    (-308.2277, -23.037000000000006),
    (-308.05240000000003, -22.869699999999995),
]


def pieces(places) -> Pieces:
    line = np.column_stack((np.asarray(places, dtype=np.float64), np.zeros(len(places))))
    return Pieces(line[:-1], line[1:], np.arange(len(line) - 1))


def turn(radius: float, count: int = 90):
    angles = np.linspace(0.0, 2.0 * math.pi, count + 1)
    return np.column_stack((radius * np.cos(angles), radius * np.sin(angles)))


def test_a_turn_that_crosses_itself_leaves_no_hole():
    assert max(math.dist(place, (-310.0, -21.1)) for place in CROSSING) < 2.9
    area = swept_area(pieces(CROSSING), 3.0)
    assert isinstance(area, Polygon) and not area.interiors
    assert area.covers(Point(-310.0, -21.1).buffer(0.1))


@pytest.mark.parametrize("turns", [1, 2])
def test_what_a_turn_leaves_in_its_middle_is_left(turns):
    """Round a middle at 3.5 a disc of 3 leaves 0.5 about it: pi/4 mm²; at 2.7 it leaves nothing."""
    left = Polygon(turn(6.0)).difference(swept_area(pieces(np.tile(turn(3.5), (turns, 1))), 3.0))
    assert left.area == pytest.approx(math.pi / 4.0, rel=0.02)
    assert Point(0.0, 0.0).within(left)
    assert swept_area(pieces(np.tile(turn(2.7), (turns, 1))), 3.0).covers(Polygon(turn(5.6)))
