"""Skim paths: whole blank swept, centre kept near the blank, entries from outside, stops where they belong."""

from __future__ import annotations

import itertools
import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, box

from corepath.errors import CorepathError
from corepath.motion.cutter import Cutter, Cutting
from corepath.motion.program import Kind, Pass, Zero
from corepath.operations import skim
from corepath.work.model import Facing, Obstacle, Work


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
    return [(move.x, move.y) for move in stretch.moves if move.kind is Kind.LINE and abs(move.z - z) < 1e-9]


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
    (alone, combined) = skim.plan(work)
    for made in (alone, combined):
        track = places_at(made.passes[0], 13.0)
        swept = LineString(track).buffer(diameter / 2, quad_segs=32)
        assert swept.contains(work.blank)
        near = work.blank.buffer(diameter / 2 + 2.0)
        assert all(near.covers(shapely.Point(place)) for place in track)


def test_neighbouring_lines_overlap_as_asked() -> None:
    """Wider steps would leave ridges where the cutter's edge is worn; more lines than needed cost minutes."""
    places = skim.line_places(-240.0, 240.0, 10.0, 15.0)
    steps = [b - a for a, b in itertools.pairwise(places)]
    assert max(steps) <= 15.0 + 1e-9
    assert len(places) == math.ceil((480 - 19) / 15) + 1


def test_one_file_a_plane_and_one_with_stops() -> None:
    """A missing stop would cut past the plane at which the casting shows."""
    programs = skim.plan(make_work())
    assert [made.stem for made in programs] == [f"05-B-skim-pass-{k}" for k in (1, 2, 3, 4)] + ["05-B-skim-all"]
    assert [made.combined for made in programs] == [False] * 4 + [True]
    assert {made.name for made in programs} == {"skim"}
    lows = [min(move.z for move in stretch.moves) for stretch in programs[-1].passes]
    assert lows == [12.5, 12.0, 11.5]


def test_entry_is_from_outside_and_rapids_keep_clear() -> None:
    """A plunge into the blank burns it; a rapid through it breaks the cutter."""
    work = make_work()
    free = work.blank.buffer(work.cutter.radius)
    for made in skim.plan(work):
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
    heights = sorted({move.z for move in skim.plan(work)[0].moves if move.kind is Kind.LINE}, reverse=True)
    drops = [a - b for a, b in zip([13.6, *heights], heights, strict=False)]
    assert heights[-1] == 9.0
    assert max(drops) <= 2.0 + 1e-9


def test_an_obstacle_in_the_way_is_named() -> None:
    """A path through a clamp breaks the cutter; one below the cut is no trouble."""
    with pytest.raises(CorepathError, match=r"obstacle at x 100\.0 to 130\.0"):
        skim.plan(make_work(obstacles=(Obstacle(box(100, 30, 130, 60), 20.0),)))
    assert skim.plan(make_work(obstacles=(Obstacle(box(100, 30, 130, 60), 11.0),)))
