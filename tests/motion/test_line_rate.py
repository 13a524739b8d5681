"""Moves a second, against lengths and feeds by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from corepath.motion.clock import Limits, most_a_second
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.feeds.line_rate import MOST_A_SECOND, paced
from corepath.motion.program import Pass, Program, Zero, arc, line, rapid
from corepath.motion.reachable import reachable

LIMITS = Limits(rapid=6000.0, accel=500.0)


def ruled(step: float, count: int, feed: float) -> Pass:
    """`count` moves of `step` mm on one straight line."""
    cuts = [line(step * k, 0.0, 1.0, feed) for k in range(1, count + 1)]
    return Pass.of([rapid(0.0, 0.0, 1.0), *cuts])


def run_of(stretch: Pass) -> NDArray[np.float64]:
    """The feeds of all its moves, as if the cutter were run at them."""
    return np.array([move.feed for move in stretch.moves])


def test_short_moves_are_slowed_alike_to_what_a_control_reads() -> None:
    """0.2 mm at 3000 mm/min are 250 a second; 150 of them take 1800 mm/min."""
    given = ruled(0.2, 2000, 3000.0)
    assert most_a_second([given], LIMITS) == 250
    made = paced(given, LIMITS, run_of(given))
    assert most_a_second([made], LIMITS) <= MOST_A_SECOND
    (feed,) = {move.feed for move in made.moves[1:]}
    assert 0.97 * 1800.0 <= feed <= 1800.0
    assert [move[:4] for move in made.moves] == [move[:4] for move in given.moves], "same places"


def test_no_feed_falls_below_what_keeps_edges_cutting() -> None:
    """0.1 mm at 3000 mm/min are 500 a second: not even 0.55 of the feed makes them 150."""
    given = ruled(0.1, 2000, 3000.0)
    made = paced(given, LIMITS, run_of(given))
    (feed,) = {move.feed for move in made.moves[1:]}
    assert feed == pytest.approx(0.55 * 3000.0)


def test_a_feed_halved_by_plan_stays() -> None:
    """Where a bore opens the cutter goes at half of the 3000 mm/min that it is run at: 0.05 mm are
    500 a second there, and any less feed would rub."""
    given = ruled(0.05, 2000, 1500.0)
    assert paced(given, LIMITS, np.full(2001, 3000.0)) == given


def test_what_a_control_reads_in_time_stays() -> None:
    """100 short moves beside long ones fill no second, an arc is one move however long."""
    few = ruled(0.2, 100, 3000.0)
    assert paced(few, LIMITS, run_of(few)) == few
    turns = [arc(False, (10.0, 0.0, 1.0), (-10.0, 0.0), 3000.0)] * 50
    rounds = Pass.of([rapid(10.0, 0.0, 1.0), *turns])
    assert paced(rounds, LIMITS, run_of(rounds)) == rounds


def test_a_program_tells_the_minutes_that_reading_costs() -> None:
    """400 mm at 3000 mm/min are 8.0 s; at 1800 or a step of 3 % below they are 13.3 to 13.8 s."""
    cutter = Cutter(1, "flat", 6.0, 0.0, 2, 20.0, 30.0)
    cutting = Cutting(18000.0, 3000.0, 2000.0, 1000.0, 3.0, 2.0)
    zero = Zero(0.0, 0.0, 0.0, "the bed", True)
    given = [ruled(0.2, 2000, 3000.0), ruled(2.0, 200, 3000.0)]
    crowded, calm = (
        reachable(
            Program("x", 1, "A", "x", cutter, cutting, zero, 20.0, (0.0, 0.0), (one,)), LIMITS
        )
        for one in given
    )
    assert 5.3 <= crowded.reading * 60.0 <= 5.8
    assert calm.reading == 0.0


def test_only_the_crowded_stretch_is_slowed() -> None:
    """A circle of radius 5 in chords of 0.003 mm between two long lines, at a = 500: √(8·e/a) each,
    144 a second, stays; at 1400, 242 a second, the chords are slowed and the lines are not."""
    step = 2.0 * math.acos(1.0 - 0.003 / 5.0)
    count = 4 * math.ceil(2.0 * math.pi / step)  # four times round: more than a second
    chords = [
        line(5.0 * math.sin(k * step), 5.0 - 5.0 * math.cos(k * step), 1.0, 60.0 * math.sqrt(7000))
        for k in range(1, count + 1)
    ]
    end = chords[-1]
    lead, away = line(0.0, 0.0, 1.0, 6000.0), line(end.x, end.y + 100.0, 1.0, 6000.0)
    given = Pass.of([rapid(-100.0, 0.0, 1.0), lead, *chords, away])
    made = paced(given, Limits(rapid=6000.0, accel=1400.0), run_of(given))
    assert made.moves[1].feed == made.moves[-1].feed == 6000.0
    assert most_a_second([given], Limits(accel=1400.0)) > 200
    assert most_a_second([made], Limits(accel=1400.0)) <= MOST_A_SECOND
