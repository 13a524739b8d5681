"""One seat, bore, pocket or length of groove made deeper: the wrong place, or a depth that spoils
the core, would lose what can be saved."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.text.starter import starter_text
from corepath.planning.recutting.casting_recut import recut_groove, recut_plug
from corepath.planning.recutting.insert_recut import recut_insert

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
        (("--depth", "1.5"), "just one of these is needed"),
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


@pytest.fixture(scope="module")
def shallow(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The starter in A, its pocket found 8.90 deep and the groove 9.05 near X15 Y31."""
    path = tmp_path_factory.mktemp("recut") / "core.toml"
    path.write_text(starter_text("Core"), encoding="utf-8")
    words = (*CUT[:6], "--pocket-depth", "P1", 8.9, "--groove-depth", 15, 31, 9.05)
    assert _run("record", path, *words, "-q").exit_code == 0
    return path


def test_a_pocket_is_cut_from_the_bed(shallow: Path) -> None:
    """By hand: P1 at (-66, 7), 14 wide, so the axis of the cutter of 6 stays within 4 of it; Z0 is
    the raw top beside it, and nothing above the 8.90 that are there is cut at its feeds."""
    found = recut_plug(shallow, "P1", 9.35)
    assert not found.failed and found.record == ("--pocket-depth", "P1", "D")
    assert (found.proof.cut_low, found.proof.cut_high) == pytest.approx((-9.35, -9.35), abs=1e-4)
    cuts = [line for line in found.text.splitlines() if line.startswith(("G2", "G3"))]
    at = [re.search(r"X(-?[\d.]+) Y(-?[\d.]+)", line) for line in cuts]
    places = [(float(one[1]), float(one[2])) for one in at if one is not None]
    assert places and all(math.dist(place, (-66, 7)) <= 4.0001 for place in places)
    assert "(Zero Z: touch the raw top at X-53 Y7, beside pocket P1)" in found.text
    deep = [float(one) for one in re.findall(r"Z(-[\d.]+)", found.text.partition("\nG17")[2])]
    # 0.5 over the 8.90: where a ramp begins
    assert max(deep) == pytest.approx(-8.4) and min(deep) == -9.35


def test_a_length_of_groove_is_cut_all_round(shallow: Path) -> None:
    """Round X+ from (80, 13) to (80, -13): nothing west of the places but the width of the cutter,
    and the depth there is what the stack-up expects at least, less than the 9.05 read elsewhere."""
    found = recut_groove(shallow, ((80.0, 13.0), (80.0, -13.0)), 9.4)
    assert not found.failed and found.record == ("--groove-depth", "88.0", "0.0", "D")
    body = found.text.partition("\nM3")[2] or found.text.partition("M3\n")[2]
    xs = [float(one) for one in re.findall(r"^G[123] X(-?[\d.]+)", body, re.MULTILINE)]
    assert min(xs) > 74.0 and max(xs) < 88.0 + 6.0
    assert found.proof.beside == 0.0 and found.proof.cut_low == pytest.approx(-9.4, abs=1e-4)
    assert "from 8.62 to 9.40 below the raw top" in found.text
    there = recut_groove(shallow, ((30.0, 28.0), (0.0, 31.5)), 9.4)
    assert "from 9.05 to 9.40 below the raw top" in there.text


def test_resin_is_cut_as_if_it_were_air(shallow: Path, tmp_path: Path) -> None:
    """Once P1 is poured and has a void its file begins at the raw top, and a new pour follows; the
    void is told until then, and by `check` too."""
    path = tmp_path / "core.toml"
    path.write_text(shallow.read_text(), encoding="utf-8")
    words = (*CUT[:6], "--fill", "P1", 0.6, "--void", "P1", "-q")
    assert "P1 has a void" in " ".join(_run("record", path, *words).stdout.split())
    found = recut_plug(path, "P1", 9.2)
    assert not found.failed and "from 0.00 to 9.20" in found.text
    assert found.record == ("--top-up", "P1", "GRAMS")
    assert "P1 has a void" in " ".join(_run("check", path, "--all").stdout.split())
    assert _run("record", path, "--top-up", "P1", 20, "-q").exit_code == 0
    assert "P1 has a void" not in " ".join(_run("check", path, "--all").stdout.split())


@pytest.mark.parametrize(
    ("words", "says", "code"),
    [
        (("--plug", "P1", "--depth", "8.9"), "deep already, and wood does not grow back", 2),
        (("--plug", "P9", "--depth", "9.3"), "this job has no such plug", 2),
        (("--plug", "P1", "--depth", "nan"), "must be a finite number", 2),
        (("--plug", "P1", "--depth", "10.3"), "floor would fail", 1),
        (("--groove", "0", "0", "80", "13", "--depth", "9.3"), "beside the groove", 2),
        (("--groove", "80", "13", "80", "12", "--depth", "9.3"), "the width of the groove", 2),
        (("--groove", "80", "x", "80", "12", "--depth", "9.3"), "is no number", 2),
        (("--groove", "80", "13", "--depth", "9.3"), "", 2),
        (("--plug", "P1", "--insert", "I1", "--depth", "9.3"), "just one of these", 2),
        (("--insert", "I1", "--depth", "1.6"), "the inserts are not recorded as cut", 2),
    ],
)
def test_a_pocket_that_cannot_be_is_written(
    shallow: Path, words: tuple[str, ...], says: str, code: int
) -> None:
    """A fault or the check that spoils it, and nothing beside the job."""
    before = {path.name: path.read_bytes() for path in shallow.parent.iterdir()}
    done = _run("recut", shallow, *words)
    assert done.exit_code == code, done.output
    assert says in " ".join((done.stderr + done.stdout).split()), done.output
    assert {path.name: path.read_bytes() for path in shallow.parent.iterdir()} == before


def test_a_broken_cutter_cuts_a_place_again(shallow: Path, tmp_path: Path) -> None:
    """T2 cut the pockets; without it T1, the only other that fits, cuts P1 again. And once the
    blank is turned over no pocket is cut again."""
    path = tmp_path / "core.toml"
    path.write_text(shallow.read_text(), encoding="utf-8")
    assert _run("record", path, *CUT[:6], "--pocket-depth", "P1", 8.9, "-q").exit_code == 0
    assert _run("record", path, "--broken", 2, "-q").exit_code == 0
    assert "Cutter: T1 flat" in recut_plug(path, "P1", 9.3).text
    assert _run("record", path, "--stop-at", "8.4", "-q").exit_code == 0
    done = _run("recut", path, "--plug", "P1", "--depth", 9.3)
    assert done.exit_code == 2 and "the skim has begun" in done.stderr
