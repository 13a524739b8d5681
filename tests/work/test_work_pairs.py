"""Which cutters share a pocket: what reaches, what it leaves, and the clock that picks between ways
alike."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest
import shapely
from shapely import Point, Polygon, box

from corepath.job.load import load_job
from corepath.job.model import CutterSection, Job
from corepath.motion.cutter import Cutter, Cutting
from corepath.planning.prepare import prepare_job
from corepath.work.cutting.cutters import Chosen, Need, candidates, choose
from corepath.work.cutting.pairs import CHANGE, Share, _ids, shares
from corepath.work.cutting.reach import largest_left, passes, reached
from corepath.work.works import Pocket

SAMPLES = Path(__file__).parents[2] / "samples"

SQUARE = box(0, 0, 40, 30)
NECKED = box(0, 0, 20, 20).union(box(19, 8, 41, 13)).union(box(40, 0, 60, 20))


def cutter(number: int, diameter: float) -> Chosen:
    run = Cutting(18000, 1000, 500, 300, diameter / 2, 0.4 * diameter)
    return Chosen(Cutter(number, "flat", diameter, 0.0, 2, 20.0, 28.0), run)


def by_area(share: Share) -> float:
    """Minutes as area over diameter squared: a large cutter is quicker."""
    left = sum(
        p.area.area if p.cleared is None else p.area.difference(p.cleared).area
        for p in share.pockets
    )
    return 10.0 * left / share.chosen.cutter.diameter**2 / 100.0


def pockets(*areas: Polygon) -> tuple[Pocket, ...]:
    return tuple(Pocket(f"P{k}", area, 10.0, 1.0) for k, area in enumerate(areas, 1))


def test_reach_of_a_square_and_a_neck() -> None:
    """A corner that counts as reached, or a neck that a cutter is said to pass."""
    assert largest_left(SQUARE, 4.0) == pytest.approx(4 * (math.sqrt(2) - 1), abs=0.003)
    assert largest_left(Point(0, 0).buffer(9, quad_segs=64), 4.0) == 0.0
    assert math.isinf(largest_left(box(0, 0, 5, 5), 4.0))
    assert passes(NECKED, 2.4) and not passes(NECKED, 2.6)
    first, second = reached(NECKED, 4.0)
    assert first.bounds[2] < 20.01 + 4 and second.bounds[0] > 40 - 4.01


def test_one_cutter_where_it_leaves_nothing_of_note() -> None:
    """A change of cutter for nothing."""
    round_one = pockets(Point(0, 0).buffer(9, quad_segs=64))
    found = shares(cutter(2, 8), [cutter(2, 8), cutter(1, 4)], round_one, by_area)
    assert [(share.chosen.cutter.number, share.part) for share in found] == [(2, 1)]


def test_a_large_one_first_and_a_small_one_for_the_corners_where_that_is_quicker() -> None:
    """The small cutter made to clear it all; or corners left although it is listed."""
    large = pockets(box(0, 0, 400, 300))
    first, second = shares(cutter(2, 8), [cutter(2, 8), cutter(1, 4)], large, by_area)
    assert (first.chosen.cutter.number, second.chosen.cutter.number) == (2, 1)
    assert (first.part, second.part) == (1, 2)
    assert [p.id for p in first.pockets] == [p.id for p in second.pockets] == ["P1"]
    cleared = second.pockets[0].cleared
    assert cleared is not None and shapely.equals_exact(cleared, first.pockets[0].area, 1e-9)
    assert second.pockets[0].area == large[0].area
    small = pockets(box(0, 0, 20, 16))
    assert by_area(Share(cutter(1, 4), small)) - by_area(Share(cutter(2, 8), small)) < CHANGE
    (alone,) = shares(cutter(2, 8), [cutter(2, 8), cutter(1, 4)], small, by_area)
    assert alone.chosen.cutter.number == 1, "changing costs more than it saves"


def test_in_a_ring_a_larger_cutter_that_is_listed_takes_the_bulk() -> None:
    """14 wide, for which 8 is an easy fit: 12 has 0.8 on either side, 0.2 of it for the finishing
    lap. Only where it saves more than the change that it needs, and never in a pocket without an
    island, whose helix it would fill."""
    edge = box(-300, -150, 300, 150).buffer(60, quad_segs=64)
    ring = edge.buffer(7, quad_segs=64).difference(edge.buffer(-7, quad_segs=64))
    listed = [cutter(3, 13.5), cutter(2, 12), cutter(1, 8)]
    (alone,) = shares(cutter(1, 8), listed, pockets(ring), by_area, fitted=1, leave=0.2)
    assert alone.chosen.cutter.number == 2, "13.5 leaves 0.25: no room for a finishing lap"
    slow = {1: 10.0, 2: 8.5, 3: 1.0}
    kept = [
        shares(
            cutter(1, 8), listed, pockets(ring), lambda one: slow[one.chosen.cutter.number],
            fitted=fitted, leave=0.2,
        )
        for fitted in (1, 2, None)
    ]  # fmt: skip
    assert [found[0].chosen.cutter.number for found in kept] == [1, 2, 2]
    (round_one,) = shares(cutter(1, 8), listed, pockets(Point(0, 0).buffer(7)), by_area, leave=0.2)
    assert round_one.chosen.cutter.number == 1


def test_a_larger_cutter_first_and_the_usual_one_for_what_it_left() -> None:
    """A notch that 8 enters and 12 does not: the bulk by 12, the notch by 8, in two files."""
    edge = box(-300, -150, 300, 150).buffer(60, quad_segs=64)
    ring = edge.buffer(7, quad_segs=64).difference(edge.buffer(-7, quad_segs=64))
    notched = ring.union(box(-4.2, 210, 4.2, 240))
    listed = [cutter(2, 12), cutter(1, 8)]
    first, second = shares(cutter(1, 8), listed, pockets(notched), by_area, leave=0.2)
    assert (first.chosen.cutter.number, second.chosen.cutter.number) == (2, 1)
    assert (first.part, second.part) == (1, 2)
    assert second.pockets[0].cleared is not None


def test_the_clock_picks_the_pair_not_the_size() -> None:
    """Always the largest first, although a middle one is quicker in the end."""
    slow = dict.fromkeys((3,), 100.0)

    def minutes(share: Share) -> float:
        return by_area(share) + slow.get(share.chosen.cutter.number, 0.0)

    listed = [cutter(3, 10), cutter(2, 8), cutter(1, 4)]
    first, _ = shares(cutter(3, 10), listed, pockets(box(0, 0, 400, 300)), minutes)
    assert first.chosen.cutter.number == 2


def test_pieces_that_a_neck_parts_get_ids_of_their_own() -> None:
    """Two pockets of one name, of which the read-back sees only one."""
    wide = box(0, 0, 200, 200).union(box(199, 88, 241, 93)).union(box(240, 0, 440, 200))
    first, second = shares(cutter(2, 8), [cutter(2, 8), cutter(1, 4)], pockets(wide), by_area)
    assert [p.id for p in first.pockets] == ["P1 a", "P1 b"]
    assert [p.id for p in second.pockets] == ["P1"]


def test_too_narrow_for_every_listed_cutter_is_left_to_be_refused() -> None:
    """A job that is planned although no listed cutter passes: the path's error names the place."""
    narrow = pockets(box(0, 0, 20, 20).union(box(19, 9, 41, 12)).union(box(40, 0, 60, 20)))
    (share,) = shares(cutter(2, 8), [cutter(2, 8), cutter(1, 4)], narrow, by_area)
    assert share.chosen.cutter.number == 2 and share.pockets == narrow


