"""Clamps, screws, frames and dowels of a job: what is refused, with which numbers, and what is
not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from shapely import Point, Polygon, box

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.model import HoldSection, Job, ObstacleSection, ScrewSection
from corepath.planning.prepare import Prepared, prepare_job
from corepath.stackup.checks.verdict import Check
from corepath.work.dowel_lengths import dowel_lengths
from corepath.work.holding import head_top, screws_of
from corepath.work.keepoff import park_clear, uncut
from corepath.work.works import Obstacle

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def coupon() -> Job:
    """Blank 240 by 90 by 10.6, board 188 by 63 in it, flipped about X."""
    return load_job(SAMPLES / "coupon.toml")


def clamp(x0: float, y0: float, x1: float, y1: float, **more: Any) -> ObstacleSection:
    points = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return ObstacleSection(points=points, **{"height": 25.0, "setups": ("B",), **more})


def screw(*at: tuple[float, float], **more: Any) -> ScrewSection:
    return ScrewSection(at=at, **{"head": 8.0, "head_height": 3.0, "setups": ("A",), **more})


def prepared(job: Job, **update: Any) -> Prepared:
    return prepare_job(job.model_copy(update=update), SAMPLES)


def found(made: Prepared, id: str) -> Check:
    """The gravest check of this id."""
    return min(
        (c for c in made.checks if c.id == id),
        key=lambda c: ("fail", "caution", "ok").index(c.verdict),
    )


def test_a_clamp_on_the_skimmed_face_fails_unless_sawn_off(coupon: Job) -> None:
    """The step under it would lift the blank in C, and every depth of the deck with it."""
    check = found(prepared(coupon, obstacle=(clamp(108, 20, 130, 40),)), "uncut")
    assert check.verdict == "fail"
    # 12 by 20 mm and 0.5 of clearance
    assert check.value == pytest.approx(-12.5 * 21.0 / 100, abs=0.02)
    assert "obstacle 1 (X 108 to 120, Y 20 to 40)" in check.message
    assert "lift the blank" in check.message
    sawn = prepared(coupon, obstacle=(clamp(108, 20, 130, 40, sawn_off=True),))
    assert found(sawn, "uncut").verdict == "ok"
    skim = next(work for work in sawn.works if work.name == "skim")
    assert any("saw it off before C" in line for line in skim.watch)


def test_what_is_sawn_off_may_hold_nothing_of_the_board(coupon: Job) -> None:
    """Board or casting would be sawn off with it."""
    over = prepared(coupon, obstacle=(clamp(80, -5, 130, 5, sawn_off=True),))
    assert found(over, "uncut").verdict == "fail"


def test_the_mirror_image_in_b_decides(coupon: Job) -> None:
    """The blank lies turned in B: taken as in A, a clamp over the tail would be told from one over
    the nose wrongly."""
    job = coupon.model_copy(update={"hold": HoldSection(B="clamps")})
    on_island = prepared(job, obstacle=(clamp(-90, -8, -80, 8),))
    assert "1 on the island" in found(on_island, "held").message
    beside = prepared(job, obstacle=(clamp(100, -8, 112, 8),))
    assert "island in B" in found(beside, "held").where


def test_a_clamp_by_the_deck_matters_in_the_board_only(coupon: Job) -> None:
    """The rim is cut off anyway; an uncut patch in the board is a spoilt board."""
    rim = prepared(coupon, obstacle=(clamp(113, 20, 130, 40, setups=("C",)),))
    assert found(rim, "uncut").verdict == "ok"
    finish = next(work for work in rim.works if work.name == "deck")
    assert [piece.names for piece in uncut(finish)] == [("obstacle 1",)]
    assert any("uncut beside obstacle 1" in line for line in finish.watch)
    board = found(prepared(coupon, obstacle=(clamp(60, -5, 130, 5, setups=("C",)),)), "uncut")
    assert board.verdict == "fail"
    assert "in the board or its casting" in board.message


def test_obstacles_of_other_setups_leave_nothing_uncut(coupon: Job) -> None:
    """A clamp is not always there: a path round nothing would leave wood for nothing."""
    only_a = prepared(coupon, obstacle=(clamp(113, 20, 130, 40, setups=("A",)),))
    assert all(uncut(work) == () for work in only_a.works)
    assert not [check for check in only_a.checks if check.id == "uncut"]


def test_a_frame_too_wide_is_refused_with_its_most(coupon: Job) -> None:
    """One of the cutters that can finish the deck must come round the groove inside the frame."""
    wide = coupon.deck.model_copy(update={"margin": 5.9})
    with pytest.raises(InputError) as caught:
        prepared(coupon, deck=wide)
    (fault,) = caught.value.faults
    assert (fault.key, fault.value) == ("deck.margin", "5.9")
    assert "2.5 mm are needed for T1 flat D4" in fault.message
    most = float(fault.allowed.split()[2])
    right = prepared(coupon, deck=coupon.deck.model_copy(update={"margin": most - 0.01}))
    decks = [work for work in right.works if work.deck is not None]
    assert all(work.deck.framed for work in decks if work.deck)
    assert all(
        any(f"a frame {most - 0.01:g} wide" in line for line in work.watch) for work in decks
    )
    with pytest.raises(InputError):
        prepared(coupon, deck=coupon.deck.model_copy(update={"margin": most + 0.01}))


def test_a_head_above_the_skim_asks_for_its_counterbore(coupon: Job) -> None:
    """A cutter that meets steel breaks. 10.6 of blank and 3 of head stand over a lowest plane at
    8.4."""
    bad = found(prepared(coupon, screw=(screw((110, 30), setups=("B",)),)), "screws")
    assert bad.verdict == "fail"
    assert bad.value == pytest.approx(8.4 - (10.6 + 3.0), abs=1e-3)
    needed = float(bad.fix.split()[2])
    right = found(
        prepared(coupon, screw=(screw((110, 30), setups=("B",), counterbore=needed + 0.01),)),
        "screws",
    )
    assert right.verdict == "ok"
    assert right.worst == pytest.approx(1.0, abs=0.02)
    less = found(
        prepared(coupon, screw=(screw((110, 30), setups=("B",), counterbore=needed - 0.5),)),
        "screws",
    )
    assert less.verdict != "ok"


def test_a_head_under_the_deck_cannot_lie_deep_enough(coupon: Job) -> None:
    """The rim is cut to the edge's thickness in C: a counterbore below that leaves no wood to
    hold."""
    bad = found(prepared(coupon, screw=(screw((110, 30), setups=("C",)),)), "screws")
    assert bad.verdict == "fail"
    assert "no counterbore is deep enough" in bad.fix


def test_a_screw_in_the_groove_is_refused(coupon: Job) -> None:
    """It would stand in the cutter's way, and in the casting."""
    bad = found(prepared(coupon, screw=(screw((95, 0)),)), "screws")
    assert bad.verdict == "fail"
    assert "groove" in bad.message
    assert found(prepared(coupon, screw=(screw((110, 30)),)), "screws").verdict == "ok"


