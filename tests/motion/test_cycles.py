"""Drilling cycles: the motions that they stand for, their time, and what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.motion.clock import Limits, minutes, seconds
from corepath.motion.cycles import BACK_OFF, expand, expand_counted
from corepath.motion.program import Kind, Move, Pass, drill, line, rapid

LIMITS = Limits(rapid=6000, accel=500, corner_deviation=0.02)


def test_moves_without_cycles_are_given_back_as_they_are() -> None:
    """A copy of each long deck path for nothing."""
    moves = [rapid(0, 0, 10), line(0, 0, 1, 500)]
    assert expand(moves) is moves


def test_g81_is_over_down_feed_and_out() -> None:
    """A cycle drawn, timed or checked as something else than the control makes of it."""
    start = rapid(1, 2, 20)
    assert list(expand([start, drill(4, 5, -2, 300, 3)])) == [
        start, rapid(4, 5, 20), rapid(4, 5, 3), line(4, 5, -2, 300), rapid(4, 5, 3),
    ]  # fmt: skip


def test_a_start_below_the_retract_height_goes_up_first() -> None:
    """A rapid sideways through the wood."""
    start = rapid(1, 2, 1)
    assert list(expand([start, drill(4, 5, -2, 300, 3)]))[1:3] == [rapid(1, 2, 3), rapid(4, 5, 3)]


def test_g83_pecks_from_the_retract_height_and_backs_off() -> None:
    """A drill that clogs, or a rapid onto the bottom of the hole."""
    start = rapid(0, 0, 3)
    assert list(expand([start, drill(0, 0, -4.5, 300, 3, 3)]))[1:] == [
        line(0, 0, 0, 300), rapid(0, 0, 3), rapid(0, 0, BACK_OFF),
        line(0, 0, -3, 300), rapid(0, 0, 3), rapid(0, 0, -3 + BACK_OFF),
        line(0, 0, -4.5, 300), rapid(0, 0, 3),
    ]  # fmt: skip


@given(
    deep=st.floats(0.1, 40), peck=st.floats(0.2, 12), retract=st.floats(0.5, 10),
        start=st.floats(-3, 30)
)  # fmt: skip
@settings(max_examples=60, derandomize=True, deadline=None)
def test_any_peck_reaches_the_bottom_and_never_a_rapid_into_wood(
    deep: float, peck: float, retract: float, start: float
) -> None:
    """Rounding that leaves a sliver at the bottom, or a rapid deeper than what is drilled."""
    begin = rapid(7, 7, start)
    reached, z = retract, start
    for move in list(expand([begin, drill(0, 0, -deep, 100, retract, peck)]))[1:]:
        if move.kind is Kind.RAPID:
            assert move.z >= reached or move.z >= z
        else:
            assert reached - move.z <= peck + 1e-9 and move.z < reached
            reached = move.z
        z = move.z
    assert (reached, z) == (-deep, retract)


def test_impossible_cycles_are_refused() -> None:
    """A cycle from nowhere, upside down, or one that pecks for ever."""
    with pytest.raises(ValueError, match="unknown place"):
        expand([drill(0, 0, -1, 100, 3)])
    with pytest.raises(ValueError, match="not above its bottom"):
        expand([rapid(0, 0, 5), drill(0, 0, 3, 100, 3)])
    with pytest.raises(ValueError, match="peck of 0"):
        expand([rapid(0, 0, 5), Move(Kind.PECK, 0, 0, -1, 100, 3, 0)])


def test_clock_counts_each_motion_of_a_cycle() -> None:
    """Minutes that forget the pecks; a share of the time given to the wrong move."""
    moves = [rapid(0, 0, 20), drill(30, 0, -10, 300, 3, 4), rapid(30, 0, 20), line(30, 5, 20, 900)]
    plain, owner = expand_counted(moves)
    whole = seconds(plain, LIMITS)
    apart = seconds(moves, LIMITS)
    assert apart.shape == (4,) and apart.sum() == pytest.approx(whole.sum(), abs=1e-12)
    assert apart[1] == pytest.approx(
        sum(t for t, k in zip(whole, owner, strict=True) if k == 1), abs=1e-12
    )
    assert minutes([Pass.of(moves)], LIMITS) == pytest.approx(
        minutes([Pass.of(plain)], LIMITS), abs=1e-12
    )


def test_rests_are_kept_when_cycles_are_taken_apart() -> None:
    """A stop between two passes forgotten, and the time too short."""
    moves = [
        rapid(0, 0, 20),
        drill(30, 0, -10, 300, 3, 4),
        line(60, 0, 3, 900),
        line(90, 0, 3, 900),
    ]
    plain, owner = expand_counted(moves)
    rest = list(owner).index(3)
    assert seconds(moves, LIMITS, rests=[3]).sum() == pytest.approx(
        seconds(plain, LIMITS, rests=[rest]).sum()
    )
    assert seconds(moves, LIMITS, rests=[3]).sum() > seconds(moves, LIMITS).sum()
