"""Where the record asks for the depth of the groove."""

from pathlib import Path

import pytest
from shapely import Point

from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.stackup.measuring.facts_for_record import facts_of

SAMPLES = Path(__file__).parents[2] / "samples"


def test_the_gauge_is_set_where_the_groove_is() -> None:
    """The outline's ends and the middles of its sides, to the nearest whole mm: further off, it
    stands on the wall."""
    job = load_job(SAMPLES / "coupon.toml")
    board = build_board(job, SAMPLES)
    left, _, right, _ = board.outline.bounds
    places = facts_of(job, "coupon.toml", board).castings["groove"].places
    assert len(places) == 4
    assert [places[0][0], places[2][0]] == pytest.approx([left, right], abs=0.51)
    assert all(board.outline.exterior.distance(Point(place)) < 0.71 for place in places)
    assert places[1][1] > 0.0 > places[3][1]
    assert all(x == round(x) and y == round(y) for x, y in places)
