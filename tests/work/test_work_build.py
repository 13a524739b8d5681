"""Works: where they lie in their set-up and how deep, from the stack-up alone."""

from pathlib import Path

import pytest

from corepath.planning.prepare import Prepared, prepare

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def board() -> Prepared:
    return prepare(SAMPLES / "board-1280.toml")


@pytest.fixture(scope="module")
def balance() -> Prepared:
    return prepare(SAMPLES / "balance-740.toml")


def work(prepared: Prepared, name: str):
    return next(work for work in prepared.works if work.name == name)


def test_file_stems_are_numbered_by_operation(board: Prepared):
    stems = [one.stem for one in board.works]
    assert stems == [
        "01-A-dowels", "02-A-plug-pockets", "03-A-groove", "05-B-skim", "06-B-inserts",
        "07-C-deck-rough", "08-C-deck",
    ]  # fmt: skip


def test_inserts_are_mirrored_by_the_flip(board: Prepared, balance: Prepared):
    """I3 lies off both axes: about X its y changes sign, about Y its x."""
    (leash,) = [hole for hole in work(board, "inserts").holes if hole.id == "I3"]
    assert (leash.x, leash.y) == pytest.approx((-96.0, -47.0))
    (odd,) = [hole for hole in work(balance, "inserts").holes if hole.id == "I1d"]
    assert (odd.x, odd.y) == pytest.approx((-128.0, -60.0))


def test_a_through_bore_serves_the_thickest_stop(board: Prepared):
    """Zeroed on the planned stop's face it must pass the bottom of the thickest core, but never the
    spoil board."""
    holes = {hole.id: hole for hole in work(board, "inserts").holes}
    plan = board.stackup.skim
    through, blind = holes["I2a"], holes["I1a"]
    below_face = plan.planned_plane - through.steps[-1].floor
    assert below_face == pytest.approx(plan.thickest_plane + 1.0)
    assert below_face - plan.lowest_plane < board.job.blank.spoil_board
    assert blind.breaks_through is None
    deck = board.board.deck.highest
    assert plan.planned_plane - blind.steps[-1].floor == pytest.approx(deck + 0.21, abs=0.02)


def test_a_seat_lies_below_the_skimmed_face(board: Prepared):
    hole = work(board, "inserts").holes[0]
    assert hole.top - hole.steps[0].floor == pytest.approx(1.4 + 0.3)
    assert hole.steps[0].diameter == pytest.approx(19.2)


def test_zeros_on_bed_and_face(board: Prepared, balance: Prepared):
    """The bed is zero; a face is as high as the blank, or what the skim left of it."""
    assert {w.zero.z for w in board.works if w.name != "inserts"} == {0.0}
    plane = board.stackup.skim.planned_plane
    assert work(board, "inserts").zero.z == pytest.approx(plane)
    thickness = balance.job.blank.thickness
    assert [work(balance, name).zero.z for name in ("groove", "skim")] == pytest.approx(
        [thickness, thickness]
    )
    assert work(balance, "deck").zero.z == pytest.approx(balance.stackup.skim.planned_plane)
    assert (work(balance, "deck").zero.x, work(balance, "deck").zero.y) == (-400.0, -175.0)
    assert not work(balance, "skim").zero.again


def test_rapids_clear_the_thickest_blank(board: Prepared):
    groove = work(board, "groove")
    assert groove.stock_top == pytest.approx(13.6 + 0.1 + 0.1)
    assert groove.clear == pytest.approx(groove.stock_top + 8.0)
    deck = work(board, "deck")
    assert deck.stock_top == pytest.approx(board.stackup.skim.thickest_plane + 0.1)
