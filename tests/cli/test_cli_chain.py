"""The real chain from `corepath new` on: what a user meets in the first hour, and every kind of bad
input."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.text.starter import starter_text

runner = CliRunner()
GOOD = starter_text("Test piece")


def _run(*words: object) -> Result:
    return runner.invoke(app, [str(word) for word in words])


def _job(folder: Path, *edits: tuple[str, str]) -> Path:
    text = GOOD
    for old, new in edits:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_starter_plans_cleanly_reads_back_and_is_found_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """New, check, plan, read back; then one digit in one file is changed, and the read-back must
    see it.

    At last a depth is made wrong: exit 1, and the G-code that no longer holds is withdrawn.
    """
    monkeypatch.chdir(tmp_path)
    assert _run("new", "piece.toml").exit_code == 0
    checked = json.loads(_run("check", "piece.toml", "--json").stdout)
    assert {entry["verdict"] for entry in checked["checks"]} == {"ok"}
    planned = _run("plan", "piece.toml", "-o", "out")
    assert planned.exit_code == 0, planned.output
    assert "read-back: no findings" in planned.stdout
    report = json.loads(Path("out/report.json").read_text())
    assert report["plan"] == checked["plan"]
    names = [entry["file"] for entry in report["operations"]]
    assert names[0] == "01-A-dowels.nc" and names[-1] == "08-C-deck.nc"
    assert _run("readback", "out").exit_code == 0

    groove = Path("out/03-A-groove.nc")
    text = groove.read_text()
    deeper = re.sub(r"Z1\.20*\b", "Z0.9000", text)
    assert deeper != text
    groove.write_text(deeper)
    found = _run("readback", "out")
    assert found.exit_code == 1
    assert re.search(
        r"^(floor|below-lowest): "
        r"03-A-groove\.nc",
        found.stdout,
        re.MULTILINE,
    ), found.stdout

    job = Path("piece.toml")
    job.write_text(job.read_text().replace("\nfloor = 1.2", "\nfloor = 0.5"))
    again = _run("plan", "piece.toml", "-o", "out")
    assert again.exit_code == 1
    assert "No G-code was written" in again.stdout
    assert list(Path("out").glob("*.nc")) == []
    assert sorted(path.name for path in Path("out/withdrawn").iterdir()) == sorted(names)


DEPTHS = [
    (("floor = 1.2\n", "floor = 0.5\n"), "floor"),
    (("recess = 0.3 ", "recess = 0.0 "), "seat"),
    (("thickness = 10.6\n", "thickness = 8.5\n"), "window"),
    (("length = 5.5 ", "length = 9.5 "), "barrel"),
    (("fill_margin = 0.5 ", "fill_margin = 4.0 "), "fill"),
    (("travel = [700, 400, 80]", "travel = [200, 400, 80]"), "travel"),
]


@pytest.mark.parametrize(("edit", "check"), DEPTHS, ids=[row[1] for row in DEPTHS])
def test_a_wrong_depth_is_a_failed_check_and_no_bad_input(
    tmp_path: Path, edit: tuple[str, str], check: str
) -> None:
    """Exit 1 with the table; the check that is meant is the one that fails."""
    result = _run("check", _job(tmp_path, edit), "--json")
    assert result.exit_code == 1, result.output
    failed = {
        entry["id"] for entry in json.loads(result.stdout)["checks"] if entry["verdict"] == "fail"
    }
    assert check in failed


BAD = [
    ("crossing", ("[20, 30], [62, 24]", "[62, 30], [20, 24]"), "outline"),
    ("wide groove", ("inside = 6.0 ", "inside = 40.0 "), "groove"),
    ("groove off the blank", ("outside = 5.0 ", "outside = 30.0 "), "groove"),
    ("plug outside", ("at = [[-66, 7]]", "at = [[-66, 70]]"), "plug[1].at"),
    ("insert in the groove", ("at = [[34, -5]]", "at = [[34, -22]]"), "insert[1].at"),
    ("insert on a plug", ("at = [[34, -5]]", "at = [[-60, 5]]"), ""),
    ("edge thicker", ("edge_thickness = 5.0", "edge_thickness = 8.5"), "board.edge_thickness"),
    ("no cutter fits", ("inside = 6.0 ", "inside = 0.4 "), ""),
    ("dowels off the axis", ("at = [-113, 0]", "at = [-113, 3]"), "dowel"),
    ("dowels fit a half turn", ("at = [-113, 0]", "at = [-102, 0]"), "dowel"),
    (
        "dxf missing",
        ("[outline]\nstations = [\n", '[outline]\ndxf = "none.dxf"\njoin = 0.1\n#'),
        "outline.dxf",
    ),
]


@pytest.mark.parametrize(("name", "edit", "key"), BAD, ids=[row[0] for row in BAD])
def test_bad_input_is_exit_2_with_its_line_and_nothing_written(
    tmp_path: Path, name: str, edit: tuple[str, str], key: str
) -> None:
    """Faults of geometry carry file and line like all others, and leave no folder behind."""
    if name == "no cutter fits":
        edits: tuple[tuple[str, str], ...] = (edit, ("outside = 5.0 ", "outside = 0.4 "))
    elif name == "dxf missing":
        edits = (
            edit,
            ("    [-100, 0]", "#"),
            ("    [20, 30]", "#"),
            ("\n]\n\n# The deck", "\n\n# The deck"),
        )
    else:
        edits = (edit,)
    job = _job(tmp_path, *edits)
    result = _run("plan", job, "-o", tmp_path / "out", "--json")
    assert result.exit_code == 2, result.output
    faults = json.loads(result.stdout)["faults"]
    assert any(fault["key"].startswith(key) for fault in faults), faults
    assert all(fault["says"] and fault["file"] == str(job) and fault["line"] for fault in faults), (
        faults
    )
    assert not (tmp_path / "out").exists()


def test_faults_of_file_and_geometry_come_together(tmp_path: Path) -> None:
    """A misspelled key must not hide a plug outside the board."""
    job = _job(
        tmp_path, ("[board]\n", "[board]\ncolour = 1\n"), ("at = [[-66, 7]]", "at = [[-66, 70]]")
    )
    faults = json.loads(_run("check", job, "--json").stdout)["faults"]
    keys = [fault["key"] for fault in faults]
    assert "board.colour" in keys and any(key.startswith("plug[1].at") for key in keys)
    assert [fault["line"] for fault in faults] == sorted(fault["line"] for fault in faults)


def test_output_that_cannot_be_written_is_exit_2(tmp_path: Path) -> None:
    """A file where the folder should be: a clear message, and the file untouched."""
    job = _job(tmp_path)
    (tmp_path / "out").write_text("mine")
    result = _run("preview", job, "-o", tmp_path / "out")
    assert result.exit_code == 2
    assert "cannot write" in result.stderr
    assert (tmp_path / "out").read_text() == "mine"


@pytest.mark.parametrize(
    "content",
    [
        None,
        {},
        {"job.resolved.json": "{"},
        {"job.resolved.json": "[]"},
        {"job.resolved.json": "{}"},
    ],
)
def test_readback_of_a_folder_that_holds_no_plan(
    tmp_path: Path, content: dict[str, str] | None
) -> None:
    """Missing, empty or damaged: exit 2 and a message, whatever lies there."""
    folder = tmp_path / "plan"
    if content is not None:
        folder.mkdir()
        for name, text in content.items():
            (folder / name).write_text(text)
    result = _run("readback", folder, "--json")
    assert result.exit_code == 2
    faults = json.loads(result.stdout)["faults"]
    assert faults and "went wrong" not in faults[0]["says"]


def test_a_key_is_told_wrong_once(tmp_path: Path) -> None:
    """What the loader has found is not told again by the geometry in other words."""
    job = _job(tmp_path, ("bolt_hole = 5.5", "bolt_hole = 20.0"))
    faults = json.loads(_run("check", job, "--json").stdout)["faults"]
    assert [fault["key"] for fault in faults] == ["plug[1].bolt_hole"]
