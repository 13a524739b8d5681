"""Monte Carlo agrees with RSS where the relation is linear, and sees what RSS cannot where it is
not."""

import numpy as np
import pytest

from corepath.stackup.checks.montecarlo import least_over, low_quantile, sample
from corepath.stackup.linear import Linear


def relation() -> Linear:
    return (
        Linear.of(0.5) + Linear.term("a", 0.1) + Linear.term("b", 0.05) * 2 - Linear.gap("c", 0.12)
    )


def test_agrees_with_rss_on_a_linear_relation():
    """The low three-sigma value of 10,000 draws is the low end of RSS within its sampling error.

    Near the 0.135 % point about 13 draws decide: their scatter is some 3 % of the three-sigma band.
    """
    value = relation()
    low, high = value.rss()
    assert low_quantile(sample(value)) == pytest.approx(low, abs=0.08 * (high - low))
    assert float(sample(value).mean()) == pytest.approx((low + high) / 2, abs=0.01 * (high - low))
    assert float(sample(value).std()) == pytest.approx((high - low) / 6, rel=0.03)


def test_the_same_seed_gives_the_same_figure():
    assert low_quantile(sample(relation())) == low_quantile(sample(relation()))


def test_the_least_of_many_places_is_below_that_of_one():
    """Where the weakest place moves about, judging only the nominally weakest is too kind."""
    places = np.column_stack([np.linspace(0, 3000, 60), np.zeros(60)])
    level, error = np.zeros(60), np.full(60, 0.1)
    none = Linear.of(1.0)
    many = low_quantile(least_over(none, places, level, error))
    one = low_quantile(least_over(none, places[:1], level[:1], error[:1]))
    assert one == pytest.approx(0.9, abs=0.012)
    assert many < one - 0.005


def test_the_field_is_of_unit_size_and_alike_nearby():
    """Neighbours err together: places 1 mm apart must not count as two chances."""
    close = np.array([[0.0, 0.0], [1.0, 0.0]])
    pair = least_over(Linear.of(0.0), close, np.zeros(2), np.full(2, 0.3))
    assert float(pair.std()) == pytest.approx(0.1, rel=0.03)
    assert float(pair.mean()) == pytest.approx(0.0, abs=0.004)
