"""Morphology by our own loops: what a hand-drawn lattice must give, and scipy's own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import grey_closing, grey_dilation, grey_erosion, maximum_filter

from corepath.geometry.morphology import closed, dilated, eroded, eroded_along, widened
from corepath.motion.cutter_profile import CutterProfile, footprint, heights

SHAPES = {
    "flat": CutterProfile(8.0, 8.0, 0.0),
    "bull": CutterProfile(6.0, 3.0, 3.0),
    "ball": CutterProfile(5.0, 0.0, 5.0),
    "taper": CutterProfile(4.0, 0.0, 1.0, 0.9, 6.0),
    "thin": CutterProfile(0.4, 0.4, 0.0),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_ends_of_all_shapes_rest_on_a_lattice_as_scipy_says(shape: str) -> None:
    """To the last bit, so that a cutter is chosen as before."""
    grid = np.random.default_rng(5).random((60, 37))
    over = footprint(SHAPES[shape], 1.0)
    under = np.isfinite(over)
    end = {"footprint": under, "structure": np.where(under, -over, 0.0), "mode": "nearest"}
    assert np.array_equal(dilated(grid, over), grey_dilation(grid, **end))
    assert np.array_equal(eroded(grid, over), grey_erosion(grid, **end))
    assert np.array_equal(closed(grid, over), grey_closing(grid, **end))


def test_a_flat_end_rests_on_the_one_peak_under_it() -> None:
    """A disc of radius 2 about a peak of 5: 13 nodes."""
    grid = np.zeros((9, 9))
    grid[4, 4] = 5.0
    tips = dilated(grid, footprint(CutterProfile(2.0, 2.0, 0.0), 1.0))
    assert np.count_nonzero(tips == 5.0) == 13 and np.count_nonzero(tips) == 13


def test_along_a_line_the_end_leaves_what_scipy_says() -> None:
    """At the middle, beside the axis, and where nothing of the end is."""
    line = np.random.default_rng(6).random(50)
    for aside in (0.0, 2.5, 9.0):
        over = heights(np.hypot(np.arange(-6.0, 7.0), aside), SHAPES["bull"])
        under = np.isfinite(over)
        if not under.any():
            assert np.all(np.isinf(eroded_along(line, over[None])))
            continue
        theirs = grey_erosion(
            line, footprint=under, structure=np.where(under, -over, 0.0), mode="nearest"
        )
        assert np.array_equal(eroded_along(line, np.stack((over, over + 1.0)))[:, 0], theirs)


def test_the_most_of_a_square_is_that_of_scipy() -> None:
    grid = np.random.default_rng(7).random((20, 31))
    assert np.array_equal(widened(grid, 3), maximum_filter(grid, 7, mode="nearest"))
