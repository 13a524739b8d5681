"""The order of places: each once, short, the same every time."""

from __future__ import annotations

import functools
import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.operations import order as module
from corepath.operations.order import EXACT, short_order
from corepath.work.least_time.minutes import spanning_tree

Places = list[tuple[float, float]]
whole = st.tuples(st.integers(-600, 600), st.integers(-200, 200))


def way(places: Places, order: list[int], start: tuple[float, float] | None = None) -> float:
    stops = [places[k] for k in order]
    return sum(math.dist(a, b) for a, b in itertools.pairwise(([start] if start else []) + stops))


def least(places: Places, start: tuple[float, float]) -> float:
    """Shortest open way from `start`, by going back through sets of what is left (Held and
    Karp)."""

    @functools.cache
    def rest(here: tuple[float, float], left: frozenset[int]) -> float:
        return min(
            (math.dist(here, places[k]) + rest(places[k], left - {k}) for k in left), default=0.0
        )

    return rest(start, frozenset(range(len(places))))


def tree(places: Places) -> float:
    there = np.array(places)
    return sum(spanning_tree(np.hypot(*(there[:, None] - there[None, :]).transpose(2, 0, 1))))


@settings(derandomize=True, max_examples=25, deadline=None)
@given(st.lists(whole, min_size=1, max_size=EXACT), whole)
def test_few_places_are_visited_in_the_shortest_way(
    places: Places, start: tuple[float, float]
) -> None:
    """A hole left out or bored twice; a way that goes to and fro."""
    order = short_order(places, start)
    assert sorted(order) == list(range(len(places)))
    assert way(places, order, start) <= least(places, start) + 1e-3


@settings(derandomize=True, max_examples=25, deadline=None)
@given(st.lists(whole, min_size=3, max_size=EXACT), whole)
def test_what_serves_many_places_is_near_the_shortest_for_few(
    places: Places, start: tuple[float, float]
) -> None:
    """2-opt and Or-opt by themselves against the exact way: some are a little longer, none by
    much."""
    order = module._shortened(module._distances(places, start))
    assert sorted(order) == list(range(len(places)))
    assert way(places, order, start) <= 1.25 * least(places, start) + 1e-3


@pytest.mark.parametrize("count", [10, 40, 150, 500])
def test_many_places_stay_near_their_spanning_tree(count: int) -> None:
    """No way is shorter than the least tree; on random places the best are about 1.25 times it
    (from memory)."""
    places = [
        (float(x), float(y)) for x, y in np.random.default_rng(count).uniform(-600, 600, (count, 2))
    ]
    order = short_order(places, (-600.0, 600.0))
    assert sorted(order) == list(range(count))
    assert tree(places) <= way(places, order) <= 1.35 * tree(places) + 600.0 / math.sqrt(count)


def test_grid_is_visited_nearly_without_a_detour() -> None:
    """Rows of an even grid: the shortest way is one step a place; ties must not lead astray."""
    places = [(20.0 * i, 20.0 * j) for j in range(6) for i in range(8)]
    assert way(places, short_order(places, (0.0, 0.0)), (0.0, 0.0)) <= 1.1 * 47 * 20.0


def test_order_does_not_hang_on_the_last_digit() -> None:
    """Another machine rounds otherwise: the order, and so the bytes, must be the same."""
    rng = np.random.default_rng(3)
    places = [(float(x), float(y)) for x, y in rng.integers(-60, 60, (40, 2))]
    shaken = [
        (x + dx, y + dy)
        for (x, y), (dx, dy) in zip(places, rng.uniform(-1e-10, 1e-10, (40, 2)), strict=True)
    ]
    assert short_order(places, (0.0, 0.0)) == short_order(shaken, (0.0, 0.0))


def test_row_is_visited_from_its_left_end() -> None:
    """Ties broken by chance: other bytes for the same job."""
    assert short_order([(30.0, 0.0), (0.0, 0.0), (20.0, 0.0), (10.0, 0.0)]) == [1, 3, 2, 0]
    assert short_order([(30.0, 0.0), (0.0, 0.0), (20.0, 0.0), (10.0, 0.0)], (40.0, 5.0)) == [
        0,
        2,
        3,
        1,
    ]
    assert short_order([]) == []
