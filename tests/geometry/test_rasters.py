"""Nodes inside a polygon, against shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon

from corepath.geometry.rasters import edges_of, inside, spans

XS, YS = np.arange(-30.3, 31.0, 0.5), np.arange(-20.2, 21.0, 0.5)


@pytest.mark.parametrize(
    "polygon",
    [
        Polygon([(-20, -10), (18, -12), (25, 9), (0, 2), (-22, 11)]),
        Point(1.3, -2.1).buffer(15.0, quad_segs=40).difference(Point(3.0, 0.0).buffer(6.1)),
        Polygon([(-90, -70), (80, -66), (75, 60), (-60, 88)]),
        Polygon([(40, 0), (60, 0), (60, 10)]),
    ],
    ids=["bay", "hole", "larger than the lattice", "off the lattice"],
)
def test_nodes_inside_are_those_that_shapely_finds(polygon: Polygon) -> None:
    """No node lies on an edge here."""
    found = inside(edges_of(polygon), XS, YS)
    wanted = shapely.contains_xy(polygon, *np.meshgrid(XS, YS, indexing="ij"))
    assert np.array_equal(found, wanted)


def test_ranges_are_told_one_after_the_other() -> None:
    numbers, owner = spans(np.array([3, 7, 2]), np.array([5, 7, 4]))
    assert numbers.tolist() == [3, 4, 2, 3] and owner.tolist() == [0, 0, 2, 2]
