"""Which check turns first when one tolerance is wrong."""

from pathlib import Path

import pytest

from corepath.board.build import build_board
from corepath.board.model import Board
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.stackup import wrong_number
from corepath.stackup.wrong_number import markdown_table, what_turns_first

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(ROOT / "samples" / "board-1280.toml")


@pytest.fixture(scope="module")
def board(job: Job) -> Board:
    return build_board(job, ROOT / "samples")


def test_the_page_is_what_the_code_gives(job: Job, board: Board, monkeypatch: pytest.MonkeyPatch):
    """Rows of a contributor in Z, of the level and of one in X and Y; the whole table takes a minute."""
    monkeypatch.setattr(wrong_number, "NAMES", ("touch", "level", "moisture"))
    page = (ROOT / "docs" / "wrong-number.md").read_text(encoding="utf-8")
    for row in markdown_table(what_turns_first(job, board)).splitlines()[2:]:
        assert row in page


def test_a_check_turns_just_there(job: Job, board: Board, monkeypatch: pytest.MonkeyPatch):
    """At the size named it is no longer ok, a little below it still is."""
    monkeypatch.setattr(wrong_number, "NAMES", ("flat",))
    (turn,) = what_turns_first(job, board)
    assert turn.at is not None

    def verdicts(size: float) -> set[str]:
        changed = job.model_copy(update={"tolerances": job.tolerances.model_copy(update={"flat": size})})
        return {check_id for check_id, _ in wrong_number._turned(changed, board)}

    assert turn.check in verdicts(turn.at)
    assert verdicts(turn.at * 0.97) == set()
