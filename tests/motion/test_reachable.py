"""Feeds on arcs and bends, against v² / r = a (elementary mechanics)."""

from __future__ import annotations

import math

import pytest

from corepath.motion.clock import Limits
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Move, Pass, Program, Zero, arc, line, rapid
from corepath.motion.reachable import bend_feed, reachable

ACCEL = 600.0


def feeds(*moves: Move) -> list[float]:
    program = Program(
        "x", 1, "A", "x", Cutter(1, "flat", 6.0, 0.0, 2, 20.0, 30.0),
        Cutting(18000.0, 4000.0, 2000.0, 1000.0, 3.0, 2.0),
        Zero(0.0, 0.0, 0.0, "the bed", True), 20.0, (0.0, 0.0), (Pass.of(moves),),
    )  # fmt: skip
    return [move.feed for move in reachable(program, Limits(accel=ACCEL)).moves]


def test_a_small_circle_is_no_faster_than_its_radius_allows() -> None:
    """sqrt(600 · 0.4) = 15.49 mm/s, 930 mm/min; the word is the next step of 0.97 below, never
    above."""
    assert bend_feed(ACCEL, 0.4) == pytest.approx(929.5, abs=0.1)
    _, full, half = feeds(
        rapid(0.4, 0, 1),
        arc(False, (0.4, 0, 1), (-0.4, 0), 3960.0),
        arc(False, (-0.4, 0, 1), (-0.4, 0), 900.0),
    )
    assert 0.97 * 929.5 <= full <= 929.5
    assert half == 900.0, "what can be reached stays"


def test_a_wide_arc_and_a_straight_line_keep_their_feed() -> None:
    """sqrt(600 · 50) = 173 mm/s, 10392 mm/min."""
    assert feeds(
        rapid(50, 0, 1), arc(False, (0, 50, 1), (-50, 0), 8000.0), line(-40, 50, 1, 8000.0)
    )[1:] == [
        8000.0,
        8000.0,
    ]


def test_on_a_helix_the_way_in_the_plane_counts() -> None:
    """A turn of radius 1 that falls 2·pi goes down as far as round: sqrt(2) times the speed in the
    plane."""
    _, feed = feeds(rapid(1, 0, 10), arc(False, (1, 0, 10 - 2 * math.pi), (-1, 0), 9000.0))
    assert (
        0.97 * math.sqrt(2) * 60 * math.sqrt(ACCEL) <= feed <= math.sqrt(2) * 60 * math.sqrt(ACCEL)
    )


def test_a_bend_of_short_chords_goes_as_its_circle() -> None:
    """Chords of 10 degrees on a radius of 2: sqrt(600 · 2) = 34.6 mm/s, 2078 mm/min. A long line
    keeps its feed."""
    ring = [
        line(2 * math.cos(a), 2 * math.sin(a), 1, 6000.0)
        for a in (math.radians(10 * k) for k in range(19))
    ]
    found = feeds(rapid(2, -30, 1), *ring)
    assert found[1] == 6000.0
    assert all(0.97 * 2078 * 0.99 <= feed <= 2078 * 1.005 for feed in found[2:])


def test_a_sharp_corner_is_left_to_the_control() -> None:
    """It slows down or rounds the corner whatever the feed; the lines beside it are straight."""
    assert feeds(rapid(0, 0, 1), line(1, 0, 1, 5000.0), line(1, 1, 1, 5000.0))[1:] == [
        5000.0,
        5000.0,
    ]
