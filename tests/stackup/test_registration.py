"""What must lie in its place in X and Y, and what moves it."""

from dataclasses import replace
from pathlib import Path

import pytest

from corepath.job.record.settled import Settled
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.stackup.checks import registration as module
from corepath.stackup.checks.registration import Registered, registered, registration
from corepath.stackup.linear import Linear

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(SAMPLES / "coupon.toml")


def with_record(prepared: Prepared, **settled: object) -> dict[str, Registered]:
    known = Known(settled=replace(Settled(), **settled))
    again = prepare_job(prepared.job, SAMPLES, known)
    return {f"{thing.kind} {thing.id}": thing for thing in registered(again.stackup, again.board)}


def test_moisture_moves_by_the_wood_handbooks_coefficient(prepared: Prepared):
    """Flat-sawn basswood moves 0.0033 of its width per % (USDA FPL-GTR-190, table 13-5,
    tangential)."""
    edge = with_record(prepared)["edge groove"]
    low, high = prepared.board.outline.bounds[1::2]
    distance = max(abs(low), abs(high))
    assert edge.left.parts["moisture"].extremes[1] == pytest.approx(0.0033 * distance, rel=0.01)


def test_recorded_widths_replace_the_moisture(prepared: Prepared):
    """A blank that shrank from 90.0 to 89.4 has taken 0.67 % off every distance; no guess is
    left."""
    edge = with_record(prepared, widths={"A": 90.0, "C": 89.4})["edge groove"]
    assert "moisture" not in edge.left.parts
    low, high = prepared.board.outline.bounds[1::2]
    moved = 0.6 / 90.0 * max(abs(low), abs(high))
    assert edge.left.nominal == pytest.approx(prepared.job.groove.inside - moved, abs=1e-6)


def test_a_coupon_moves_walls_and_narrows_the_cutter(prepared: Prepared):
    """A groove 0.08 too wide leaves 0.04 more at each wall, and the cutter is no longer in
    doubt."""
    before = with_record(prepared)["plug P1"]
    after = with_record(prepared, coupon_groove_width=11.08, coupon_groove_nominal=11.0)["plug P1"]
    assert after.left.nominal - before.left.nominal == pytest.approx(0.04)
    assert (
        after.left.parts["cutter diameter"].extremes[1]
        <= before.left.parts["cutter diameter"].extremes[1]
    )


def test_seats_are_off_by_play_flip_and_wood(prepared: Prepared):
    """What is cut after a flip also carries the flip axis."""
    things = with_record(prepared)
    assert "flip axis" in things["seat I1"].left.parts
    assert "flip axis" not in things["plug P1"].left.parts


def test_how_far_seats_are_off_is_told_of_seats(prepared: Prepared):
    """The casting left at the edge is some mm: told as what a seat is off, one would throw good
    work away."""
    (check,) = [check for check in prepared.checks if check.id == "registration"]
    off = max(
        thing.left.worst()[1]
        for key, thing in with_record(prepared).items()
        if key.startswith("seat ")
    )
    assert off < 1.0
    assert check.message.endswith(f"; seats up to {off:.2f} off their places")


def test_a_known_movement_counts_whichever_way_it_goes(
    prepared: Prepared, monkeypatch: pytest.MonkeyPatch
):
    """Half a millimetre to one side and 0.2 of errors: 0.70 off, where -0.30 was told."""
    moved = Registered("seat", "I1", Linear.of(-0.5) + Linear.term("dowel play", 0.2))
    edge = Registered("edge", "groove", Linear.of(4.0))
    monkeypatch.setattr(module, "registered", lambda stack, board: (edge, moved))
    assert registration(prepared.stackup, prepared.board).message.endswith(
        "; seats up to 0.70 off their places"
    )


def test_a_recorded_touch_is_a_measured_height(prepared: Prepared):
    """Zeroed on the face, what the control showed on it is the height of the raw top there."""
    machine = prepared.job.machine.model_copy(update={"z_zero": "face", "touch_at": (106.0, 30.0)})
    job = prepared.job.model_copy(update={"machine": machine})
    again = prepare_job(job, SAMPLES, Known(settled=replace(Settled(), touches={"groove": 10.71})))
    groove = next(work for work in again.works if work.name == "groove")
    assert groove.zero.z == pytest.approx(10.71, abs=1e-6)
