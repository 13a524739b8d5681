"""Skim paths: whole blank swept, centre kept near the blank, entries from outside, stops where they
belong."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, box

from corepath.errors import CorepathError
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Kind, Move, Pass, Zero
from corepath.operations import programs
from corepath.operations.facing import skim_paths as skim
from corepath.work.keepoff import spared
from corepath.work.works import Facing, Obstacle, Work


def make_work(
    length: float = 240.0,
    width: float = 90.0,
    diameter: float = 20.0,
    overlap: float = 0.25,
    planes: tuple[float, ...] = (13.0, 12.5, 12.0, 11.5),
    first_stop: int = 1,
    depth: float = 3.0,
    obstacles: tuple[Obstacle, ...] = (),
) -> Work:
    blank = box(-length / 2, -width / 2, length / 2, width / 2)
    return Work(
        order=5,
        setup="B",
        name="skim",
        cutter=Cutter(3, "flat", diameter, 0.0, 2, 30.0, 40.0),
        cutting=Cutting(16000.0, 3000.0, 1500.0, 900.0, depth, diameter * (1 - overlap)),
        zero=Zero(0.0, 0.0, 0.0, "the bed", True),
        blank=blank,
        stock_top=13.6,
        clear=23.6,
        lowest=planes[-1],
        park=(0.0, 60.0),
        arcs=True,
        facing=Facing(blank, 13.6, planes, first_stop),
        obstacles=obstacles,
    )


def places_at(stretch: Pass, z: float) -> list[tuple[float, float]]:
    return [
        (move.x, move.y)
        for move in stretch.moves
        if move.kind is Kind.LINE and abs(move.z - z) < 1e-9
    ]


@settings(derandomize=True, max_examples=25, deadline=None)
@given(
    length=st.floats(60, 1500),
    width=st.floats(8, 500),
    diameter=st.floats(6, 40),
    overlap=st.floats(0.05, 0.8),
)
def test_each_plane_sweeps_the_whole_blank_and_stays_near_it(
    length: float, width: float, diameter: float, overlap: float
) -> None:
    """An unswept strip or corner would bear on the bed in C and tilt the board."""
    work = make_work(length, width, diameter, overlap, planes=(13.0,), first_stop=0)
    (alone, combined) = skim.skim_programs(work)
    for made in (alone, combined):
        track = places_at(made.passes[0], 13.0)
        swept = LineString(track).buffer(diameter / 2, quad_segs=32)
        assert swept.contains(work.blank)
        near = work.blank.buffer(diameter / 2 + 2.0)
        assert all(near.covers(shapely.Point(place)) for place in track)


def test_neighbouring_lines_overlap_as_asked() -> None:
    """Wider steps would leave ridges where the cutter's edge is worn; more lines than needed cost
    minutes."""
    places = skim.line_places(-240.0, 240.0, 10.0, 15.0)
    steps = [b - a for a, b in itertools.pairwise(places)]
    assert max(steps) <= 15.0 + 1e-9
    assert len(places) == math.ceil((480 - 19) / 15) + 1


def test_one_file_a_plane_and_one_with_stops() -> None:
    """A missing stop would cut past the plane at which the casting shows."""
    programs = skim.skim_programs(make_work())
    assert [made.stem for made in programs] == [f"05-B-skim-pass-{k}" for k in (1, 2, 3, 4)] + [
        "05-B-skim-all"
    ]
    assert [made.combined for made in programs] == [False] * 4 + [True]
    assert {made.name for made in programs} == {"skim"}
    lows = [min(move.z for move in stretch.moves) for stretch in programs[-1].passes]
    assert lows == [12.5, 12.0, 11.5]


def test_entry_is_from_outside_and_rapids_keep_clear() -> None:
    """A plunge into the blank burns it; a rapid through it breaks the cutter."""
    work = make_work()
    free = work.blank.buffer(work.cutter.radius)
    for made in skim.skim_programs(work):
        for stretch in made.passes:
            assert stretch.moves[0].kind is Kind.RAPID
            assert stretch.moves[0].z == work.clear
            assert stretch.moves[-1].kind is Kind.RAPID
            assert stretch.moves[-1].z == work.clear
            for before, move in zip(stretch.moves, stretch.moves[1:], strict=False):
                if move.kind is Kind.RAPID:
                    assert (before.x, before.y) == (move.x, move.y)
                    assert move.z >= work.stock_top + 1.0
                if (before.x, before.y) == (move.x, move.y) and move.z < work.stock_top:
                    assert not free.intersects(shapely.Point(move.x, move.y))


def test_a_deep_plane_is_cut_in_layers() -> None:
    """A cut deeper than the cutter takes would stall it or tear the grain."""
    work = make_work(planes=(9.0,), first_stop=0, depth=2.0)
    heights = sorted(
        {move.z for move in skim.skim_programs(work)[0].moves if move.kind is Kind.LINE},
        reverse=True,
    )
    drops = [a - b for a, b in zip([13.6, *heights], heights, strict=False)]
    assert heights[-1] == 9.0
    assert max(drops) <= 2.0 + 1e-9


def swept(work: Work, moves: tuple[Move, ...], z: float) -> shapely.Geometry:
    """What the cutter sweeps at depth `z`, from the moves alone."""
    pairs = itertools.pairwise(moves)
    lines = [LineString([(a.x, a.y), (b.x, b.y)]) for a, b in pairs if max(a.z, b.z) < z + 1e-6]
    return shapely.union_all([one.buffer(work.cutter.radius, quad_segs=32) for one in lines])


CLAMPS = {
    "in a corner": (box(100, 30, 130, 60),),
    "in the middle": (box(-30, -10, -10, 5),),
    "at an edge": (box(20, -50, 50, -30),),
    "at an end, over many lines": (box(90, -30, 140, 30),),
    "three": (box(100, 30, 130, 60), box(-30, -10, -10, 5), box(20, -50, 50, -30)),
    "two whose zones meet": (box(-40, -10, -20, 10), box(-5, -12, 15, 8)),
    "slanted": (Polygon([(-60, -20), (-20, 10), (-28, 20), (-66, -8)]),),
    "across the whole width": (box(-5, -60, 5, 60),),
}


@pytest.mark.parametrize("clamps", CLAMPS.values(), ids=CLAMPS.keys())
def test_obstacles_are_gone_round_and_nothing_else_is_left(clamps: tuple[Polygon, ...]) -> None:
    """A path through a clamp breaks the cutter; wood left that could be reached lifts the board in
    C."""
    work = spared(
        make_work(
            planes=(13.0,), first_stop=0, obstacles=tuple(Obstacle(clamp, 20.0) for clamp in clamps)
        )
    )
    assert work.facing is not None
    assert work.facing.spare is not None
    made = skim.skim_programs(work)[0]
    cut = swept(work, made.moves, 13.0)
    for clamp in clamps:
        assert cut.distance(clamp) > 0.45
    left = work.blank.difference(cut)
    assert left.difference(work.facing.spare.buffer(0.01)).area < 1e-6
    assert work.facing.spare.area - left.area < 0.5


@pytest.mark.parametrize("clamps", CLAMPS.values(), ids=CLAMPS.keys())
def test_beside_obstacles_the_cutter_comes_down_where_it_is_clear(
    clamps: tuple[Polygon, ...],
) -> None:
    """A plunge into solid wood burns it: down only beside the blank, where it was cut before, or
    along a ramp."""
    work = spared(
        make_work(planes=(12.5, 12.0), obstacles=tuple(Obstacle(clamp, 20.0) for clamp in clamps))
    )
    made = skim.skim_programs(work)[1]
    cut: list[shapely.Geometry] = []
    for before, move in itertools.pairwise(made.moves):
        way = LineString([(before.x, before.y), (move.x, move.y)])
        if (before.x, before.y) == (move.x, move.y) and move.z < min(before.z, 12.5):
            disc = (
                shapely.Point(move.x, move.y)
                .buffer(work.cutter.radius - 0.05)
                .intersection(work.blank)
            )
            assert disc.difference(shapely.union_all(cut).buffer(0.02)).area < 0.05
        elif move.z < min(before.z - 1e-9, 12.5) and move.kind is Kind.LINE:
            assert (before.z - move.z) / way.length < math.tan(
                math.radians(work.cutter.ramp_angle)
            ) + 1e-6
        if move.kind is Kind.RAPID and way.length > 0:
            assert min(before.z, move.z) == work.clear
        if max(before.z, move.z) < 12.0 + 1e-6:
            cut.append(way.buffer(work.cutter.radius, quad_segs=32))


def test_an_obstacle_below_the_cut_is_no_trouble() -> None:
    """Going round what lies lower would leave wood for nothing."""
    low = spared(make_work(obstacles=(Obstacle(box(100, 30, 130, 60), 11.0),)))
    assert low.facing is not None
    assert low.facing.spare is None
    assert skim.skim_programs(low) == skim.skim_programs(make_work())


def test_the_collet_keeps_off_what_stands_higher_than_the_cutter_is_long() -> None:
    """The nut is wider than the cutter: where it comes as low as a clamp's top, it is what would
    hit it."""
    clamp = Obstacle(box(-10, -10, 10, 10), 60.0)
    # sticks out 40: the collet is at 53
    made = make_work(planes=(13.0,), first_stop=0, obstacles=(clamp,))
    work = spared(replace(made, clear=75.0))
    cut = swept(work, skim.skim_programs(work)[0].moves, 13.0)
    assert cut.distance(clamp.area) == pytest.approx(20.0 - 10.0 + 0.5, abs=0.03)


def test_gaps_are_passed_by_the_quicker_way() -> None:
    """Round a small clamp the cutter stays down; over a long one it goes up where that takes less
    time."""
    small = spared(
        make_work(planes=(13.0,), first_stop=0, obstacles=(Obstacle(box(-4, -4, 4, 4), 20.0),))
    )
    lifts = [
        m for m in skim.skim_programs(small)[0].moves if m.kind is Kind.RAPID and m.z == small.clear
    ]
    long = spared(
        make_work(
            600.0, planes=(13.0,), first_stop=0, obstacles=(Obstacle(box(-200, -9, 200, 9), 20.0),)
        )
    )
    more = [
        m for m in skim.skim_programs(long)[0].moves if m.kind is Kind.RAPID and m.z == long.clear
    ]
    assert len(more) > len(lifts)


def test_no_room_at_all_is_refused_in_words() -> None:
    """An empty file would pass for a skim."""
    with pytest.raises(CorepathError, match="no room at all"):
        skim.skim_programs(make_work(obstacles=(Obstacle(box(-300, -300, 300, 300), 20.0),)))


def test_passes_keep_their_heights_where_feeds_are_slowed() -> None:
    """The writer names a pass by its planes; where they were lost, files counted passes instead."""
    work = make_work(first_stop=3)
    assert work.facing is not None
    for made, planned in zip(programs(work), skim.skim_programs(work), strict=True):
        planes = [one.planes for one in made.passes]
        assert planes == [one.planes for one in planned.passes]
        assert sum(planes, ())[-1] in work.facing.planes
