"""The places of a footprint at which depths are judged."""

from __future__ import annotations

import numpy as np
import shapely

from corepath.stackup.footprint_places import footprint_places


def test_places_along_the_walls_are_evenly_spaced() -> None:
    """Against shapely's own interpolation along a ring, corners and a hole included."""
    area = shapely.box(0, 0, 50, 23).difference(shapely.Point(20, 10).buffer(7))
    places = footprint_places(area)
    start = 0
    for ring in (area.exterior, *area.interiors):
        count = int(np.ceil(ring.length / 4.0))
        steps = np.arange(count) / count
        wanted = shapely.get_coordinates(
            shapely.line_interpolate_point(ring, steps, normalized=True)
        )
        np.testing.assert_allclose(places[start : start + count], wanted, atol=1e-9)
        start += count
    assert area.buffer(1e-9).covers(shapely.multipoints(places[start:]))
