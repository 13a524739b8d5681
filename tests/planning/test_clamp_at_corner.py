"""A clamp on a corner of the rim: the deck is whole where it matters, and nobody changes a cutter
over the clamp."""

from __future__ import annotations

from pathlib import Path

import pytest
from shapely import Point, Polygon, box

from corepath.caching.folder_store import store_of
from corepath.job.load import load_job
from corepath.job.model import ObstacleSection
from corepath.planning.prepare import prepare_job
from corepath.planning.proving.proof import prove

SAMPLES = Path(__file__).parents[2] / "samples"
CLAMP = ((-120.0, 30.0), (-90.0, 30.0), (-90.0, 45.0), (-120.0, 45.0))


@pytest.mark.whole
def test_a_clamp_on_the_rim_withdraws_no_plan() -> None:
    """Waste beside it, where a slope holds the cutter up, is told as uncut; board and casting are
    cut whole.

    With the widest cutter, of 20 mm, the axis would have to stand 10 mm down the slope from the
    place that it finishes, within 10.5 mm of the clamp: a smaller one is taken.
    """
    job = load_job(SAMPLES / "coupon.toml")
    clamp = ObstacleSection(points=CLAMP, height=30.0, setups=("A", "B", "C"), sawn_off=True)
    prepared = prepare_job(job.model_copy(update={"obstacle": (clamp,)}), SAMPLES)
    assert [check for check in prepared.checks if check.verdict == "fail"] == []
    deck = next(work for work in prepared.works if work.name == "deck")
    assert deck.deck is not None and deck.deck.spare is not None and deck.cutter.diameter < 20.0
    core = Polygon(prepared.board.ring.exterior)
    assert deck.deck.spare.covers(box(-119, 31, -91, 44)) and not deck.deck.spare.intersects(core)
    assert {work.park for work in prepared.works if work.setup == "A"} == {(120.0, 45.0)}, (
        "the clear corner at the back"
    )
    proof = prove(prepared, store=store_of())
    assert (
        proof.readback is not None and [str(finding) for finding in proof.readback.findings] == []
    )
    for one in proof.made:
        stops = one.program.park
        assert Point(stops).distance(Polygon(CLAMP)) > job.machine.collet_diameter / 2.0 + 30.0
