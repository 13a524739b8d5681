"""Six stories of the machine, each typed as a machinist would by docs/record.md: what went wrong is
recorded, and what follows from it must be what is planned, or why the core is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.record.ascut import record_path
from corepath.job.text.starter import starter_text
from corepath.planning.prepare import Prepared, prepare

IN_A = ("--cut", "dowels", "--cut", "plug-pockets", "--cut", "groove")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "core.toml"
    path.write_text(starter_text("Core"), encoding="utf-8")
    return path


def _run(*words: object) -> Result:
    return CliRunner().invoke(app, list(map(str, words)))


def _recorded(job: Path, *words: object) -> str:
    done = _run("record", job, *words, "-q")
    assert done.exit_code == 0, done.output
    return " ".join(done.stdout.split())


def _checks(found: Prepared) -> dict[str, str]:
    return {check.id: check.verdict for check in found.checks}


def test_the_skim_stopped_early(job: Path) -> None:
    """All showed at 9.40, planned was 8.90: inserts are zeroed on that face and all that is ahead
    is planned for it. No higher stop can be recorded then, nor a thickness it cannot have left."""
    assert prepare(job).stackup.skim.planned_plane == pytest.approx(8.9, abs=1e-3)
    _recorded(job, *IN_A, "--stop-at", 9.4)
    found = prepare(job)
    assert found.stackup.skim.planned_plane == pytest.approx(9.4, abs=1e-3)
    zeros = {work.name: work.zero.z for work in found.ahead}
    assert zeros["inserts"] == pytest.approx(9.4, abs=1e-3) and "skim" not in zeros
    assert "fail" not in _checks(found).values()
    before = record_path(job).read_bytes()
    assert _run("record", job, "--stop-at", 9.9).exit_code == 2
    assert _run("record", job, "--thickness", 40, 30, 8.9, "--after-skim").exit_code == 2
    assert record_path(job).read_bytes() == before


def test_a_plug_is_too_low(job: Path) -> None:
    """2.60 below the raw top where 1.58 is allowed: how much is missing, how much to pour, and an
    earlier stop as the other way; once topped up and measured, all is well."""
    said = _recorded(job, *IN_A, "--fill", "groove", 0.6, "--fill", "P1", 2.6)
    assert "P1 is too low" in said and "a top-up fixes it: pour to 0.30 below" in said
    assert "an earlier stop fixes it" in said and _checks(prepare(job))["fill"] == "fail"
    _recorded(job, "--top-up", "P1", "0.5", "--fill", "P1", 0.6)
    assert _checks(prepare(job))["fill"] == "ok"


def test_a_seat_is_too_deep(job: Path) -> None:
    """0.30 deeper is a matter of a shim; 5.40 deeper leaves less than 2 of wood over it, and what
    is nearest to saving the core is said. Neither is forgotten by `check`."""
    said = _recorded(job, *IN_A, "--stop-at", 8.4, "--cut", "inserts", "--seat-depth", "I1", 1.8)
    assert "0.30 deeper than planned: a shim of that thickness" in said
    assert "cannot be saved" not in said
    said = _recorded(job, "--seat-depth", "I1", 6.9)
    assert "this core cannot be saved because wood-over-seat (I1)" in said
    assert "the nearest way out is hardware that needs" in said and "a shim" not in said
    told = json.loads(_run("check", job, "--json").stdout)
    verdict = {check["id"]: check["verdict"] for check in told["checks"]}
    assert verdict["wood-over-seat"] == "fail"


def test_zero_was_shifted_in_b(job: Path) -> None:
    """Found after the inserts: X 0.5 too far and Z 0.25 too high. The insert is taken where it is,
    the plane as high as it is, and callipers that agree with that are believed."""
    plain = prepare(job)
    said = _recorded(job, *IN_A, "--stop-at", 8.4, "--cut", "inserts", "--shift", "B", 0.5, 0, 0.25)
    assert "lies 0.50 off its place: the inserts" in said and "lies 0.25 too high" in said
    found = prepare(job)
    assert found.board.places[0].x - plain.board.places[0].x == pytest.approx(0.5)
    lower = found.stackup.heights.plane(8.4).nominal
    assert lower == pytest.approx(8.65)
    _recorded(job, "--thickness", 40, 30, 8.64, "--after-skim")


def test_a_cutter_broke_in_the_groove(job: Path) -> None:
    """Stopped at line 120: the restart comes first. T2 is gone: T1 cuts the groove, and what is cut
    stays as it was."""
    said = _recorded(job, *IN_A[:4], "--stopped", "03-A-groove.nc", 120, "--broken", 2)
    assert said.count("added") == 1
    used = {work.name: work.cutter.number for work in prepare(job).works}
    assert (used["plug-pockets"], used["groove"]) == (2, 1)
    told = _run("record", job).stdout
    assert "corepath restart 03-A-groove.nc --from-line 120" in told and "T2 is broken" in told


def test_three_copies_are_one_blank(job: Path) -> None:
    """Each has a record and a stop of its own; the job that they are copies of has none."""
    from corepath.planning.job_files.copies import copy_jobs

    first, second, third = copy_jobs(job, "Core", 3)
    _recorded(first, *IN_A, "--stop-at", 8.4)
    _recorded(second, *IN_A, "--stop-at", 8.9)
    planes = [prepare(one).stackup.skim for one in (first, second, third)]
    assert [one.recorded for one in planes] == [True, True, False]
    assert [round(one.planned_plane, 2) for one in planes[:2]] == [8.4, 8.9]
    assert not record_path(third).exists() and not record_path(job).exists()
