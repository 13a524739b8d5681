"""How far the lines of a roughing layer are needed, on level ground where that is worked out by
hand.

A flat cutter of 20 mm on two lines 18 mm apart. A node counts as reached where the whole square of
1 mm about it is under the cutter: within 10 - √½ = 9.293 mm of its axis.
"""

from __future__ import annotations

import numpy as np

from corepath.motion.cutter_profile import CutterProfile
from corepath.operations.deck.roughing.needed import Standing, Stretch

LENGTH, TOP = 300, 5.0
YS = np.array([-9.0, 9.0])
XS, PLACES = np.arange(LENGTH + 1.0), np.arange(-18.0, 19.0)
WHOLE = [[Stretch(row, 0, LENGTH, 0, LENGTH)] for row in (0, 1)]
FLAT = CutterProfile(10.0, 10.0, 0.0)


def standing(asked: list[tuple[float, float]]) -> Standing:
    """Stock over the upper line that may stay but from x to x of `asked`; all over the lower one is
    to go."""
    may_stay = np.full((len(XS), len(PLACES)), -1.0)
    may_stay[:, PLACES > 0.0] = TOP
    for first, last in asked:
        may_stay[round(first) : round(last) + 1] = -1.0
    return Standing(XS, YS, PLACES, may_stay, TOP, FLAT)


def ends(rows: list[list[Stretch]]) -> list[list[tuple[int, int]]]:
    return [[(one.first, one.last) for one in row] for row in rows]


def test_where_all_is_asked_for_lines_are_whole() -> None:
    over = standing([(0.0, 300.0)])
    assert ends(over.shortened(WHOLE, np.zeros((2, len(XS))))) == [[(0, 300)], [(0, 300)]]


def test_a_line_ends_before_the_last_place_that_it_is_needed_for() -> None:
    """The outermost node lies 9 mm from the upper line: √(9.293² - 9²) = 2.3 mm along it are in
    reach, so it may end at 98 for what is asked up to 100. What lies between the lines and is no
    farther than 9.293 from the lower one, up to y = 0, that one takes."""
    over = standing([(0.0, 100.0)])
    assert ends(over.shortened(WHOLE, np.zeros((2, len(XS))))) == [[(0, 300)], [(0, 98)]]


def test_a_long_gap_is_left_out_and_a_short_one_crossed() -> None:
    """Between 98 and 202 are 104 mm, not worth two ends; between 88 and 212 are 124."""
    short = standing([(0.0, 100.0), (200.0, 300.0)])
    assert ends(short.shortened(WHOLE, np.zeros((2, len(XS)))))[1] == [(0, 300)]
    long = standing([(0.0, 90.0), (210.0, 300.0)])
    assert ends(long.shortened(WHOLE, np.zeros((2, len(XS)))))[1] == [(0, 88), (212, 300)]


def test_a_line_that_nothing_asks_for_is_left_out() -> None:
    over = standing([])
    assert ends(over.shortened(WHOLE, np.zeros((2, len(XS))))) == [[(0, 300)], []]


def test_what_shortened_lines_leave_is_known_to_the_next_layer() -> None:
    """At 5.0 from 98 + 9.3 on; the cutter is over it from 10.7 mm before that."""
    over = standing([(0.0, 100.0)])
    rows = over.shortened(WHOLE, np.zeros((2, len(XS))))
    over.shortened(rows, np.full((2, len(XS)), -1.0))
    stands = over.over(1)
    assert np.all(stands[:88] == -np.inf) and np.all(stands[110:] == TOP)
