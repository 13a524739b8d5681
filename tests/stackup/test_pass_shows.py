"""What shows after each pass, against the check that is made for the place that shows last."""

from pathlib import Path

import pytest

from corepath.planning.prepare import prepare
from corepath.stackup.checks.depth_checks import shows_at
from corepath.stackup.pass_shows import showing

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.mark.parametrize(
    "sample", ["coupon", pytest.param("board-1280-wedge", marks=pytest.mark.whole)]
)
def test_all_shows_when_the_place_that_shows_last_does(sample: str) -> None:
    """Shares that lag behind the check would send one to the next pass, and cost the wood that it
    takes."""
    stack = prepare(SAMPLES / f"{sample}.toml").stackup
    seen = set()
    for entry in showing(stack):
        for casting in stack.castings:
            worst, nominal, best = entry.shares[casting.casting.id]
            check = shows_at(stack, casting, entry.plane)
            seen |= {worst == 1.0, nominal == 1.0}
            assert worst <= nominal <= best
            if check.worst > 0.005:
                assert worst == 1.0, (entry.number, casting.casting.id)
            if check.value > 0.005:
                assert nominal == 1.0, (entry.number, casting.casting.id)
            if check.value < -0.005:
                assert nominal < 1.0
    assert seen == {True, False}
