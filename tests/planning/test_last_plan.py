"""The folder of the last plan tells which pass a number means; another folder's numbers would book
another height."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.job.load import load_job
from corepath.job.record.ascut import load_record
from corepath.job.text.starter import starter_text
from corepath.planning.folder.last_plan import last_plan
from corepath.stackup.measuring.facts_for_record import facts_of


@pytest.fixture(autouse=True)
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = Path("core.toml")
    path.write_text(starter_text("Core"))
    return path


def folder(
    name: str, planes: list[float], files: list[int], job_file: str = "core.toml", written: int = 1
) -> None:
    """A plan's folder as far as it is looked at, written at `written` seconds."""
    Path(name).mkdir(parents=True)
    names = [f"05-B-skim-pass-{number}.nc" for number in files] + [
        "05-B-skim-all.nc",
        "06-B-inserts.nc",
    ]
    operations = [{"file": one} for one in names] if files else [{"file": "06-B-inserts.nc"}]
    report = {"job_file": job_file, "skim": {"planes": planes}, "operations": operations}
    path = Path(name) / "report.json"
    path.write_text(json.dumps(report))
    os.utime(path, (written, written))


def run(*words: object, exit_code: int = 0) -> str:
    result = CliRunner().invoke(app, ["record", "core.toml", *(str(word) for word in words)])
    assert result.exit_code == exit_code, result.output
    return " ".join(result.output.split())


def test_the_folder_written_last_counts(job: Path) -> None:
    folder("old", [10.4, 9.9], [1, 2], written=10)
    folder("new", [9.9, 9.4], [1, 2], written=20)
    folder("other", [8.0], [1], job_file="board.toml", written=30)
    Path("broken").mkdir()
    (Path("broken") / "report.json").write_text("{")
    found = last_plan(job)
    assert found is not None and found.name == "new"
    assert dict(found.passes) == {1: 9.9, 2: 9.4}


def test_without_a_folder_nothing_is_known(job: Path) -> None:
    assert last_plan(job) is None


def test_planes_without_a_file_are_not_passes(job: Path) -> None:
    """A reserve pass that was not offered has no file; after the stop the folder has none at all,
    but the plane."""
    folder("out", [10.4, 9.9, 9.4], [1, 2])
    found = last_plan(job)
    assert found is not None and dict(found.passes) == {1: 10.4, 2: 9.9}
    folder("later", [10.4, 9.9], [], written=50)
    found = last_plan(job)
    assert found is not None and dict(found.passes) == {1: 10.4, 2: 9.9}


def test_a_number_is_counted_by_a_plan_that_was_never_written() -> None:
    """The files at the machine have their second pass at 9.90. A depth recorded since would number
    9.40 second."""
    folder("out", [10.4, 9.9, 9.4, 8.9, 8.4], [1, 2, 3, 4, 5])
    run("--cut", "groove", "--groove-depth", -97, 0, 9.4)
    run("--stop", 2)
    settled = load_record(Path("core.ascut.toml")).settled()
    assert settled.stop_plane == 9.9


def test_a_stop_that_no_file_has_is_taken_in() -> None:
    """Half a step beside every plane: nothing was cut there."""
    folder("out", [10.4, 9.9, 9.4], [1, 2, 3])
    run("--cut", "groove")
    held = Path("core.ascut.toml").read_bytes()
    told = run("--stop-at", 9.65, exit_code=2)
    assert "out, the folder of the last plan, has no such pass of the skim" in told
    assert "10.40, 9.90, 9.40" in told
    assert "has no such pass" in run("--stop", 4, exit_code=2)
    assert "has no such pass" in run("--cut", "skim-pass-9", exit_code=2)
    assert Path("core.ascut.toml").read_bytes() == held


def test_a_height_typed_as_printed_books_another() -> None:
    """9.8996 is printed as 9.90; the plane itself is kept, with the number of its file."""
    folder("out", [10.3996, 9.8996], [1, 2])
    told = run("--cut", "groove", "--stop-at", "9.90")
    assert "skim stopped at 9.90" in told
    settled = load_record(Path("core.ascut.toml")).settled()
    assert (settled.stop_plane, settled.stop) == (9.8996, 2)


def test_next_names_another_folder_than_the_last() -> None:
    """Planned again into the usual folder, the old files would stay beside it, and be cut."""
    folder("out", [10.4, 9.9], [1, 2])
    assert "corepath plan core.toml -o out" in run("--cut", "dowels")
    folder("core-plan", [10.4, 9.9], [1, 2], written=99)
    assert "corepath plan core.toml -o" not in run("--cut", "plug-pockets")


def test_a_height_in_inches_is_another_pass() -> None:
    """9.9 mm are 0.38976 in: typed with three or four places it is that pass; 0.395 is none."""
    folder("out", [10.4, 9.9], [1, 2])
    facts = facts_of(
        load_job(Path("core.toml")).model_copy(update={"units": "inch"}),
        "c",
        folder=last_plan(Path("core.toml")),
    )
    assert facts.pass_at(0.390 * 25.4) == (2, 9.9)
    assert facts.pass_at(0.3898 * 25.4) == (2, 9.9)
    assert facts.pass_at(0.395 * 25.4) is None
    assert facts.pass_words() == "0.4094, 0.3898"


@pytest.mark.whole
def test_a_touch_that_contradicts_the_stop_is_taken_in() -> None:
    """9.1 touched on a face that a stop at 9.40 left: off by 0.3, where touch, plane and bed
    explain 0.18."""
    folder("out", [10.4, 9.9, 9.4], [1, 2, 3])
    run("--cut", "groove", "--stop-at", 9.4)
    told = run("--touch", "inserts", 9.1, exit_code=2)
    assert "the touch for inserts contradicts the stop at 9.40 (entry 2)" in told
    run("--touch", "inserts", 9.25)
    assert load_record(Path("core.ascut.toml")).settled().touches == {"inserts": 9.25}


@pytest.mark.whole
def test_a_contradicted_stop_is_planned_with() -> None:
    """Written by hand past `record`: stop at 9.40, callipers 9.92. Neither `check` nor `plan` goes
    on."""
    entry = '[[entry]]\nn = {}\ndate = 2026-05-17\nstage = "B"\nkind = "{}"\n{}\n'
    record = 'schema = 1\nunits = "mm"\n' + entry.format(1, "cut", 'operation = "groove"')
    record += entry.format(2, "stop", "pass = 2\nplane = 9.4")
    record += entry.format(3, "thickness-after", "at = [0.0, 40.0]\nvalue = 9.92")
    Path("core.ascut.toml").write_text(record)
    for command in ("check", "plan"):
        result = CliRunner().invoke(app, [command, "core.toml"])
        assert result.exit_code == 2, result.output
        assert "contradicts the recorded stop at 9.40" in " ".join(result.output.split())
    assert not Path("core-plan").exists()
    assert "--correct" in " ".join(CliRunner().invoke(app, ["check", "core.toml"]).output.split())
    run("--correct", 2, "--stop-at", "9.90")
    assert CliRunner().invoke(app, ["check", "core.toml"]).exit_code == 0


def test_an_earlier_thickness_counts_after_a_deeper_stop() -> None:
    """9.9 measured after the stop at 9.90; then one pass more to 9.40: the first figure is of a
    thicker blank."""
    folder("out", [10.4, 9.9, 9.4], [1, 2, 3])
    run("--cut", "groove", "--stop-at", 9.9, "--after-skim", "--thickness", 0, 40, 9.88)
    run("--stop-at", 9.4)
    settled = load_record(Path("core.ascut.toml")).settled()
    assert settled.thickness_after == () and settled.stop_plane == 9.4
