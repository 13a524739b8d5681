"""The feed over bores that the deck opens, also where the path is an arc."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import box

from corepath.board.deck.surface import DeckSurface
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import read_program
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Zero
from corepath.readback.motion.drilled import check_openings
from corepath.stock.path import lay
from corepath.work.works import Deck, Opening, Work

FLAT = Cutter(1, "flat", 10.0, 0.0, 2, 30.0, 40.0)


@pytest.mark.parametrize(
    ("radius", "feed", "lines"), [(20, 3000, [6]), (20, 1500, []), (30, 3000, []), (28, 3000, [6])]
)
def test_an_arc_over_a_bore_is_held_to_half_feed(radius: int, feed: int, lines: list[int]):
    """Half a turn about the middle past a bore of 8 at X20, which a cutter of 10 reaches from 9
    mm off: the arc of 30 passes at 10, that of 28 at 8, while the chords of all pass at 20."""
    blank = box(-100, -50, 100, 50)
    xs, ys = np.arange(-110.0, 111.0), np.arange(-60.0, 61.0)
    level = DeckSurface(xs, ys, np.full((len(xs), len(ys)), 8.0), 8.0)
    bore = Opening("I1", 20.0, 0.0, 8.0, 12.0)
    deck = Deck(blank, level, 12.0, 0.05, 0.01, 0.0, openings=(bore,))
    run, zero = Cutting(16000.0, 3000.0, 1500.0, 900.0, 3.0, 7.0), Zero(0, 0, 0, "", False)
    work = Work(
        8, "C", "deck", FLAT, run, zero, blank, 12.0, 22.0, 7.9, (0.0, 0.0), True, deck=deck
    )
    text = f"G21 G90\nG0 Z22\nG0 X0 Y-{radius}\nF1500\nG1 Z8\nG3 Y{radius} I0 J{radius} F{feed}\n"
    findings = Findings("x.nc")
    path = lay(read_program(text, "x.nc"), (0, 0, 0), FLAT, 12.0, 0.0005, findings)
    check_openings(work, path, findings)
    assert [one.line for one in findings if one.kind == "feed-too-high"] == lines
