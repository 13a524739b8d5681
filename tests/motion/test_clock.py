"""The clock against closed forms: trapezoid, triangle, circle, corner; and against a slow
step-by-step machine."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.motion.clock import (
    EXACT_DEVIATION,
    Limits,
    corner_speed,
    leg_seconds,
    minutes,
    most_a_second,
    seconds,
)
from corepath.motion.program import Move, Pass, arc, line, rapid
from corepath.planning.report.times import CHANGE, CHANGE_BY_MACHINE, STOP

MINUTE = 60.0


def limits(accel: float = 500.0, deviation: float = 0.02, rapid_mm_s: float = 100.0) -> Limits:
    return Limits(rapid_mm_s * MINUTE, accel, deviation)


def along_x(distance: float, speed: float) -> list[Move]:
    return [rapid(0, 0, 0), line(distance, 0, 0, speed * MINUTE)]


@pytest.mark.parametrize(
    ("distance", "speed", "accel", "expected"),
    [
        # Rest to rest: t = d/v + v/a from d = v²/a on, else 2 sqrt(d/a). Textbook kinematics, from
        # memory.
        (100.0, 60.0, 500.0, 1.7866667),
        (7.2, 60.0, 500.0, 0.24),
        (5.0, 60.0, 500.0, 0.2),
        (300.0, 100.0, 400.0, 3.25),
    ],
)
def test_single_line_takes_the_time_of_a_trapezoid(
    distance: float, speed: float, accel: float, expected: float
) -> None:
    """A wrong ramp at either end would show here."""
    assert seconds(along_x(distance, speed), limits(accel))[1] == pytest.approx(expected, abs=1e-6)


def test_straight_polyline_takes_the_time_of_one_line() -> None:
    """Cutting a line into a thousand moves must cost nothing: look-ahead passes straight corners at
    speed."""
    whole = seconds(along_x(250.0, 60.0), limits()).sum()
    parts = [rapid(0, 0, 0)] + [line(0.25 * k, 0, 0, 60 * MINUTE) for k in range(1, 1001)]
    assert seconds(parts, limits()).sum() == pytest.approx(whole, abs=1e-6)


@pytest.mark.parametrize(
    ("inner", "speed"), [(90.0, 4.9135), (120.0, 8.0400), (150.0, 16.8368), (170.0, 51.1655)]
)
def test_corner_speed_is_that_of_the_arc_that_rounds_it(inner: float, speed: float) -> None:
    """a 500 mm/s², deviation 0.02 mm: v = sqrt(a d s/(1 - s)), s = sin(inner/2); geometry, worked
    by hand.

    Two long lines at 200 mm/s: the time lost against two from corner speed to full speed is closed.
    """
    v, a, length = 200.0, 500.0, 400.0
    turn = math.radians(180.0 - inner)
    moves = [
        *along_x(length, v),
        line(length + length * math.cos(turn), length * math.sin(turn), 0, v * MINUTE),
    ]
    took = seconds(moves, limits(a))[1]
    expected = v / a + (v - speed) / a + (length - v**2 / a + speed**2 / (2 * a)) / v
    assert took == pytest.approx(expected, abs=1e-5)


def test_circle_is_held_to_its_acceleration() -> None:
    """Radius 10, a 500: at most sqrt(a r) = 70.71 mm/s (textbook kinematics, from memory), whatever
    the feed."""
    moves = [rapid(10, 0, 0), arc(False, (10, 0, 0), (-10, 0), 60000.0)]
    top = math.sqrt(500.0 * 10.0)
    length = math.tau * 10.0
    assert seconds(moves, limits())[1] == pytest.approx(length / top + top / 500.0, abs=1e-6)


def test_helix_counts_its_length_in_space() -> None:
    """NIST IR 6556, 2.1.2.6: the feed is along the helix; at a small feed the time is length over
    feed."""
    moves = [rapid(10, 0, 0), arc(True, (10, 0, -30), (-10, 0), MINUTE)]
    length = math.hypot(math.tau * 10.0, 30.0)
    assert seconds(moves, limits(accel=1e6))[1] == pytest.approx(length, rel=1e-5)


@pytest.mark.parametrize("clockwise", [False, True])
def test_tangent_arc_is_entered_at_speed(clockwise: bool) -> None:
    """A tangent of the wrong sign would make the cutter stop where line and arc join."""
    side = -1.0 if clockwise else 1.0
    moves = [*along_x(50.0, 20.0), arc(clockwise, (60, side * 10, 0), (0, side * 10), 20 * MINUTE)]
    moves.append(line(60, side * 60, 0, 20 * MINUTE))
    length = 100.0 + math.pi / 2.0 * 10.0
    assert seconds(moves, limits()).sum() == pytest.approx(length / 20.0 + 20.0 / 500.0, abs=1e-6)


def test_polyline_of_a_circle_is_no_faster_than_the_circle() -> None:
    """Short chords turn so little that the deviation alone would let them pass at any speed."""
    feed, n = 60000.0, 720
    chords = [rapid(10, 0, 0)]
    chords += [
        line(10 * math.cos(k * math.tau / n), 10 * math.sin(k * math.tau / n), 0, feed)
        for k in range(1, n + 1)
    ]
    circle = [rapid(10, 0, 0), arc(False, (10, 0, 0), (-10, 0), feed)]
    assert seconds(chords, limits()).sum() == pytest.approx(
        seconds(circle, limits()).sum(), rel=0.02
    )


def test_reversal_stops() -> None:
    """Out and back is twice rest to rest."""
    moves = [*along_x(100.0, 60.0), line(0, 0, 0, 60 * MINUTE)]
    assert seconds(moves, limits())[1:].tolist() == pytest.approx([1.7866667] * 2, abs=1e-6)


def test_rests_and_passes_stop() -> None:
    """A straight path told to rest half-way is two rests to rests; so are two passes."""
    half, whole = line(100, 0, 0, 60 * MINUTE), line(200, 0, 0, 60 * MINUTE)
    told = seconds([rapid(0, 0, 0), half, whole], limits(), rests=[2])
    assert told.tolist() == pytest.approx([0.0, 1.7866667, 1.7866667], abs=1e-6)
    passes = [Pass.of([rapid(0, 0, 0), half]), Pass.of([whole])]
    assert minutes(passes, limits(), dwell=3.0) == pytest.approx(
        (2 * 1.7866667 + 6.0) / 60.0, abs=1e-7
    )


def test_moves_without_length_take_no_time_and_do_not_stop() -> None:
    """A repeated point in the middle of a line must not look like a corner."""
    moves = [*along_x(100.0, 60.0)]
    doubled = [rapid(0, 0, 0), line(50, 0, 0, 3600), line(50, 0, 0, 3600), line(100, 0, 0, 3600)]
    took = seconds(doubled, limits())
    assert took[2] == 0.0
    assert took.sum() == pytest.approx(seconds(moves, limits()).sum(), abs=1e-9)


def test_start_gives_the_first_move_its_time() -> None:
    """Without a start the first move takes nothing; with one, it takes the time of a rapid."""
    assert seconds([rapid(300, 0, 0)], limits(400.0)).tolist() == [0.0]
    assert seconds([rapid(300, 0, 0)], limits(400.0), start=(0, 0, 0))[0] == pytest.approx(
        3.25, abs=1e-6
    )


def test_exact_path_is_slower_at_corners() -> None:
    """With G61 a right-angled corner is passed at the speed of the smaller deviation."""
    moves = [*along_x(100.0, 60.0), line(100, 100, 0, 3600)]
    free, exact = limits(), Limits(6000.0, 500.0, 0.02, exact_path=True)
    assert exact.deviation == EXACT_DEVIATION
    assert seconds(moves, exact).sum() > seconds(moves, free).sum() + 0.001


def test_cut_without_feed_is_refused() -> None:
    """Division by a feed of 0 would give an endless or a silent time."""
    with pytest.raises(ValueError, match="feed"):
        seconds([rapid(0, 0, 0), line(1, 0, 0, 0.0)], limits())


def test_empty_takes_nothing() -> None:
    assert seconds([], limits()).shape == (0,)
    assert minutes([], limits()) == 0.0


points = st.tuples(*[st.integers(-400, 400).map(lambda n: n / 8.0)] * 3)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(st.tuples(points, st.integers(60, 9000)), min_size=2, max_size=25))
def test_times_agree_with_a_plain_look_ahead(
    path: list[tuple[tuple[float, float, float], int]],
) -> None:
    """The running minima must give what two plain loops over the moves give."""
    moves = [rapid(0, 0, 0)] + [line(*place, float(feed)) for place, feed in path]
    assert seconds(moves, limits()).sum() == pytest.approx(
        _plain(moves, 500.0, 0.02), rel=1e-6, abs=1e-6
    )


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(st.tuples(points, st.integers(60, 9000)), min_size=2, max_size=25))
def test_time_is_never_below_length_over_feed(
    path: list[tuple[tuple[float, float, float], int]],
) -> None:
    """No move may be faster than its feed."""
    moves = [rapid(0, 0, 0)] + [line(*place, float(feed)) for place, feed in path]
    took = seconds(moves, limits())
    for before, after, t in zip(moves, moves[1:], took[1:], strict=False):
        assert t >= math.dist(before[1:4], after[1:4]) / (after.feed / 60.0) - 1e-9


def _plain(moves: list[Move], accel: float, deviation: float) -> float:
    """Look-ahead by two loops, on speeds instead of their squares."""
    steps = [(a, b) for a, b in itertools.pairwise(moves) if a[1:4] != b[1:4]]
    if not steps:
        return 0.0
    spans = [np.subtract(b[1:4], a[1:4]) for a, b in steps]
    lengths = [float(np.linalg.norm(s)) for s in spans]
    tops = [b.feed / 60.0 for _, b in steps]
    speeds = [0.0]
    for k in range(1, len(steps)):
        cosine = float(np.dot(spans[k - 1], spans[k]) / lengths[k - 1] / lengths[k])
        inner = math.pi - math.acos(max(-1.0, min(1.0, cosine)))
        s = math.sin(inner / 2.0)
        radius = math.inf
        if 1.0 - s > 1e-14:
            fit = min(lengths[k - 1], lengths[k]) / 2.0 * math.tan(inner / 2.0)
            radius = min(deviation * s / (1.0 - s), fit)
        speeds.append(min(tops[k - 1], tops[k], math.sqrt(accel * radius)))
    speeds.append(0.0)
    for k in range(len(steps)):
        speeds[k + 1] = min(speeds[k + 1], math.sqrt(speeds[k] ** 2 + 2 * accel * lengths[k]))
    for k in reversed(range(len(steps))):
        speeds[k] = min(speeds[k], math.sqrt(speeds[k + 1] ** 2 + 2 * accel * lengths[k]))
    total = 0.0
    for v0, v1, top, length in zip(speeds, speeds[1:], tops, lengths, strict=False):
        peak = min(top, math.sqrt((2 * accel * length + v0**2 + v1**2) / 2.0))
        run = length - (2 * peak**2 - v0**2 - v1**2) / (2 * accel)
        total += (2 * peak - v0 - v1) / accel + max(run, 0.0) / peak
    return total


def test_passes_from_and_to_the_park_count_the_way_there() -> None:
    """The rapids to the first place and back home are machine time, as the file has them."""
    passes = [Pass.of([rapid(0, 0, 10), line(0, 100, 10, 60 * MINUTE)])] * 2
    legs = (
        300.0 / 100.0 + 100.0 / 500.0,
        1.7866667,
        math.hypot(300.0, 100.0) / 100.0 + 100.0 / 500.0,
    )
    took = 60.0 * minutes(passes, limits(deviation=1e-9), park=(-300.0, 0.0))
    assert took == pytest.approx(2 * sum(legs), abs=1e-3)
    assert 60.0 * minutes(passes, limits(deviation=1e-9)) < took - 6.0


@pytest.mark.parametrize(("inner", "speed"), [(90.0, 4.9135), (120.0, 8.0400), (150.0, 16.8368)])
def test_corner_speed_by_itself(inner: float, speed: float) -> None:
    """The bound leans on it: a corner passed faster would let a path beat its bound (geometry,
    worked by hand)."""
    assert corner_speed(limits(), inner) == pytest.approx(speed, abs=1e-3)
    assert corner_speed(limits(), 180.0) == math.inf


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(0.01, 900.0), st.floats(300.0, 9000.0), st.floats(50.0, 3000.0))
def test_leg_takes_what_the_clock_gives_a_line(length: float, top: float, accel: float) -> None:
    """From rest to rest both must agree; from corner speed to corner speed it takes less."""
    took = seconds([rapid(0, 0, 0), line(length, 0, 0, top)], Limits(6000.0, accel, 0.02))[1]
    assert leg_seconds(length, top, accel) == pytest.approx(took, rel=1e-9)
    assert leg_seconds(length, top, accel, 5.0) < took
    assert leg_seconds(0.0, top, accel) == 0.0


def test_guide_to_the_clock_says_what_the_clock_does() -> None:
    """docs/clock.md: figures that drift from the code would send a shop to the wrong setting."""
    page = (Path(__file__).parents[2] / "docs" / "clock.md").read_text()
    for inner in (90.0, 150.0):
        assert f"{corner_speed(limits(), inner):.1f} mm/s" in page
    assert f"{EXACT_DEVIATION} mm" in page
    assert "three a change by hand (0.3 with M6)" in page
    assert (STOP, CHANGE, CHANGE_BY_MACHINE) == (1.0, 3.0, 0.3)


def test_a_corner_time_makes_the_machine_stand_at_sharp_corners_alone() -> None:
    """A square corner then costs two moves from rest to rest (elementary mechanics, d/v + v/a) and
    the time; one of 20 degrees costs what it did before."""
    limits = Limits(rapid=6000.0, accel=500.0, corner_time=0.25)
    square = [rapid(0.0, 0.0, 0.0), line(50.0, 0.0, 0.0, 3000.0), line(50.0, 50.0, 0.0, 3000.0)]
    once = 50.0 / 50.0 + 50.0 / 500.0
    assert seconds(square, limits).sum() == pytest.approx(2.0 * once + 0.25)
    x, y = 50.0 * math.cos(math.radians(20.0)), 50.0 * math.sin(math.radians(20.0))
    slight = [*square[:2], line(50.0 + x, y, 0.0, 3000.0)]
    usual = Limits(rapid=6000.0, accel=500.0)
    assert seconds(slight, limits).sum() == pytest.approx(seconds(slight, usual).sum())
    assert seconds(square, usual).sum() < 2.0 * once


def test_the_busiest_second_is_where_moves_are_shortest() -> None:
    """At 50 mm/s, moves of 0.5 mm come 100 a second, moves of 10 mm five."""
    long = [line(10.0 * k, 0, 0, 50 * MINUTE) for k in range(1, 21)]
    short = [line(200 + 0.5 * k, 0, 0, 50 * MINUTE) for k in range(1, 401)]
    both = Pass.of([rapid(0, 0, 0), *long, *short, line(400, 0, 0, 50 * MINUTE)], "")
    alone = Pass.of([rapid(0, 0, 0), *long], "")
    assert most_a_second([alone], limits()) == pytest.approx(5, abs=1)
    assert most_a_second([alone, both], limits()) == pytest.approx(100, abs=1)
    assert most_a_second([], limits()) == 0
