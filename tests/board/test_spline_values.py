"""The deck's spline in numpy, against the compiled one and scipy's; distances against samples of
the edge line."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.ndimage import spline_filter
from shapely import Polygon

from corepath.board.deck.distance import OutlineDistance
from corepath.board.deck.spline_kernels import shape_at
from corepath.board.deck.spline_values import coefficients_of, heights, on_lattice, shapes


def test_the_spline_of_verdicts_and_that_of_paths_are_one():
    """numpy's arithmetic and the compiled loops': a cutter would else be judged on another deck
    than it cuts. Coefficients are held against scipy's filter."""
    random = np.random.default_rng(2)
    grid = random.normal(size=(40, 31))
    coefficients = coefficients_of(grid)
    theirs = np.pad(spline_filter(grid, order=3, mode="mirror"), 2, mode="reflect")
    assert np.abs(coefficients - theirs).max() < 1e-13
    frame = np.array([-20.0, -15.0, 1.0, 4.2])
    x, y = random.uniform(-22.0, 21.0, 500), random.uniform(-17.0, 17.0, 500)
    x[:3], y[:3] = (-20.0, 19.0, np.nan), (-15.0, 15.0, 0.0)
    compiled = np.array([shape_at(coefficients, frame, a, b) for a, b in zip(x, y, strict=True)])
    assert np.array_equal(shapes(coefficients, frame, x, y), compiled.T)
    assert np.array_equal(heights(coefficients, frame, x, y), compiled[:, 0])
    level = (compiled[:, 0] == 4.2) & (compiled[:, 1] == 0.0)
    assert 20 < np.count_nonzero(level) < 120 and level[2]


@pytest.mark.parametrize("orders", [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)])
def test_on_a_lattice_the_spline_is_the_same_to_the_last_bit(orders):
    """Row by row and place by place are two loops over one formula."""
    random = np.random.default_rng(3)
    coefficients = coefficients_of(random.normal(size=(30, 21)))
    frame = np.array([-15.0, -10.0, 1.0, 4.2])
    xs, ys = np.linspace(-16.5, 15.0, 43), np.linspace(-10.0, 10.7, 29)
    found = on_lattice(coefficients, frame, xs, ys, *orders)
    x, y = (places.ravel() for places in np.meshgrid(xs, ys, indexing="ij"))
    which = [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)].index(orders)
    assert np.array_equal(found.ravel(), shapes(coefficients, frame, x, y)[which])


def test_distances_in_narrow_bays_and_between_teeth():
    """Where the nearest edges of neighbours lie far apart along the ring: shapely's distance."""
    teeth = [(x, 20.0 if k % 2 else 6.0) for k, x in enumerate(np.arange(60.0, -61.0, -3.0))]
    outline = Polygon([(-61, -30), (-1, -30), (0, 2), (1, -30), (61, -30), *teeth])
    xs, ys = np.arange(-70.0, 71.0), np.arange(-40.0, 41.0)
    places = shapely.points(*np.meshgrid(xs, ys, indexing="ij"))
    exact = np.where(
        shapely.contains(outline, places), shapely.distance(places, outline.exterior), 0.0
    )
    assert np.abs(OutlineDistance(outline).on_grid(xs, ys, 60.0) - exact).max() < 1e-9
