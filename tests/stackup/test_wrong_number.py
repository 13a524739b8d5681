"""Which check turns first when one tolerance is wrong."""

from pathlib import Path

import pytest

from corepath.board.features import Board
from corepath.board.make_board import build_board
from corepath.job.load import load_job
from corepath.job.model import Job
from tests.guide import wrong_number
from tests.guide.wrong_number import markdown_table, what_turns_first

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(ROOT / "samples" / "board-1280.toml")


@pytest.fixture(scope="module")
def board(job: Job) -> Board:
    return build_board(job, ROOT / "samples")


def rows() -> list[list[str]]:
    page = (ROOT / "docs" / "wrong-number.md").read_text(encoding="utf-8")
    table = [line for line in page.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table[1:]]


def test_the_page_has_a_row_for_each_tolerance_most_sensitive_first():
    found = [row[0] for row in rows()]
    assert sorted(found) == sorted(wrong_number.NAMES)
    times = [float(row[4].removesuffix(" times")) for row in rows() if row[3]]
    assert times == sorted(times) and len(times) == 11


@pytest.mark.parametrize("row", rows(), ids=lambda row: row[0])
def test_every_row_of_the_page_is_what_the_code_gives(job: Job, board: Board, row: list[str]):
    """At the size on the page, rounded, its check is the first to turn; a little below it none
    has."""
    name, now, check, at, times = row
    assert float(now) == wrong_number._size(job, name)
    if not at:
        assert (check, times) == ("nothing", "beyond 64 times")
        assert turned(job, board, name, wrong_number.LARGEST * float(now)) == set()
        return
    assert float(times.removesuffix(" times")) == pytest.approx(float(at) / float(now), rel=0.02)
    assert turned(job, board, name, float(at) * 1.02) == set(check.split(", "))
    assert turned(job, board, name, float(at) * 0.97) == set()


def turned(job: Job, board: Board, name: str, size: float) -> set[str]:
    return {
        check_id for check_id, _ in wrong_number._turned(wrong_number._with(job, name, size), board)
    }


@pytest.mark.whole
def test_the_table_is_written_as_on_the_page(
    job: Job, board: Board, monkeypatch: pytest.MonkeyPatch
):
    """One row of each kind, found by bisection; the whole table takes half a minute."""
    monkeypatch.setattr(wrong_number, "NAMES", ("touch", "gauge"))
    page = (ROOT / "docs" / "wrong-number.md").read_text(encoding="utf-8").splitlines()
    assert [line in page for line in markdown_table(what_turns_first(job, board)).splitlines()] == [
        True
    ] * 4