@pytest.fixture(scope="module")
def coupon() -> Job:
    return load_job(SAMPLES / "coupon.toml")


def listed(job: Job, *sections: CutterSection) -> Job:
    return job.model_copy(update={"cutter": sections})


def test_of_equal_cutters_the_one_that_presses_down_cuts_over_a_thin_floor(coupon: Job) -> None:
    """A floor of little more than a millimetre lifted and torn although a down-cut cutter is in the
    rack."""
    up = coupon.cutter[1].model_copy(update={"number": 1})
    down = up.model_copy(update={"number": 9, "helix": "down"})
    job = listed(coupon, up, down)
    need = Need("the groove", ("flat",), 14.0, 9.0, "groove", thin=True)
    found = choose(job, need)
    assert isinstance(found, Chosen) and found.cutter.number == 9
    assert [one.cutter.number for one in candidates(job, need)] == [9]
    other = choose(job, dataclasses.replace(need, thin=False))
    assert isinstance(other, Chosen) and other.cutter.number == 1


def test_an_up_cut_cutter_over_a_thin_floor_is_said(coupon: Job) -> None:
    """Nobody is told to hold the floor down."""

    def watched(helix: str) -> list[str]:
        sections = tuple(section.model_copy(update={"helix": helix}) for section in coupon.cutter)
        works = prepare_job(listed(coupon, *sections), SAMPLES).works
        return [
            line for work in works if work.name in ("groove", "plug-pockets") for line in work.watch
        ]

    assert sum("up-cut" in line for line in watched("up")) == 2
    assert not any("up-cut" in line for line in watched("down"))


def test_stepover_of_the_cutter_is_that_of_the_rings(coupon: Job) -> None:
    """A key of the job that changes nothing."""
    sections = tuple(section.model_copy(update={"stepover": 1.1}) for section in coupon.cutter)
    works = prepare_job(listed(coupon, *sections), SAMPLES).works
    assert {work.cutting.stepover for work in works if work.name in ("groove", "plug-pockets")} == {
        1.1
    }


def test_swallow_tail_is_cut_by_two() -> None:
    """The sample whose tips the large cutter cannot enter is given to it alone."""
    job = load_job(SAMPLES / "swallow-620.toml")
    works = prepare_job(job, SAMPLES).works
    stems = [(work.stem, work.cutter.diameter) for work in works if work.name == "groove"]
    assert stems == [("03-A-groove", 8.0), ("03-A-groove-2", 4.0)]


def test_more_pieces_than_letters_have_names_of_their_own() -> None:
    """The 27th piece of a pocket had no letter left, and no plan came of it."""
    names = _ids("P1", 60)
    assert names[0] == "P1 a" and names[25:28] == ["P1 z", "P1 aa", "P1 ab"]
    assert len(set(names)) == 60 and _ids("P1", 1) == ["P1"]
