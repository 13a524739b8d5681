"""Figures along the castings and what shows after each pass, against what a wedge must give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from shapely import Point, Polygon
from shapely.geometry import box

from corepath.stackup.showing import sample, showing


@dataclass(frozen=True)
class Cast:
    id: str
    area: Polygon
    floor: float = 1.2


RING = Cast("groove", Polygon(box(-300, -100, 300, 100).exterior.coords, [box(-290, -90, 290, 90).exterior.coords]))
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
    """A station counts by the least across the groove: a dip at the inner wall alone must hold it back."""

    def dip(casting: Cast):
        return lambda x, y: np.where(np.abs(y) < 95, 11.0, 12.0)

    (ring,) = sample((RING,), dip)
    assert ring.share_from(11.5) == pytest.approx(0.0, abs=0.02)


def test_what_shows_after_each_pass() -> None:
    """Right end first: half of the ring when the plane is at the middle's height, then the plugs in their turn."""
    rows = showing(sample((RING, *PLUGS), slope), (12.5, 12.195, 12.0, 11.79, 11.7, 11.0))
    assert [row.number for row in rows] == [1, 2, 3, 4, 5, 6]
    shares = [row.ring for row in rows]
    assert shares == sorted(shares) and shares[0] == 0.0 and shares[-1] == 1.0
    assert shares[2] == pytest.approx(0.5, abs=0.02)
    assert [row.plugs for row in rows] == [(), (), ("P1b",), ("P1a", "P1b"), ("P1a", "P1b"), ("P1a", "P1b")]
    assert [row.all_shows for row in rows] == [False, False, False, False, True, True]
    assert rows[2].as_dict() == {
        "pass": 3, "plane": 12.0, "ring": round(rows[2].ring, 4), "plugs": ["P1b"], "hidden": ["P1a"],
    }  # fmt: skip


def test_at_the_plane_counts_as_shown() -> None:
    (ring,) = sample((RING,), lambda casting: lambda x, y: np.full(len(x), 12.0))
    assert showing((ring,), (12.0 + 1e-9, 12.01))[0].all_shows
    assert not showing((ring,), (12.01,))[0].all_shows
