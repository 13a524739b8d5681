"""The shortest way through a few places against all orders, also where costs are no distances."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.motion.tour import FEW, least_way


@settings(derandomize=True, max_examples=40, deadline=None)
@given(st.integers(1, 6), st.integers(0, 10_000))
def test_no_order_costs_less(count: int, seed: int) -> None:
    """The bound leans on it: a way that is not the least would be no bound."""
    rng = np.random.default_rng(seed)
    out, apart, back = (
        rng.uniform(0, 9, count),
        rng.uniform(0, 9, (count, count)),
        rng.uniform(0, 9, count),
    )
    cost, order = least_way(out, apart, back)

    def whole(ways: tuple[int, ...]) -> float:
        return float(
            out[ways[0]] + sum(apart[a, b] for a, b in itertools.pairwise(ways)) + back[ways[-1]]
        )

    assert sorted(order) == list(range(count))
    assert whole(tuple(order)) == pytest.approx(cost)
    assert cost <= min(map(whole, itertools.permutations(range(count)))) + 1e-5


def test_too_many_and_none_are_refused() -> None:
    """Time doubles with each place: a hundred would never end."""
    for count in (0, FEW + 1):
        with pytest.raises(ValueError, match="places"):
            least_way(np.zeros(count), np.zeros((count, count)), np.zeros(count))
