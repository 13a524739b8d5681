"""Clamps and a frame through the whole chain: planned, written, read back as a stranger would, and
found right."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from shapely import Polygon

from corepath.caching.folder_store import store_of
from corepath.job.load import load_job
from corepath.job.model import Job, ObstacleSection, ScrewSection
from corepath.planning.plan import Plan, plan
from corepath.planning.prepare import prepare_job
from corepath.planning.proving.reading import read_files
from corepath.work.works import Obstacle

SAMPLES = Path(__file__).parents[2] / "samples"


def clamp(
    x0: float, y0: float, x1: float, y1: float, setup: str, sawn_off: bool = False
) -> ObstacleSection:
    points = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return ObstacleSection(points=points, height=25.0, setups=(setup,), sawn_off=sawn_off)


def held(job: Job) -> Job:
    """A clamp sawn off after B, one left standing in C, screws in A, and a frame; no ball, which
    takes the whole stock in one layer and so has no corner to keep out of."""
    return job.model_copy(
        update={
            "cutter": tuple(cutter for cutter in job.cutter if cutter.shape != "ball"),
            "obstacle": (
                clamp(108, 20, 130, 40, "B", sawn_off=True),
                clamp(-130, -40, -113, -25, "C"),
            ),
            "screw": (
                ScrewSection(at=((110, 30), (-112, -30)), head=8.0, head_height=3.0, setups=("A",)),
            ),
            "deck": job.deck.model_copy(update={"margin": 1.4}),
        }
    )


@pytest.fixture(scope="module")
def planned() -> Plan:
    return plan(prepare_job(held(load_job(SAMPLES / "coupon.toml")), SAMPLES), store=store_of())


def test_a_blank_held_by_clamps_plans_cleanly(planned: Plan) -> None:
    """Nothing else is left, no clamp and no frame is touched, no bore stays shut."""
    assert [check.id for check in planned.checks if check.verdict == "fail"] == []
    assert [str(finding) for finding in planned.findings] == []
    assert "05-B-skim-all.nc" in planned.files


def test_what_is_left_uncut_is_said_everywhere(planned: Plan) -> None:
    """In the report, in the head, in the drawing: nobody else would know why a corner stands."""
    entries = {entry["file"]: entry for entry in planned.report["operations"]}
    (skim,) = entries["05-B-skim-all.nc"]["uncut"]
    assert (skim["beside"], skim["sawn_off"]) == (["obstacle 1"], True)
    assert Polygon(skim["outer"]).area == pytest.approx(skim["area"], abs=0.5)
    assert "(Watch: uncut beside obstacle 1" in planned.files["05-B-skim-all.nc"]
    assert "(Watch: a frame 1.4 wide" in planned.files["08-C-deck.nc"]
    for drawing in ("05-B-skim.svg", "08-C-deck.svg"):
        assert 'id="spared"' in planned.files[drawing]
        assert "not cut to depth" in planned.files[drawing]
    assert "uncut" not in entries["03-A-groove.nc"]
    assert {length["setup"] for length in planned.report["dowel_lengths"]} == {"A", "B", "C"}


def test_travel_is_what_the_files_span(planned: Plan) -> None:
    """An estimate may let a machine be chosen that is too short, or refuse one that is not."""
    travel = next(check for check in planned.checks if check.id == "travel")
    rooms = [
        room - (one.extents[axis][1] - one.extents[axis][0])
        for one in planned.made
        for axis, room in enumerate(planned.prepared.job.machine.travel)
    ]
    assert travel.value == pytest.approx(min(rooms))
    assert "at least" not in travel.message


def test_the_read_back_asks_for_all_that_is_not_spared(planned: Plan) -> None:
    """If it took a clamp's word for ground that was merely forgotten, a step would go unseen."""
    works = tuple(
        replace(work, facing=replace(work.facing, spare=None)) if work.facing is not None else work
        for work in planned.prepared.works
    )
    texts = {one.name: one.text for one in planned.made}
    found = read_files(replace(planned.prepared, works=works), texts).findings
    assert "plane" in {finding.kind for finding in found}


def test_the_read_back_finds_a_frame_or_clamp_that_is_cut(planned: Plan) -> None:
    """Told of a wider frame and a wider clamp, the same files touch them."""
    works = []
    for work in planned.prepared.works:
        if work.deck is not None:
            area = work.deck.area.buffer(-0.2, join_style="mitre")
            wider = tuple(Obstacle(one.area.buffer(0.7), one.height) for one in work.obstacles)
            works.append(replace(work, deck=replace(work.deck, area=area), obstacles=wider))
        else:
            works.append(work)
    texts = {one.name: one.text for one in planned.made}
    kinds = {
        f.kind for f in read_files(replace(planned.prepared, works=tuple(works)), texts).findings
    }
    assert {"outside-area", "obstacle"} <= kinds


def test_the_finishing_cutter_keeps_out_of_what_roughing_left_in_corners(planned: Plan) -> None:
    """A corner of 90 degrees keeps (1 - pi/4) R² from a cutter of radius R (elementary): 3.5 deep
    there."""
    rough, finish = (work for work in planned.prepared.ahead if work.deck is not None)
    assert rough.deck is not None and finish.deck is not None and finish.deck.opened is not None
    assert (
        rough.cutter.radius > finish.cutter.radius + 5.0
        and rough.stock_top - rough.lowest > finish.cutting.depth
    )
    inner = finish.deck.area
    left = inner.difference(finish.deck.opened).intersection(
        Polygon([(90, 30), (120, 30), (120, 45), (90, 45)])
    )
    assert left.area == pytest.approx((1.0 - math.pi / 4.0) * rough.cutter.radius**2, rel=0.01)
    spare = finish.deck.spare
    assert spare is not None and spare.covers(left.buffer(-0.05)), "it is told as uncut"
