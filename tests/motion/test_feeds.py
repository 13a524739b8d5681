"""Feeds and speeds against worked figures."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.motion.cutter import Cutter
from corepath.motion.feeds import chip_caution, cutting


def flat(diameter: float = 6.0, flutes: int = 2, length: float = 22.0) -> Cutter:
    return Cutter(3, "flat", diameter, 0.0, flutes, length, length + 8.0)


RANGE = (8000.0, 24000.0)


def test_feed_is_chip_times_teeth_times_speed() -> None:
    """Worked: 0.1 mm, 2 teeth, 18000 rpm give 3600 mm/min (v_f = f_z z n; textbook, from memory)."""
    run = cutting(flat(), 0.1, 18000.0, RANGE, None, 0.33)
    assert run.feed == pytest.approx(3600.0, abs=1e-6)
    assert run.plunge == pytest.approx(1188.0, abs=1e-6)
    assert run.ramp == pytest.approx(1800.0, abs=1e-6)


def test_ramp_is_never_slower_than_the_plunge() -> None:
    """With a plunge share of 0.8 a ramp, which cuts less, may be as fast."""
    run = cutting(flat(), 0.1, 18000.0, RANGE, None, 0.8)
    assert run.ramp == run.plunge == pytest.approx(2880.0)


def test_depth_is_half_the_diameter_unless_given_and_within_the_edges() -> None:
    """A layer deeper than the cutting edges would rub with the shank."""
    assert cutting(flat(), 0.1, 18000.0, RANGE, None, 0.3).depth == 3.0
    assert cutting(flat(), 0.1, 18000.0, RANGE, 4.5, 0.3).depth == 4.5
    assert cutting(flat(length=2.0), 0.1, 18000.0, RANGE, 4.5, 0.3).depth == 2.0
    assert cutting(flat(), 0.1, 18000.0, RANGE, None, 0.3, stepover_share=0.5).stepover == 3.0


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(1000, 60000), st.floats(0.02, 0.5), st.integers(1, 6))
def test_speed_outside_the_range_keeps_the_chip(rpm: float, chip: float, flutes: int) -> None:
    """If the spindle cannot turn as asked, feed must go with it, or the chip changes."""
    run = cutting(flat(flutes=flutes), chip, rpm, RANGE, None, 0.3)
    assert RANGE[0] <= run.rpm <= RANGE[1]
    assert run.feed / run.rpm / flutes == pytest.approx(chip, rel=1e-6)


def test_caution_only_outside_the_usual_chips() -> None:
    """Below 0.02 mm an edge rubs, above a tenth of the diameter it is overloaded (common practice, no source)."""
    assert chip_caution(flat(), 0.1) is None
    assert "below" in (chip_caution(flat(), 0.015) or "")
    assert "above" in (chip_caution(flat(), 0.7) or "")
