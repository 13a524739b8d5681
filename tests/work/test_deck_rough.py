"""What roughing leaves for the finishing cutter, against planes whose answer is worked out by
hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import box

from corepath.board.deck.surface import DeckSurface
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Zero
from corepath.work.cutting.deck_rough import NOTHING, THINNED, rough_left, rough_rows
from corepath.work.works import Deck, Work

Array = NDArray[np.float64]
FLAT = Cutter(1, "flat", 12.0, 0.0, 2, 30.0, 40.0)
LEAVE, TOP = 0.5, 60.0


def plane(along: float, across: float) -> DeckSurface:
    xs, ys = np.arange(-80.0, 81.0), np.arange(-60.0, 61.0)
    return DeckSurface(xs, ys, 20.0 + along * xs[:, None] + across * ys[None, :], 4.0)


def roughing(along: float, across: float) -> tuple[Work, Deck]:
    blank = box(-80, -60, 80, 60)
    deck = Deck(blank, plane(along, across), TOP, 0.05, 0.01, LEAVE)
    cutting = Cutting(16000.0, 3000.0, 1500.0, 900.0, 4.0, 10.0)
    zero = Zero(0.0, 0.0, 0.0, "the bed", True)
    return Work(
        7,
        "C",
        "deck-rough",
        FLAT,
        cutting,
        zero,
        blank,
        TOP,
        70.0,
        4.0,
        (0.0, 0.0),
        True,
        deck=deck,
    ), deck


@pytest.mark.parametrize("slope", [0.1, -0.1])
def test_a_slope_across_the_lines_leaves_what_it_rises_over_one_step(slope: float) -> None:
    """Twelve lines 10 apart over 120 mm, the first 5 inside the low edge, where the rim of 6 rests
    11 mm farther up.

    Between lines it is 10 mm: a place just out of reach of one line is cut from the next.
    """
    work, deck = roughing(0.0, slope)
    assert np.diff(rough_rows(work, deck)) == pytest.approx(10.0)
    left = rough_left(work, deck) - NOTHING - THINNED - LEAVE
    assert 11.0 * 0.1 - 1e-6 <= left <= 11.0 * 0.1 + 0.06


def test_a_slope_along_the_lines_leaves_more_at_the_low_end_alone() -> None:
    """Lines run half a millimetre over the low end, where the rim of 6 rests 5.5 to 6 mm farther
    up."""
    work, deck = roughing(0.1, 0.0)
    left = rough_left(work, deck) - NOTHING - THINNED - LEAVE
    assert 5.5 * 0.1 <= left <= 6.0 * 0.1 + 1e-6


def test_never_more_than_stands_there() -> None:
    """Stock that ends 0.3 above the plane's lowest place cannot leave more than that."""
    work, deck = roughing(0.0, 0.0)
    low = replace(deck, top=20.3)
    assert rough_left(work, low) == pytest.approx(0.3)
