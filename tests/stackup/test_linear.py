"""Lengths with named errors: what adds, what cancels, and what the two ways of stacking give."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.stackup.linear import Linear

sizes = st.floats(0.0, 5.0)


def test_the_same_error_cancels_in_a_difference():
    """Two heights over one bed would otherwise be taken as independent."""
    bed = Linear.term("bed", 0.05)
    assert (bed + 3.0 - bed).worst() == pytest.approx((3.0, 3.0))


def test_the_same_error_adds_before_it_is_squared():
    """A correlated pair counted twice under the root would come out too small."""
    twice = Linear.term("touch", 0.1) + Linear.term("touch", 0.1)
    assert twice.rss() == pytest.approx((-0.2, 0.2))


def test_a_gap_is_one_sided():
    """A blank never lies lower than the bed."""
    gap = Linear.gap("flat", 0.1)
    assert gap.worst() == pytest.approx((0.0, 0.1))
    assert gap.rss() == pytest.approx((0.0, 0.1))
    assert (5.0 - gap.nominal) == 5.0
    assert (Linear.of(5.0) - gap).worst() == pytest.approx((4.9, 5.0))


def test_one_name_with_two_sizes_is_refused():
    """Else one of the sizes would silently be lost."""
    with pytest.raises(ValueError, match="two sizes"):
        Linear.term("touch", 0.1) + Linear.term("touch", 0.2)


def test_largest_names_what_costs_most_first():
    value = (
        Linear.of(1.0) + Linear.term("a", 0.1) + Linear.term("b", 0.3) * 2 - Linear.gap("c", 0.2)
    )
    assert value.largest(2) == (("b", 0.6), ("c", 0.2))


@settings(max_examples=60, derandomize=True)
@given(st.lists(sizes, min_size=1, max_size=6), st.floats(-10, 10))
def test_rss_lies_within_the_worst_case(contributors: list[float], nominal: float):
    """Root sum square never exceeds the sum, whatever the contributors."""
    value = Linear.of(nominal)
    for k, size in enumerate(contributors):
        value = value + (Linear.term(f"e{k}", size) if k % 2 else Linear.gap(f"e{k}", size))
    low, high = value.worst()
    rss_low, rss_high = value.rss()
    assert low - 1e-9 <= rss_low <= rss_high <= high + 1e-9


def test_ten_equal_parts():
    """Ten parts of ± 0.1: worst ± 1.0, RSS ± 0.1 x sqrt(10) (arithmetic)."""
    value = Linear.of(0.0)
    for k in range(10):
        value = value + Linear.term(f"part {k}", 0.1)
    assert value.worst() == pytest.approx((-1.0, 1.0))
    assert value.rss()[1] == pytest.approx(0.1 * math.sqrt(10))
