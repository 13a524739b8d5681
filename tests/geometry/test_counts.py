"""A depth of whole layers takes one layer more, or a layer gets too deep."""

from __future__ import annotations

import pytest

from corepath.geometry.step_counts import fewest_steps


@pytest.mark.parametrize(
    ("length", "most", "count"),
    [
        (0.3, 0.1, 3),
        (0.7, 0.1, 7),
        (1.1 - 0.2, 0.3, 3),
        (0.31, 0.1, 4),
        (2.0, 5.0, 1),
        (0.0, 1.0, 0),
    ],
)
def test_rounding_adds_a_step(length: float, most: float, count: int) -> None:
    """By hand; in double precision 0.7 / 0.1 is 6.999… and 0.3 / 0.1 is 2.999…, (1.1 − 0.2) / 0.3
    is 3.000…4."""
    assert fewest_steps(length, most) == count
