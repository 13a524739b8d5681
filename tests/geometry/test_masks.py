"""Masks grown and parted, against scipy.ndimage."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt, find_objects, label

from corepath.geometry.masks import areas, grown


@pytest.mark.parametrize("share", [0.001, 0.02, 0.3])
def test_masks_are_grown_and_parted_as_scipy_says(share: float) -> None:
    for seed in range(5):
        mask = np.random.default_rng(seed).random((60, 47)) < share
        mask[seed, 40] = True
        for radius in (0.0, 1.0, 2.5, 7.0, 23.0, 80.0):
            assert np.array_equal(grown(mask, radius), distance_transform_edt(~mask) <= radius)
        theirs, _ = label(mask, structure=np.ones((3, 3)))
        numbers, boxes = areas(mask)
        assert np.array_equal(numbers, theirs) and boxes == find_objects(theirs)


def test_an_empty_mask_has_no_area() -> None:
    numbers, boxes = areas(np.zeros((3, 4), dtype=np.bool_))
    assert boxes == [] and not numbers.any()
