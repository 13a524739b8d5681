"""A deck that is finished only so far beyond the outline as skin and bag reach: planned, read back,
and found right, with the waste outside roughed or left."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.motion.program import Kind
from corepath.planning.prepare import Prepared, prepare_job
from corepath.planning.proving.proof import Proof, prove
from corepath.planning.proving.reading import read_files
from corepath.planning.report.geometry import geometry_dict
from corepath.work.checks.laid_checks import laid_checks
from corepath.work.cutting.waste import finished_within, left_standing
from corepath.work.least_time.minutes import least_time
from corepath.work.least_time.waste_minutes import waste_minutes

SAMPLES = Path(__file__).parents[2] / "samples"
BY = 12.0


def job(**deck: object) -> Job:
    """The coupon in a blank with 70 of waste at its ends: a small job is quickly planned."""
    coupon = load_job(SAMPLES / "coupon.toml")
    return coupon.model_copy(
        update={
            "blank": coupon.blank.model_copy(update={"length": 340.0}),
            "deck": coupon.deck.model_copy(update=deck),
        }
    )


def prepared(**deck: object) -> Prepared:
    return prepare_job(job(**deck), SAMPLES)


@pytest.fixture(scope="module", params=["rough", "leave"])
def proved(request: pytest.FixtureRequest) -> Proof:
    return prove(prepared(beyond=BY, rest=request.param))


def test_what_skin_and_bag_need_is_finished_and_the_rest_is_not(proved: Proof) -> None:
    """No finding: the read-back proves ridges over what is asked. Where only waste lies no
    finishing line comes but for the way in and out."""
    assert proved.readback is not None
    assert [str(one) for one in proved.readback.findings] == []
    deck = next(one for one in proved.made if one.name == "08-C-deck.nc")
    area = finished_within(proved.prepared.board, BY)
    assert area is not None and deck.work.deck is not None and deck.work.deck.asked == area
    ways = [
        LineString([(a.x, a.y), (b.x, b.y)])
        for a, b in zip(deck.program.moves, deck.program.moves[1:], strict=False)
        if b.kind != Kind.RAPID and (a.x, a.y) != (b.x, b.y)
    ]
    swept = shapely.union_all([way.buffer(deck.work.cutter.radius) for way in ways[::5]])
    # the blank's ends lie 70 beyond the board's; the way in and out is one cutter wide
    ends = box(-170.0, -45.0, -150.0, 45.0).union(box(150.0, -45.0, 170.0, 45.0))
    assert swept.intersection(ends).area < 2.0 * 20.0 * 2.0 * deck.work.cutter.radius
    measures = {one.id: one.value for one in proved.readback.measures if "waste" in one.id}
    assert measures["waste low"] > -0.01


def test_waste_stands_as_the_job_says(proved: Proof) -> None:
    left = proved.prepared.job.deck.rest == "leave"
    works = {work.stem: work for work in proved.prepared.works}
    rough, finish = works["07-C-deck-rough"], works["08-C-deck"]
    assert rough.deck is not None and proved.readback is not None
    waste = [one.area for one in finish.obstacles]
    assert bool(waste) == left and all(one.distance(finish.deck.asked) > 0.5 for one in waste)
    (measured,) = [one for one in proved.readback.measures if one.id == "waste high"]
    # What is roughed stands by what roughing leaves; what is left is no place to be reached.
    assert measured.value == pytest.approx(rough.deck.rough, abs=0.06)
    head = next(one.text for one in proved.made if one.name == "08-C-deck.nc").replace("\n", " ")
    assert ("as high as the skim left it" in head.replace(")  (", " ")) == left or "skim" in head


def test_the_read_back_finds_waste_that_is_cut_or_not_roughed(proved: Proof) -> None:
    """Told of a deck 0.4 higher over the waste alone it finds the waste cut too deep; told that
    all is to be finished, it finds ground left."""
    texts = {one.name: one.text for one in proved.made}
    whole = tuple(
        replace(work, deck=replace(work.deck, finished=None)) if work.deck is not None else work
        for work in proved.prepared.works
    )
    kinds = {one.kind for one in read_files(replace(proved.prepared, works=whole), texts).findings}
    assert kinds & {"deck-height", "not-reached"}


def test_the_bound_and_what_it_saves_are_those_of_the_area() -> None:
    """By hand: waste is level, lines lie a stepover apart at the finishing feed."""
    one, whole = prepared(beyond=BY), prepared()
    area = finished_within(one.board, BY)
    assert area is not None
    waste = one.board.blank.area - area.area
    works = [next(w for w in found.works if w.name == "deck") for found in (one, whole)]
    least = [least_time(work, work.milling.limits).sweep for work in works]
    by_hand = 60.0 * waste / works[0].cutting.stepover / works[0].cutting.finish
    assert least[1] - least[0] == pytest.approx(by_hand, rel=0.05)  # nodes on edges count whole
    saved = waste_minutes(one.job, one.board, one.works)
    assert saved is not None and saved.given and saved.rough == pytest.approx(by_hand / 60.0)
    assert saved.leave > saved.rough
    proposed = waste_minutes(whole.job, whole.board, whole.works)
    assert proposed is not None and not proposed.given


def test_skins_and_bag_must_end_before_the_waste() -> None:
    """The groove's outer edge lies 6 outside; a wall of waste is as high as the stock less the
    edge, and a bag bridges as much."""
    for rest, room in (("rough", BY - 6.0), ("leave", None)):
        found = prepared(beyond=BY, rest=rest)
        (check,) = [one for one in found.checks if one.id == "beyond"]
        top = max(work.deck.top for work in found.works if work.deck is not None)
        bridged = top - found.job.board.edge_thickness
        outside = found.job.groove.outside
        assert check.value == pytest.approx(room or BY - outside - bridged)
        assert laid_checks(found.job, found.board, found.works)[-1] == check
    assert not [one for one in prepared().checks if one.id == "beyond"]


def test_waste_is_left_only_where_it_stands_and_is_worth_going_round() -> None:
    """Strips that would break, and corners quicker to rough than to go round."""
    board = prepared(beyond=BY, rest="leave").board
    pieces = [one.area for one in left_standing(job(beyond=BY, rest="leave"), board, 10.0, 0.0)]
    assert len(pieces) == 2
    for piece in pieces:
        assert piece.buffer(-14.9).area > 0.0
        # the blank's own corners stay square
        assert any(piece.distance(Point(x, 45.0)) < 0.2 for x in (-170.0, 170.0))
    assert left_standing(job(beyond=BY), board, 10.0, 0.0) == ()
    wide = [one.area for one in left_standing(job(beyond=BY, rest="leave"), board, 10.0, 5.0)]
    assert sum(one.area for one in wide) < sum(one.area for one in pieces)


def test_geometry_says_what_is_finished() -> None:
    found = geometry_dict(prepared(beyond=BY))["finished"]
    ring = np.array(found["outer"])
    assert found["holes"] == [] and 109.0 < ring[:, 0].max() < 113.0
    assert geometry_dict(prepared())["finished"] is None


FAULTS: dict[str, tuple[dict[str, object], dict[str, dict[str, object]], str, str]] = {
    "within the groove": ({"beyond": 1.0}, {}, "deck.beyond", "groove.outside"),
    "nothing to be left": ({"rest": "leave"}, {}, "deck.rest", "beside deck.beyond"),
    "a frame": ({"beyond": 20.0, "margin": 5.0}, {}, "deck.beyond", "deck.margin"),
    "a skin over the whole blank": (
        {"beyond": 20.0}, {"skin": {"thickness": 0.5, "modulus": 20.0, "strain_limit": 0.004,
        "pressure": 0.5}}, "deck.beyond", 'skin.covers = "board"',
    ),
    "waste left in a cradle": (
        {"beyond": 20.0, "rest": "leave"}, {"layup": {"cradle": True}}, "deck.rest", '"rough"',
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_width_that_cannot_be_is_told_with_what_is_allowed(name: str, tmp_path: Path) -> None:
    deck, more, key, allowed = FAULTS[name]
    text = (SAMPLES / "coupon.toml").read_text("utf-8")

    def lines(keys: dict[str, object]) -> str:
        return "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())

    text = text.replace("[deck]\n", "[deck]\n" + lines(deck))
    text += "".join(f"\n[{table}]\n{lines(keys)}" for table, keys in more.items())
    file = tmp_path / "job.toml"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        load_job(file)
    found = [fault for fault in caught.value.faults if fault.key == key]
    assert any(allowed in str(fault.allowed) for fault in found)
