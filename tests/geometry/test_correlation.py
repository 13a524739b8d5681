"""Weighted sums of neighbours against scipy.ndimage, an independent library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import correlate1d

from corepath.geometry.correlation import correlated


@pytest.mark.parametrize("count", [1, 2, 5, 8, 31])
@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize(("beyond", "scipys"), [("edge", "nearest"), ("reflect", "mirror")])
def test_a_sum_of_neighbours_is_shifted_or_goes_on_otherwise_beyond_the_lattice(
    count: int, axis: int, beyond: str, scipys: str
) -> None:
    """A curvature a node aside, or a false one along the rim. With 31 weights the lattice is
    narrower than they reach."""
    draw = np.random.default_rng(count)
    values, weights = draw.normal(size=(23, 14)), draw.normal(size=count)
    weights[count // 3] = 0.0
    wanted = correlate1d(values, weights, axis=axis, mode=scipys)
    assert np.abs(correlated(values, weights, axis, beyond) - wanted).max() < 1e-13 * count