def test_a_screw_beyond_the_blank_is_refused(coupon: Job) -> None:
    """It holds nothing."""
    assert found(prepared(coupon, screw=(screw((119, 30)),)), "screws").verdict == "fail"


def test_a_screw_in_the_board_leaves_a_hole(coupon: Job) -> None:
    """Found after lay-up, it is a leak."""
    made = prepared(coupon, screw=(screw((0, 0), (110, 30)),))
    check = found(made, "screws")
    assert check.verdict == "caution"
    assert "screw 1a (A)" in check.message
    assert "screw 1b" not in check.message


def test_heads_raise_the_clear_height(coupon: Job) -> None:
    """Rapids between pockets pass over proud heads."""
    plain, proud = prepared(coupon), prepared(coupon, screw=(screw((110, 30), head_height=6.0),))
    for before, after in zip(plain.works, proud.works, strict=True):
        assert after.clear - before.clear == pytest.approx(6.0 if after.setup == "A" else 0.0)


def test_the_head_stands_on_the_face_that_lies_up(coupon: Job) -> None:
    """A and B on the raw faces, C on what the skim left."""
    made = prepared(coupon, screw=(screw((110, 30), setups=("A", "B", "C"), counterbore=1.0),))
    tops = {
        setup: head_top(made.stackup, setup, screws_of(made.job, setup)[0]).nominal
        for setup in ("A", "B", "C")
    }
    left = made.stackup.skim.planned_plane
    assert tops == pytest.approx({"A": 12.6, "B": 12.6, "C": left + 2.0})


@pytest.mark.parametrize("method", ["screws", "clamps"])
def test_held_names_the_piece_that_nothing_holds(coupon: Job, method: str) -> None:
    """After the groove only a skin of wood joins them: a loose rim or board is thrown."""
    hold = HoldSection(A=method)
    nothing = found(prepared(coupon, hold=hold), "held")
    assert (nothing.verdict, nothing.value) == ("caution", -2.0)
    assert "island in A, the rim in A" in nothing.fix
    rim = found(prepared(coupon, hold=hold, screw=(screw((110, 30)),)), "held")
    assert (rim.verdict, rim.where) == ("caution", "island in A")
    both = found(prepared(coupon, hold=hold, screw=(screw((110, 30), (0, 0)),)), "held")
    assert both.verdict == "ok"


def test_tape_and_vacuum_are_told_with_their_areas(coupon: Job) -> None:
    """What they bear goes by area."""
    made = prepared(coupon)
    island, rim = (
        made.board.island.area / 100,
        (240 * 90 - Polygon(made.board.ring.exterior).area) / 100,
    )
    check = found(made, "held")
    assert check.verdict == "ok"
    assert f"{island:.0f} cm² of island and {rim:.0f} cm² of rim" in check.message


def test_a_collet_beside_a_high_clamp_is_refused(coupon: Job) -> None:
    """The cutter passes the clamp, the nut above it does not."""
    near = clamp(97, -15, 130, -5, setups=("A",), height=50.0)
    bad = found(prepared(coupon, obstacle=(near,)), "collet")
    assert bad.verdict == "fail"
    assert "obstacle 1" in bad.message
    assert (
        found(
            prepared(coupon, obstacle=(near.model_copy(update={"height": 20.0}),)), "collet"
        ).verdict
        == "ok"
    )
    narrow = coupon.machine.model_copy(update={"collet_diameter": 8.0})
    assert found(prepared(coupon, obstacle=(near,), machine=narrow), "collet").verdict == "ok"


