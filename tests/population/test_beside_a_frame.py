"""A frame keeps a wide cutter from the edge of a drawn board, though it passes round the groove."""

from __future__ import annotations

from pathlib import Path

import pytest

from corepath.planning.prepare import prepare
from tests.population.drawing import draw
from tests.population.judging import write_job

pytestmark = pytest.mark.whole


def test_a_cutter_finishes_a_deck_whose_edge_it_cannot_come_down_to(tmp_path: Path) -> None:
    """The frame begins 117 - 21.5 = 95.5 from the middle, so the axis of a D30 comes to 80.5 and
    its disc ends at 65.5. There, 8 inside the outline (73.6), this deck stands 0.4 over the edge,
    and holds the disc up over the edge band and the casting (to 78.1): 0.3 was left, with ridges of
    0.08 allowed. A D16 comes to 87.5 and ends at 79.5, beyond the casting.
    """
    job = draw(491733, 200)
    assert (job.traits["holding"], job.traits["deck"]) == ("frame", "mesh")
    prepared = prepare(write_job(job, tmp_path))
    deck = next(work for work in prepared.works if work.name == "deck")
    assert deck.deck is not None
    assert deck.deck.area.bounds[3] == pytest.approx(95.5)
    assert deck.cutter.diameter == 16.0
