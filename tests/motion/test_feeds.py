"""Feeds and speeds against worked figures."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.motion.cutter import Cutter
from corepath.motion.feeds import CuttingData, cutting
from corepath.motion.feeds.chips import greatest_share
from corepath.motion.feeds.speeds import LARGEST_RAISE, raised


def flat(diameter: float = 6.0, flutes: int = 2, length: float = 22.0) -> Cutter:
    return Cutter(3, "flat", diameter, 0.0, flutes, length, length + 8.0)


RANGE = (8000.0, 24000.0)


def test_feed_is_chip_times_teeth_times_speed() -> None:
    """Worked: 0.1 mm, 2 teeth, 18000 rpm give 3600 mm/min (v_f = f_z z n; textbook, from
    memory)."""
    run = cutting(flat(), CuttingData(0.1, 18000.0, 0.33), RANGE)
    assert run.feed == pytest.approx(3600.0, abs=1e-6)
    assert run.plunge == pytest.approx(1188.0, abs=1e-6)
    assert run.ramp == pytest.approx(1800.0, abs=1e-6)


def test_ramp_is_never_slower_than_the_plunge() -> None:
    """With a plunge share of 0.8 a ramp, which cuts less, may be as fast."""
    run = cutting(flat(), CuttingData(0.1, 18000.0, 0.8), RANGE)
    assert run.ramp == run.plunge == pytest.approx(2880.0)


def test_depth_is_half_the_diameter_unless_given_and_within_the_edges() -> None:
    """A layer deeper than the cutting edges would rub with the shank."""
    assert cutting(flat(), CuttingData(0.1, 18000.0, 0.3), RANGE).depth == 3.0
    assert cutting(flat(), CuttingData(0.1, 18000.0, 0.3, 4.5), RANGE).depth == 4.5
    assert cutting(flat(length=2.0), CuttingData(0.1, 18000.0, 0.3, 4.5), RANGE).depth == 2.0


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(1000, 60000), st.floats(0.02, 0.5), st.integers(1, 6))
def test_speed_outside_the_range_keeps_the_chip(rpm: float, chip: float, flutes: int) -> None:
    """If the spindle cannot turn as asked, feed must go with it, or the chip changes."""
    run = cutting(flat(flutes=flutes), CuttingData(chip, rpm, 0.3), RANGE)
    assert RANGE[0] <= run.rpm <= RANGE[1]
    assert run.feed / run.rpm / flutes == pytest.approx(chip, rel=1e-6)


def test_a_light_lap_is_raised_until_its_thickest_chip_is_the_chip_load() -> None:
    """0.9 mm of a 6 mm cutter thin the chip to 2·sqrt(0.15·0.85) = 0.714 (textbook of machining);
    0.2 mm to 0.359, which would ask for 2.8 times the feed: more than twice is not given."""
    run = cutting(flat(), CuttingData(0.1, 18000.0, 0.3), RANGE, light=(0.9, 20.0))
    assert run.finish / run.feed == pytest.approx(1 / 0.714143, rel=1e-5)
    assert (
        cutting(flat(), CuttingData(0.1, 18000.0, 0.3), RANGE, light=(0.2, 20.0)).finish
        == 2 * run.feed
    )
    assert (
        cutting(flat(), CuttingData(0.1, 18000.0, 0.3), RANGE, light=(3.0, 20.0)).finish == run.feed
    )
    assert cutting(flat(), CuttingData(0.1, 18000.0, 0.3), RANGE).finish == run.feed


def test_nothing_is_faster_than_the_machine_moves() -> None:
    """A feed above the rapid cannot be run, and the clock would count it."""
    run = cutting(flat(), CuttingData(0.1, 18000.0, 0.3), RANGE, light=(0.2, 20.0), fastest=5000.0)
    assert (run.feed, run.finish) == (3600.0, 5000.0)
    assert cutting(flat(), CuttingData(0.1, 18000.0, 0.3), RANGE, fastest=3000.0).fastest == 3000.0


def test_the_shops_own_feed_wins_everywhere() -> None:
    """A shop that gives a feed means it: not raised on a light lap, whatever the chip load says."""
    run = cutting(
        flat(),
        CuttingData(0.1, 18000.0, 0.25, feed=2000.0, ramp_share=0.4),
        RANGE,
        light=(0.2, 20.0),
    )
    assert (run.feed, run.finish, run.plunge, run.ramp) == (2000.0, 2000.0, 500.0, 800.0)


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(0.01, 6.0), st.floats(0.05, 10.0), st.sampled_from([0.0, 1.0, 3.0]))
def test_the_raised_chip_is_never_above_the_chip_load(
    width: float, depth: float, corner: float
) -> None:
    """Flat, bull and ball: raised feed times share stays within the chip load, or the cutter is
    overloaded."""
    cutter = Cutter(3, "bull", 6.0, corner, 2, 22.0, 30.0)
    factor = raised(cutter, width, depth)
    assert 1.0 <= factor <= LARGEST_RAISE
    assert factor * greatest_share(cutter, width, depth) <= 1.0 + 1e-9


def test_a_drill_goes_down_at_its_own_chip_load() -> None:
    """0.10 mm a tooth, 2 flutes, 8000 turns: 1600 mm/min (v = f·z·n). A third of it rubs and burns
    the hole."""
    drill = Cutter(5, "drill", 6.0, 0.0, 2, 45.0, 50.0)
    run = cutting(drill, CuttingData(0.10, 8000.0, 0.33), RANGE)
    assert (run.feed, run.plunge, run.ramp) == (1600.0, 1600.0, 1600.0)
