"""The whole board: ring, island, ids and sizes of what is cast and bored; each fault present and
absent."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corepath.board.footprints import half_span, place_ids, plug_polygon
from corepath.board.make_board import build_board, collect_faults
from corepath.errors import InputError

HERE = Path()


@pytest.fixture
def board(make_job):
    return build_board(make_job(), HERE)


def test_ring_is_what_lies_between_the_two_offsets(board):
    """Both walls at their width from the outline, 0.002 mm at most off; the ring closed round the
    island."""
    outer, inner = board.ring.exterior, board.ring.interiors[0]
    for wall, width in ((outer, 5.0), (inner, 6.0)):
        away = shapely.distance(
            shapely.points(shapely.get_coordinates(wall.segmentize(0.2))), board.outline.exterior
        )
        assert np.abs(away - width).max() < 0.002
    assert len(board.ring.interiors) == 1
    assert board.island.exterior.equals(inner) or board.island.equals(shapely.Polygon(inner))
    assert board.castings[0].id == "groove" and board.castings[0].area is board.ring
    assert board.castings[0].floor == 1.2
    assert board.castings[0].half_span == pytest.approx((188 + 10) / 2, abs=0.01)


def test_ids_floors_and_sizes(make_job):
    """Ids name places in drawings and reports; clearance is on the diameter, floor falls back to
    the groove's."""
    job = make_job(
        {
            "plug.0.at": [[-66, 7], [-30, 12]],
            "plug.1": {
                "name": "P2",
                "at": [[0, 14]],
                "diameter": 8.0,
                "bolt_hole": 3.0,
                "floor": 2.5,
            },
            "insert.0.clearance": 0.4,
        }
    )
    board = build_board(job, HERE)
    assert [c.id for c in board.castings] == ["groove", "P1a", "P1b", "P2"]
    assert [c.floor for c in board.castings] == [1.2, 1.2, 1.2, 2.5]
    place = board.places[0]
    assert (place.id, place.seat.diameter, place.bore) == ("I1", 15.4, 6.9)
    assert [d.at for d in board.dowels] == [(-113, 0), (102, 0)]
    assert place_ids("X", 28)[-3:] == ["Xz", "Xaa", "Xab"]


def test_slot_has_its_length_width_and_angle(make_job):
    """A slot 30 long and 10 wide at 30 degrees: area, extent and lie by closed form."""
    plug = make_job({"plug.0.slot": 30.0, "plug.0.diameter": 10.0, "plug.0.angle": 30.0}).plug[0]
    slot = plug_polygon(plug, 4.0, -2.0)
    assert slot.area == pytest.approx(20 * 10 + math.pi * 25, abs=0.03)
    assert half_span(slot) == pytest.approx(15.0, abs=0.001)
    tip = (4 + 15 * math.cos(math.pi / 6), -2 + 15 * math.sin(math.pi / 6))
    assert slot.exterior.distance(shapely.Point(tip)) < 0.001
    assert slot.exterior.is_ccw and slot.is_valid


