"""What keeps a tapered ball off goes by its widest part, not by the ball it is named by."""

from __future__ import annotations

import pytest
from shapely import box

from corepath.motion.cutter import Cutter
from corepath.work.keepoff import CLEARANCE, zone
from corepath.work.works import Obstacle

CLAMP = Obstacle(box(0.0, 0.0, 10.0, 10.0), 20.0)


@pytest.mark.parametrize(("shank", "wide"), [(0.0, 2.6661046), (4.0, 2.0)], ids=["edges", "shank"])
def test_the_flank_of_a_tapered_ball_runs_into_a_clamp(shank: float, wide: float) -> None:
    """A ball of 2 with 5 degrees a side is 5.33 wide where edges of 20 end: 0.9961947 + (20 −
    0.9128443) · tan 5° from the axis; with a shank of 4 it gets no wider than that."""
    cutter = Cutter(4, "taper", 2.0, 0.0, 2, 20.0, 30.0, shank=shank, taper_angle=5.0)
    kept = zone(CLAMP, cutter, 0.0, lambda _: 5.0)
    assert kept is not None
    left, low, right, high = kept.bounds
    assert (left, low) == pytest.approx((-wide - CLEARANCE, -wide - CLEARANCE), abs=1e-6)
    assert (right, high) == pytest.approx((10.0 + wide + CLEARANCE,) * 2, abs=1e-6)
    assert zone(CLAMP, cutter, 0.0, lambda _: 20.0 + CLEARANCE) is None


def test_a_collet_narrower_than_the_flank_makes_a_zone_of_its_own() -> None:
    """The flank keeps off farther than a collet of 5 would; one of 20 that comes too low farther
    still."""
    cutter = Cutter(4, "taper", 2.0, 0.0, 2, 20.0, 21.0, taper_angle=5.0)
    narrow, wide = (zone(CLAMP, cutter, size, lambda _: -1.0) for size in (5.0, 20.0))
    assert narrow is not None and narrow.bounds[0] == pytest.approx(-2.6661046 - CLEARANCE)
    assert wide is not None and wide.bounds[0] == pytest.approx(-10.0 - CLEARANCE)
