"""The deck's feed over bores from below: half within reach of their rims, whole elsewhere, and the
same path."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import box

from corepath.board.deck.surface import DeckSurface
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Kind, Move, Zero, line, rapid
from corepath.operations.deck.bore_openings import opening_words, slowed
from corepath.work.works import Deck, Opening, Work

FLAT = Cutter(1, "flat", 10.0, 0.0, 2, 30.0, 40.0)


def work(*openings: Opening) -> Work:
    blank = box(-100, -50, 100, 50)
    xs, ys = np.arange(-110.0, 111.0), np.arange(-60.0, 61.0)
    level = DeckSurface(xs, ys, np.full((len(xs), len(ys)), 8.0), 8.0)
    return Work(
        8, "C", "deck", FLAT, Cutting(16000.0, 3000.0, 1500.0, 900.0, 3.0, 7.0), Zero(0.0, 0.0, 0.0,
        "the bed", True),
        blank, 12.0, 22.0, 7.9, (0.0, 0.0), True, deck=Deck(blank, level, 12.0, 0.05, 0.01, 0.0,
        openings=openings),
    )  # fmt: skip


def feeds_along(
    moves: list[Move], step: float = 0.05
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places (n, 3) all along the cuts, and the feed there."""
    places, feeds = [], []
    for before, move in itertools.pairwise(moves):
        if move.kind != Kind.LINE:
            continue
        a, b = np.array(before[1:4]), np.array(move[1:4])
        shares = np.arange(0.5, max(int(np.linalg.norm(b - a) / step), 1)) / max(
            int(np.linalg.norm(b - a) / step), 1
        )
        places.append(a + shares[:, None] * (b - a))
        feeds.append(np.full(len(shares), move.feed))
    return np.concatenate(places), np.concatenate(feeds)


LINES = [
    rapid(-110.0, 0.0, 22.0), rapid(-110.0, 0.0, 8.0), line(110.0, 0.0, 8.0, 3000.0), line(110.0,
        7.0, 8.0, 3000.0),
    line(-110.0, 20.0, 8.0, 3000.0), rapid(-110.0, 20.0, 22.0),
]  # fmt: skip


def test_half_feed_within_reach_of_the_rim_and_nowhere_else() -> None:
    bores = (Opening("I1", 20.0, 3.0, 8.0, 12.0), Opening("I2", -40.0, 12.0, 8.0, 12.0))
    places, feeds = feeds_along(slowed(LINES, work(*bores)))
    away = np.min(
        [np.hypot(places[:, 0] - bore.x, places[:, 1] - bore.y) for bore in bores], axis=0
    )
    assert (feeds[away < 9.0 - 0.06] == 1500.0).all() and (away < 9.0).sum() > 100
    assert (feeds[away > 9.0 + 0.06] == 3000.0).all()


def test_the_path_stays_the_same() -> None:
    made = slowed(LINES, work(Opening("I1", 20.0, 3.0, 8.0, 12.0)))
    assert [move for move in made if move.kind == Kind.RAPID] == [
        move for move in LINES if move.kind == Kind.RAPID
    ]
    for move in LINES:
        assert any(move[:4] == other[:4] for other in made)
    length = sum(math.dist(a[1:4], b[1:4]) for a, b in itertools.pairwise(made))
    assert length == pytest.approx(
        sum(math.dist(a[1:4], b[1:4]) for a, b in itertools.pairwise(LINES))
    )


def test_a_layer_high_above_a_blind_bore_is_not_slowed() -> None:
    """The bore ends at 8.2; at 9.5 there is sound wood below, at 9.0 the fibres may break out (1 mm
    above)."""
    bore = Opening("I1", 0.0, 0.0, 8.0, 8.2)
    high = [move._replace(z=9.5) if move.z == 8.0 else move for move in LINES]
    low = [move._replace(z=9.0) if move.z == 8.0 else move for move in LINES]
    assert {move.feed for move in slowed(high, work(bore)) if move.kind == Kind.LINE} == {3000.0}
    assert {move.feed for move in slowed(low, work(bore)) if move.kind == Kind.LINE} == {
        1500.0,
        3000.0,
    }


def test_a_way_that_sinks_into_the_rim_is_slowed_though_its_middle_is_high() -> None:
    """As where roughing follows the deck: from 9.9 down to 9.0 within reach, where the fibres break
    out from 9.2 on."""
    bore = Opening("I1", 0.0, 0.0, 8.0, 8.2)
    ramp = [
        rapid(-4.0, 0.0, 22.0),
        rapid(-4.0, 0.0, 9.9),
        line(4.0, 0.0, 9.0, 3000.0),
        rapid(4.0, 0.0, 22.0),
    ]
    places, feeds = feeds_along(slowed(ramp, work(bore)))
    assert feeds[places[:, 2] < 9.2].max() == 1500.0


def test_the_head_names_them_and_nothing_is_said_without() -> None:
    assert opening_words(work()) == () and slowed(LINES, work()) == LINES
    (words,) = opening_words(work(Opening("I1a", 0, 0, 8, 9), Opening("I1b", 9, 0, 8, 9)))
    assert "I1a, I1b" in words and "half feed" in words


def test_a_line_that_only_touches_the_circle_is_left_whole() -> None:
    touching = [
        rapid(-50.0, 9.0, 22.0),
        rapid(-50.0, 9.0, 8.0),
        line(50.0, 9.0, 8.0, 3000.0),
        rapid(50.0, 9.0, 22.0),
    ]
    made = slowed(touching, replace(work(Opening("I1", 0.0, 0.0, 8.0, 12.0))))
    assert {move.feed for move in made if move.kind == Kind.LINE} == {3000.0}