@settings(
    max_examples=15,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(halves=st.lists(st.floats(22.0, 35.0), min_size=3, max_size=7), outside=st.floats(1.0, 5.0))
def test_any_outline_gives_ring_and_island_that_do_not_overlap(make_job, halves, outside):
    """Island, ring and rim share no wood and leave none out."""
    xs = np.linspace(-80, 80, len(halves))
    stations = [[-100, 0], *([float(x), h] for x, h in zip(xs, halves, strict=True)), [95, 0]]
    changes = {
        "outline": {"stations": stations},
        "groove.outside": outside,
        "plug": [],
        "insert": [],
    }
    board, faults = collect_faults(
        make_job(changes | {"dowel.0.at": [-114, 0], "dowel.1.at": [110, 0]}), HERE
    )
    if board is None:
        assert faults
        return
    filled = shapely.Polygon(board.ring.exterior)
    assert board.island.area + board.ring.area == pytest.approx(filled.area, rel=1e-12)
    assert filled.contains_properly(board.outline) and board.outline.contains_properly(board.island)
    assert board.blank.contains_properly(filled)


SOUND = {"machine.z_zero": "face", "machine.touch_at": [-115.0, 30.0]}

FAULTS = [
    ({"blank.width": 60.0}, "outline", "beyond the blank"),
    ({"blank.width": 72.0}, "groove.outside", "beyond the blank"),
    ({"groove.inside": 40.0}, "groove.inside", "no wood is left"),
    ({"outline": {"stations": [[-100, 10], [-60, 30], [0, 12], [50, 28], [88, 10]]},
    "groove.inside": 13.0},
     "groove.inside", "falls into 2 pieces"),
    ({"plug.0.at": [[-66, 60]]}, "plug[1].at[1]", "outside the blank"),
    ({"plug.0.at": [[-66, 36]]}, "plug[1].at[1]", "outside the board"),
    ({"plug.0.at": [[-66, 18]]}, "plug[1].at[1]", "reaches into the groove"),
    ({"plug.0.bolt_hole": 14.0}, "plug[1].bolt_hole", "no plug is left"),
    ({"plug.0.slot": 12.0}, "plug[1].slot", "shorter than it is wide"),
    ({"insert.0.at": [[34, -5], [45, -5]]}, "insert[1].at[2]", "overlaps insert I1a"),
    ({"insert.0.at": [[-60, -5]]}, "insert[1].at[1]", "overlaps plug P1"),
    ({"insert.0.flange": 6.0}, "insert[1].flange", "no wider than the barrel"),
    ({"insert.0.name": "P1"}, "insert[1].name", "same name"),
    ({"plug.0.at": [[-66, 7], [-30, 7]], "insert.0.name": "P1a"}, "insert[1].name", "id P1a"),
    ({"dowel.0.at": [-119, 0]}, "dowel[1].at", "beyond the blank"),
    ({"dowel.0.at": [-103, 0]}, "dowel[1].at", "in the groove"),
    ({"dowel.0.at": [0, 0]}, "dowel[1].at", "inside the board"),
    ({"dowel.0.at": [34, -5]}, "dowel[1].at", "overlaps insert I1"),
    ({"dowel.1.at": [-110, 0]}, "dowel[2].at", "overlaps dowel 1"),
    ({"dowel.0.depth_in_bed": 18.0}, "dowel[1].depth_in_bed", "through the spoil board"),
    ({"dowel.0.at": [-113, 3]}, "dowel", "does not fit after the flip about X"),
    ({"dowel.1.at": [113, 0]}, "dowel", "after a half turn"),
    ({"machine.touch_at": None}, "machine.touch_at", "missing"),
    ({"machine.touch_at": [130.0, 0.0]}, "machine.touch_at", "off the blank"),
    ({"machine.touch_at": [-103.0, 0.0]}, "machine.touch_at", "over the groove"),
    ({"machine.touch_at": [-66.0, 7.0]}, "machine.touch_at", "over plug P1"),
    ({"machine.touch_at": [34.0, -5.0]}, "machine.touch_at", "over insert I1"),
    ({"machine.touch_at": [-113.0, 1.0]}, "machine.touch_at", "over dowel 1"),
    ({"board.thickness": 9.0}, "board.thickness", "contradicts"),
    ({"outline": {"dxf": "none.dxf"}}, "outline.dxf", "no such file"),
]  # fmt: skip


def test_sound_job_has_no_fault(make_job):
    """Each fault below is absent here."""
    board, faults = collect_faults(make_job(SOUND), HERE)
    assert faults == [] and board is not None


@pytest.mark.parametrize(("changes", "key", "message"), FAULTS)
def test_each_fault_is_named(make_job, changes, key, message):
    """Key and cause of every wrong input; no board comes of it."""
    board, faults = collect_faults(make_job(SOUND | changes), HERE)
    assert board is None
    assert message in "; ".join(fault.message for fault in faults if fault.key == key)


def test_all_faults_come_at_once(make_job):
    """One run names everything that is wrong."""
    changes = {
        "plug.0.at": [[-66, 60]],
        "groove.inside": 40.0,
        "dowel.0.depth_in_bed": 30.0,
        "board.thickness": 9.0,
    }
    with pytest.raises(InputError) as caught:
        build_board(make_job(changes), HERE)
    keys = [fault.key for fault in caught.value.faults]
    assert keys == ["board.thickness", "groove.inside", "plug[1].at[1]", "dowel[1].depth_in_bed"]


def test_the_allowed_groove_is_allowed(make_job):
    """The message's own limit must work, and a little more must not."""
    stations = [[-100, 10], [-60, 30], [0, 12], [50, 28], [88, 10]]
    changes = {"outline": {"stations": stations}, "groove.inside": 13.0, "plug": [], "insert": []}
    fault = next(f for f in collect_faults(make_job(changes), HERE)[1] if f.key == "groove.inside")
    limit = float(fault.allowed.split()[-1])
    assert not [
        f
        for f in collect_faults(make_job(changes | {"groove.inside": limit}), HERE)[1]
        if "groove" in f.key
    ]
    assert [
        f
        for f in collect_faults(make_job(changes | {"groove.inside": limit + 0.2}), HERE)[1]
        if "groove" in f.key
    ]


def test_wrong_depths_are_no_faults(make_job):
    """Depths are judged by checks, with a table: too thin a blank, floor or dowel must come through
    here."""
    changes = {
        "blank.thickness": 6.0,
        "groove.floor": 0.1,
        "dowel.0.stand": 9.0,
        "insert.0.length": 30.0,
    }
    assert collect_faults(make_job(changes), HERE)[1] == []


@pytest.mark.parametrize(
    ("flip", "dowels", "fits"),
    [
        ("x", [(-113, 0, 5), (102, 0, 5)], True),
        ("x", [(-113, 20, 5), (-113, -20, 5), (104, 0, 5)], True),
        ("x", [(-110, 0, 5), (110, 0, 6)], True),
        ("x", [(-110, 0, 5), (110, 0, 5)], False),
        ("x", [(-110, 0, 5), (109.8, 0, 5)], False),
        ("x", [(-113, 0, 5), (102, 0.02, 5)], False),
        ("x", [(-113, 20, 5), (-113, -20, 6), (104, 0, 5)], False),
        ("y", [(-113, 0, 5), (102, 0, 5)], False),
        ("y", [(0, 41, 4), (0, -39.5, 4)], True),
        ("y", [(0, 41, 4), (0, -41, 4)], False),
        ("y", [(-110, 30, 5), (110, 30, 5), (-108, -30, 5), (108, -30, 5)], True),
    ],
)
def test_dowel_pattern_fits_after_the_flip_and_no_other_way(make_job, flip, dowels, fits):
    """A blank laid down turned would be cut at the wrong end."""
    tables = [
        {"at": [x, y], "diameter": float(d), "depth_in_bed": 7.0, "stand": 3.5}
        for x, y, d in dowels
    ]
    job = make_job({"dowel": tables, "machine.flip_about": flip})
    _, faults = collect_faults(job, HERE)
    assert [fault.key for fault in faults] == ([] if fits else ["dowel"])
    assert fits or faults[0].allowed
