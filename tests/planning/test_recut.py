"""One seat or bore made deeper: the wrong place, or a depth that spoils the core, would lose what
can be saved."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.text.starter import starter_text
from corepath.planning.recut import recut_insert

CUT = ("--cut", "dowels", "--cut", "plug-pockets", "--cut", "groove", "--stop-at", "8.4")


def _run(*words: object) -> Result:
    return CliRunner().invoke(app, list(map(str, words)))


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The starter, skimmed to 8.4, its seat found 1.30 deep instead of 1.50."""
    path = tmp_path_factory.mktemp("recut") / "core.toml"
    path.write_text(starter_text("Core"), encoding="utf-8")
    done = _run("record", path, *CUT, "--cut", "inserts", "--seat-depth", "I1", 1.3, "-q")
    assert done.exit_code == 0, done.output
    return path


def test_the_seat_beside_it_is_cut(job: Path, tmp_path: Path) -> None:
    """By hand: I1 at (34, -5) lies at (34, 5) in B, flipped about X; its seat is 15.2 wide, so the
    axis of the cutter of 4 stays within 5.6 of it; 1.50 below the face, which is Z0."""
    found = recut_insert(job, "I1", "seat", 1.5)
    assert not found.failed and found.name == "recut-I1-seat.nc"
    assert (found.proof.cut_low, found.proof.cut_high) == pytest.approx((-1.5, -1.5), abs=1e-4)
    cuts = [line for line in found.text.splitlines() if line.startswith(("G2", "G3"))]
    places = [re.search(r"X(-?[\d.]+) Y(-?[\d.]+)", line) for line in cuts]
    at = [(float(one[1]), float(one[2])) for one in places if one is not None]
    assert at and all(((x - 34) ** 2 + (y - 5) ** 2) ** 0.5 <= 5.6001 for x, y in at)
    assert "Zero Z: touch the skimmed face" in found.text
    done = _run("recut", job, "--insert", "I1", "--depth", "1.5", "-o", tmp_path)
    assert done.exit_code == 0 and "read-back: no findings" in done.stdout
    assert (tmp_path / "recut-I1-seat.nc").read_text() == found.text


def test_a_depth_that_spoils_the_core_is_cut(job: Path, tmp_path: Path) -> None:
    """The deck over I1 is less than 8 high and 2.0 must be left over its seat: 6.8 is too deep."""
    done = _run("recut", job, "--insert", "I1", "--depth", "6.8", "-o", tmp_path)
    assert done.exit_code == 1 and "wood-over-seat would fail" in " ".join(done.stdout.split())
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--insert", "I1", "--depth", "1.3"), "deep already, and wood does not grow back"),
        (("--insert", "I9", "--depth", "1.5"), "this job has no such insert"),
        (("--insert", "I1", "--depth", "1,5"), "has a decimal comma: write 1.5"),
        (("--bore", "I1", "--depth", "30"), "is deeper than T1"),
        (("--depth", "1.5"), "one of the two is needed"),
        (("--insert", "I1", "--depth", "1.5", "-o", "/nowhere/at/all"), "there is no such folder"),
    ],
)
def test_a_recut_that_cannot_be_is_written(job: Path, words: tuple[str, ...], message: str) -> None:
    """Exit 2, and nothing beside the job."""
    before = {path.name for path in job.parent.iterdir()}
    done = _run("recut", job, *words)
    assert done.exit_code == 2 and message in " ".join(done.stderr.split()), done.stderr
    assert {path.name for path in job.parent.iterdir()} == before


def test_an_insert_that_is_not_bored_is_recut(tmp_path: Path) -> None:
    """Its own file makes it; and once the deck is cut the core no longer lies on its bed in B."""
    path = tmp_path / "core.toml"
    path.write_text(starter_text("Core"), encoding="utf-8")
    assert _run("recut", path, "--insert", "I1", "--depth", "1.6").exit_code == 2
    _run("record", path, *CUT, "--cut", "inserts", "--cut", "deck", "-q")
    done = _run("recut", path, "--insert", "I1", "--depth", "1.6")
    assert done.exit_code == 2 and "the deck is cut" in done.stderr
