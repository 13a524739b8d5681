"""Figures along the castings, against what a wedge must give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from shapely import Point, Polygon
from shapely.geometry import box

from corepath.stackup.stations import sample


@dataclass(frozen=True)
class Cast:
    id: str
    area: Polygon
    floor: float = 1.2


RING = Cast(
    "groove",
    Polygon(box(-300, -100, 300, 100).exterior.coords, [box(-290, -90, 290, 90).exterior.coords]),
)
PLUGS = (Cast("P1a", Point(-200, 0).buffer(8)), Cast("P1b", Point(200, 0).buffer(8)))


def slope(casting: Cast):
    return lambda x, y: 12.0 + 0.001 * np.asarray(x)


def test_least_and_most() -> None:
    """A wedge along X: the extremes lie at the outer walls, a plug's at its edge."""
    ring, left, _ = sample((RING, *PLUGS), slope)
    assert ring.least.least == pytest.approx(11.7)
    assert ring.most.most == pytest.approx(12.3)
    assert left.least.least == pytest.approx(12.0 - 0.208, abs=1e-3)
    assert left.most.most == pytest.approx(12.0 - 0.192, abs=1e-3)
    assert len(left.stations) == 1


def test_full_width_is_needed() -> None:
    """A station counts by the least across the groove: a dip at the inner wall alone must hold it
    back."""

    def dip(casting: Cast):
        return lambda x, y: np.where(np.abs(y) < 95, 11.0, 12.0)

    (ring,) = sample((RING,), dip)
    assert sum(station.least > 11.5 for station in ring.stations) <= 0.02 * len(ring.stations)
    assert max(station.most for station in ring.stations) == 12.0


def test_a_plug_is_looked_at_all_over_and_no_closer_than_needed() -> None:
    """A pit in its middle counts; a map asked at thousands of places a plug would make each check
    wait."""
    asked: list[int] = []

    def pit(casting: Cast):
        def over(x, y):
            asked.append(np.size(x))
            return np.where(np.hypot(x + 200, y) < 3.0, 11.0, 12.0)

        return over

    (plug,) = sample(PLUGS[:1], pit)
    assert (plug.least.least, plug.most.most) == (11.0, 12.0)
    assert sum(asked) < 200
