"""The order of places: each once, short, the same every time."""

from __future__ import annotations

import itertools
import math

from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.operations.order import short_order

Places = list[tuple[float, float]]


def way(places: Places, order: list[int]) -> float:
    return sum(math.dist(places[a], places[b]) for a, b in itertools.pairwise(order))


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(-600, 600), st.integers(-200, 200)), max_size=7))
def test_each_place_once_and_not_much_longer_than_the_best(places: Places) -> None:
    """A hole left out or bored twice; a way that goes to and fro. Best by trying all orders."""
    order = short_order(places)
    assert sorted(order) == list(range(len(places)))
    best = min((way(places, list(other)) for other in itertools.permutations(order)), default=0.0)
    assert way(places, order) <= 1.35 * best + 1e-6


def test_row_is_visited_from_its_left_end() -> None:
    """Ties broken by chance: other bytes for the same job."""
    assert short_order([(30.0, 0.0), (0.0, 0.0), (20.0, 0.0), (10.0, 0.0)]) == [1, 3, 2, 0]
    assert short_order([]) == []
