"""Places in boxes: none is missed, none that lies outside is given."""

from __future__ import annotations

import numpy as np

from corepath.geometry.boxed_places import BoxedPlaces


def test_the_places_in_a_box_are_those_that_a_look_at_all_of_them_finds():
    """Places on a lattice lie on the edges of some boxes: these count, with any rounding."""
    rng = np.random.default_rng(3)
    lattice = np.array([(x / 10.0, y / 10.0, 0.0) for x in range(-20, 21) for y in range(-9, 10)])
    places = rng.permutation(np.vstack((lattice, rng.uniform(-2.0, 2.0, (300, 3)))))
    boxed = BoxedPlaces(places)
    for _ in range(60):
        points = np.round(rng.uniform(-2.5, 2.5, (rng.integers(1, 5), 2)), 1)
        by = float(rng.choice([0.0, 0.2]))
        over = np.abs(places[:, :2] - np.clip(places[:, :2], *np.sort(points, axis=0)[[0, -1]]))
        assert (
            sorted(boxed.about(points, by))
            == np.flatnonzero((over <= by + 1e-6).all(axis=1)).tolist()
        )
    assert len(boxed.about(np.array([[9.0, 9.0]]), 0.2)) == 0