def test_a_cutter_that_hardly_sticks_out_is_refused(coupon: Job) -> None:
    """The nut would rub on the blank before the hole is through."""
    cutters = tuple(
        one.model_copy(update={"stick_out": 9.5, "cutting_length": 9.5})
        if one.diameter < 10
        else one
        for one in coupon.cutter
    )
    bad = found(prepared(coupon, cutter=cutters), "collet")
    assert bad.verdict == "fail"
    assert "sticks out 9.5" in bad.message


def test_a_frame_counts_at_full_height_for_edges_and_collet(coupon: Job) -> None:
    """Beside a frame the whole depth of the deck stands beside the cutter, not only a layer of
    it."""
    rough = tuple(
        one.model_copy(update={"cutting_length": 3.2, "depth_a_pass": 3.0})
        if one.number in (3, 4)
        else one
        for one in coupon.cutter
    )
    framed = coupon.deck.model_copy(update={"margin": 1.2})
    assert found(prepared(coupon, cutter=rough), "reach").verdict == "ok"
    assert found(prepared(coupon, cutter=rough, deck=framed), "reach").verdict == "fail"


def test_travel_is_at_least_what_the_faces_need(coupon: Job) -> None:
    """The skim runs in from beside the blank: a machine as long as the blank is too short."""
    short = coupon.machine.model_copy(update={"travel": (245.0, 400.0, 80.0)})
    bad = found(prepared(coupon, machine=short), "travel")
    assert bad.verdict == "fail"
    assert bad.where.startswith("X in 05-B-skim")


def test_dowels_are_shortest_in_c(coupon: Job) -> None:
    """One length must serve all set-ups; the lowest cut over a dowel is the deck at the rim."""
    made = prepared(coupon)
    lengths = {(one.dowel, one.setup): one for one in dowel_lengths(made.stackup, made.board)}
    assert lengths[1, "A"].stand > lengths[1, "B"].stand > lengths[1, "C"].stand
    assert lengths[1, "C"].over < 5.0  # edge thickness, less bed, touch and machine
    assert lengths[1, "C"].stand + 0.5 <= lengths[1, "C"].over
    assert lengths[1, "C"].length == pytest.approx(lengths[1, "C"].stand + 7.0)
    assert all(one.fits for one in lengths.values())
    framed = prepared(coupon, deck=coupon.deck.model_copy(update={"margin": 1.2}))
    assert {
        one.stand for one in dowel_lengths(framed.stackup, framed.board) if one.setup == "C"
    } == {lengths[1, "C"].stand}


def test_first_file_of_a_setup_tells_the_dowels(coupon: Job) -> None:
    """Whoever sets the blank reads the head of the first file."""
    made = prepared(coupon)
    told = [
        work.stem
        for work in made.works
        if any(line.startswith("dowels here at most") for line in work.watch)
    ]
    assert told == ["01-A-dowels", "05-B-skim", "07-C-deck-rough"]


def test_uncut_ground_is_what_no_disc_beside_the_zone_covers(coupon: Job) -> None:
    """Said too small, the read-back would find wood; too large, a clamp is refused that need not
    be."""
    made = prepared(coupon, obstacle=(clamp(108, 20, 130, 40),))
    skim = next(work for work in made.works if work.name == "skim")
    assert skim.facing is not None
    spare = skim.facing.spare
    assert spare is not None
    assert spare.covers(box(108, 20, 120, 40))
    r = skim.cutter.radius
    for place in ((107.3, 30.0), (107.3, 19.3), (115.0, 19.3), (115.0, 40.8)):
        away = Point(place).distance(box(108, 20, 130, 40))
        assert away > 0.5
        assert away < r
        assert not spare.covers(Point(place))


def test_the_cutter_is_changed_where_a_hand_has_room() -> None:
    """Back left, unless a clamp stands there: 20 mm of collet and 30 for the hand, else the corner
    with most room."""
    back_left, back_right = (
        Obstacle(box(-120, 30, -90, 45), 30.0),
        Obstacle(box(75, 40, 90, 60), 30.0),
    )
    assert park_clear((), 120.0, 45.0, 40.0) == (-120.0, 45.0)
    assert park_clear((back_left,), 120.0, 45.0, 40.0) == (120.0, 45.0)
    assert park_clear((back_left, back_right), 120.0, 45.0, 40.0) == (-120.0, -45.0), (
        "30 mm to the right one"
    )
    everywhere = [
        Obstacle(box(x - 5, y - 5, x + 5, y + 5), 30.0) for x in (-120, 120) for y in (-45, 45)
    ]
    everywhere[3] = Obstacle(box(80, 40, 95, 50), 30.0)
    assert park_clear(everywhere, 120.0, 45.0, 40.0) == (120.0, 45.0)
