"""The decimal grid: what is written reads back the same within the last digit."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.gcode.write.numbers import GRIDS, TickGrid

grids = pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS.keys())


@grids
@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.floats(-2000, 2000))
def test_coordinate_reads_back_within_half_a_digit(grid: TickGrid, length: float) -> None:
    """Anything coarser would add an error that the budget does not know."""
    text = grid.coordinate(length)
    assert abs(float(text) * grid.mm - length) <= 0.5 / grid.per_mm + 1e-9
    assert re.fullmatch(rf"-?\d+\.\d{{{grid.decimals}}}", text), "plain decimal, fixed places"
    assert float(text) != 0.0 or not text.startswith("-")


@grids
@pytest.mark.parametrize("length", [-1e-9, -0.0, 0.0, 1e-9])
def test_zero_has_no_sign(grid: TickGrid, length: float) -> None:
    """ "-0.0000" is legal, but differs from run to run and puzzles people."""
    assert "-" not in grid.coordinate(length)
    assert "-" not in grid.size(length)


@grids
def test_tiny_feed_is_not_rounded_to_nothing(grid: TickGrid) -> None:
    """A feed of 0 is an error to the machine."""
    assert float(grid.feed(1e-4)) > 0.0


def test_inch_is_25_4_mm() -> None:
    """By definition of 1959; a wrong factor scales the whole board."""
    assert GRIDS["inch"].coordinate(25.4) == "1.00000"
    assert GRIDS["inch"].feed(2540.0) == "100.00"
    assert GRIDS["inch"].size(6.35) == "0.25 in"
    assert GRIDS["mm"].size(6.0) == "6 mm"
