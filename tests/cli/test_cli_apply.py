"""`check --apply`: the one command that changes a job must change what was asked, keep the old
file, and leave everything alone where it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.errors import InputError, OutputError
from corepath.job.text.source import path_of
from corepath.job.text.starter import starter_text
from corepath.planning.job_files.applying import change_job, settings_of

MARK = "\ufeff"


def _job(folder: Path) -> Path:
    """The starter as an editor of another system saves it: a mark, and CRLF."""
    path = folder / "core.toml"
    path.write_bytes((MARK + starter_text("Core").replace("\n", "\r\n")).encode("utf-8"))
    return path


def _check(*words: object) -> Result:
    return CliRunner().invoke(app, ["check", *map(str, words)])


def test_values_are_written_where_they_stand_and_no_old_file_is_lost(tmp_path: Path) -> None:
    """Expected bytes by hand; twice, so that the first copy would be overwritten."""
    job = _job(tmp_path)
    first = job.read_bytes()
    found = _check(job, "--apply", "groove.floor=1.10", "blank.wood=paulownia", "-q")
    assert found.exit_code == 0, found.output
    assert f"Changed {job}; as it was before: {job}.old\n" in found.stdout
    assert "-floor = 1.2\n+floor = 1.10\n" in found.stdout
    second = first.replace(b"\nfloor = 1.2\r", b"\nfloor = 1.10\r")
    second = second.replace(b'"basswood"', b'"paulownia"')
    assert job.read_bytes() == second and Path(f"{job}.old").read_bytes() == first

    found = _check(job, "--apply", "trim.allowance=1", "--json")
    report = json.loads(found.stdout)
    assert report["applied"]["kept"] == f"{job}.old-2"
    assert "+[trim]" in report["applied"]["difference"]
    assert job.read_bytes() == second.rstrip() + b"\r\n\r\n[trim]\r\nallowance = 1\r\n"
    assert Path(f"{job}.old-2").read_bytes() == second and Path(f"{job}.old").read_bytes() == first


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("groove.floor=-1", "groove.floor: must not be negative\n  got: -1\n"),
        ("groove.flor=1", "groove.flor: unknown key; did you mean floor?\n"),
        ("grove.floor=1", "grove: unknown key; did you mean groove?\n"),
        ("groove.floor=1,1", "groove.floor: has a decimal comma: write 1.1\n"),
        ("groove.floor=thin", "groove.floor: is no value for this key\n  got: thin\n"),
        ("insert.recess=1", "insert.recess: does not say which\n  allowed: insert[1]\n"),
        ("insert[0].recess=1", "insert[0].recess=1: does not say which key gets which value\n"),
        ("groove.floor", "groove.floor: does not say which key gets which value\n"),
        ("plug[1].at=[[900, 0]]", "plug[1].at[1]: plug P1 lies outside the blank"),
    ],
)
def test_what_is_refused_leaves_all_files_alone(tmp_path: Path, typed: str, message: str) -> None:
    """Faults of keys, of values, of the geometry: told by the key, without a line that is not in
    the file, exit 2, nothing written."""
    job = _job(tmp_path)
    before = job.read_bytes()
    found = _check(job, "--apply", typed)
    assert found.exit_code == 2 and found.stderr.startswith(message), found.output
    assert "1 fault; nothing has been written" in found.stderr
    assert job.read_bytes() == before and list(tmp_path.iterdir()) == [job]


def test_apply_and_its_values_go_together(tmp_path: Path) -> None:
    """A flag without values, or values without the flag, must not pass for a check of the job."""
    job = _job(tmp_path)
    assert _check(job, "--apply").stderr.startswith("--apply: needs a value to write\n")
    told = _check(job, "groove.floor=1").stderr
    assert f"allowed: corepath check {job} --apply groove.floor=1\n" in told


def test_settings_as_typed() -> None:
    """By hand: numbers stay as typed, text may lack its quotes, a key counts once."""
    typed = ("groove.floor=1.10", "blank.wood=ash", 'title="A = b"', "machine.arcs=false")
    assert list(settings_of(typed).values()) == ["1.10", '"ash"', '"A = b"', "false"]
    with pytest.raises(InputError, match="given twice"):
        settings_of(["groove.floor=1", "groove.floor=2"])


def test_a_job_that_somebody_else_saved_is_not_overwritten(tmp_path: Path) -> None:
    """What is in an editor beside must not be lost; the same values again write nothing."""
    job = _job(tmp_path)
    assert change_job(job, {path_of("groove.floor"): "1.2"}).write() is None
    changed = change_job(job, {path_of("groove.floor"): "1.3"})
    job.write_bytes(b"# saved by hand")
    with pytest.raises(OutputError, match="changed by somebody else"):
        changed.write()
    assert job.read_bytes() == b"# saved by hand" and list(tmp_path.iterdir()) == [job]


def test_faults_that_were_there_before_keep_their_line(tmp_path: Path) -> None:
    """A fault elsewhere in the file is told with the line of the file as it is, not as it would
    be."""
    job = _job(tmp_path)
    lines = job.read_text(encoding="utf-8").replace("edge_band =", "edge_bnd =").splitlines()
    job.write_text("\n".join(lines), encoding="utf-8")
    line = next(number for number, text in enumerate(lines, 1) if "edge_bnd =" in text)
    found = _check(job, "--apply", "outline.join=0.1")  # a line above it that is not in the file
    assert f"core.toml:{line}: deck.edge_bnd: unknown key" in found.stderr, found.stderr
