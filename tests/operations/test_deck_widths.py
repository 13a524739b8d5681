"""The feed of the finished deck follows the width that a line meets: too fast in whole wood breaks
a cutter, which the load of the whole file does not show."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.motion.cutter import Cutter
from corepath.motion.program import Move, line, rapid
from corepath.operations.deck import surfacing
from corepath.operations.deck.widths import fed
from corepath.work.works import Work
from tests.operations.test_surfacing import BALL, BULL, FLAT, LENGTH, WIDTH, hill, make_work, only

Array = NDArray[np.float64]

FEED, FAST = 3000.0, 6000.0


def work_of(cutter: Cutter, surface: DeckSurface, step: float) -> Work:
    work = make_work(cutter, surface=surface)
    assert work.deck is not None
    return replace(
        work,
        cutting=replace(work.cutting, stepover=step, finish=FAST),
        deck=replace(work.deck, deepest=2.0),
    )


def level() -> DeckSurface:
    xs, ys = np.arange(-160.0, 161.0), np.arange(-95.0, 96.0)
    return DeckSurface(xs, ys, np.full((len(xs), len(ys)), 9.0), 9.0)


def moves_of(work: Work) -> tuple[Move, ...]:
    return only(surfacing.deck_programs(work)).passes[0].moves


def test_on_a_level_deck_only_the_first_line_takes_the_full_width() -> None:
    """Lines 4 apart with a flat cutter of 10: the first meets 10 and each other one 4."""
    moves = moves_of(work_of(FLAT, level(), 4.0))
    long = [k for k in range(1, len(moves)) if abs(moves[k].x - moves[k - 1].x) > 100.0]
    first, *others = (moves[k] for k in long)
    assert first.feed == FEED and first.y == pytest.approx(-WIDTH / 2 + 4.5)
    assert len(others) >= 25 and {move.feed for move in others} == {FAST}


def test_down_a_slope_in_whole_wood_it_goes_slower() -> None:
    """All under a flat cutter of 10 may go at once: at 0.2 down for each mm, pi / 4 10² 0.2 = 15.7
    mm³/mm beside the 10 · 2 that stand before it, 1.79 times the heaviest cut planned, so that half
    the feed is the next lower tenth. Up the slope, and beside a line already cut, it is the feed of
    lines."""
    work = work_of(FLAT, level(), 2.0)
    work = replace(work, cutting=replace(work.cutting, feed=FEED, finish=FEED))

    def feeds(*places: tuple[float, float, float]) -> list[float]:
        moves = [rapid(*places[0]), *(line(x, y, z, FEED) for x, y, z in places[1:])]
        return [move.feed for move in fed(moves, work)[1:]]

    down = ((-60.0, 0.0, 9.0), (-40.0, 0.0, 9.0), (-10.0, 0.0, 3.0), (10.0, 0.0, 3.0))
    assert feeds(*down) == [FEED, pytest.approx(0.5 * FEED), FEED]
    assert feeds(*reversed(down)) == [FEED] * 3
    beside = [(x, y + 2.0, z) for x, y, z in down]
    assert feeds(*reversed(down), (-60.0, 2.0, 9.0), *beside)[3:] == [FEED] * 5


def test_down_a_steep_slope_it_goes_no_slower_than_half_the_ramp_feed() -> None:
    """At 2 down for each mm a flat cutter of 10 may take pi / 4 10² 2 = 157 mm³/mm beside 10 · 2,
    8.9 times what was planned: a tenth of the feed, at which edges rub. Half the feed down a ramp
    is the least, whether the ramp's is below the feed or, as cutters that go down well may have it,
    above; and a feed that is lower by itself stays."""
    work = work_of(FLAT, level(), 2.0)

    def feed(ramp: float, asked: float = FEED) -> float:
        run = replace(work.cutting, feed=FEED, finish=FEED, ramp=ramp)
        down = ((-60.0, 0.0, 9.0), (-40.0, 0.0, 9.0), (-37.0, 0.0, 3.0), (10.0, 0.0, 3.0))
        moves = [rapid(*down[0]), *(line(x, y, z, asked) for x, y, z in down[1:])]
        return fed(moves, replace(work, cutting=run))[2].feed

    assert feed(1500.0) == pytest.approx(750.0)
    assert feed(2.0 * FEED) == pytest.approx(0.5 * FEED)
    assert feed(400.0) == pytest.approx(0.1 * FEED)
    assert feed(1500.0, asked=500.0) == 500.0


@pytest.mark.whole
@pytest.mark.parametrize(
    ("cutter", "step"), [(FLAT, 2.0), (BULL, 3.0), (BALL, 4.0)], ids=["flat", "bull", "ball"]
)
def test_no_stretch_at_the_feed_of_lines_meets_much_more_than_a_line(
    cutter: Cutter, step: float
) -> None:
    """Ground is cut into squares of 0.25; a stretch of one diameter of way may newly cover half as
    much again as lines at their distance."""
    work = work_of(cutter, hill(), step)
    # a ball of 10 at a depth of 2 cuts 2 sqrt(2 (10 - 2)) = 8 wide; ridges of 0.05 stand between
    # lines 2 sqrt(2 5 0.05 - 0.05²) = 1.41 apart
    across, beside = (8.0, 1.41) if cutter is BALL else (cutter.diameter, step)
    moves = [move for move in moves_of(work) if move.feed > 0.0]
    ends = np.array([(move.x, move.y) for move in moves])
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ends, axis=0).T))])
    at = np.arange(0.0, way[-1], 0.5)
    places = np.column_stack([np.interp(at, way, ends[:, k]) for k in (0, 1)])
    feeds = np.array([move.feed for move in moves])[
        np.minimum(np.searchsorted(way, at), len(way) - 1)
    ]
    new = newly(places, across / 2.0)
    count = round(across / 0.5)
    sums = np.concatenate([[0.0], np.cumsum(new)])
    slow = np.concatenate([[0], np.cumsum(feeds < FAST)])
    widths = (sums[count:] - sums[:-count]) / across
    wholly_fast = slow[count:] == slow[:-count]
    assert widths[wholly_fast].max() < 1.5 * beside
    # A plan that crept everywhere would pass too. Teeth of a comb end in whole wood, so that a
    # sixth of the way of the flat one is slow.
    assert wholly_fast.mean() > 0.8
    # a ball begins at the side of the blank and meets half its width there
    assert widths.max() > 0.5 * across


def newly(places: Array, radius: float) -> Array:
    size = 0.25
    x = np.arange(-LENGTH / 2 + size / 2, LENGTH / 2, size)
    y = np.arange(-WIDTH / 2 + size / 2, WIDTH / 2, size)
    fresh = np.ones((len(x), len(y)), dtype=bool)
    new = np.zeros(len(places))
    for k, (px, py) in enumerate(places.tolist()):
        i = slice(*np.searchsorted(x, (px - radius, px + radius)))
        j = slice(*np.searchsorted(y, (py - radius, py + radius)))
        inside = (x[i, None] - px) ** 2 + (y[j] - py) ** 2 <= radius**2
        new[k] = np.count_nonzero(fresh[i, j] & inside) * size**2
        fresh[i, j] &= ~inside
    return new
