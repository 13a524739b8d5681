"""A builder with one blank: from `new` to a job that plans, with its risks named, or at once what
cannot be and the nearest that works."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.job.text.full_board import BoardSizes, board_text
from corepath.lengths import INCH, MM
from corepath.planning.prepare import prepare
from tests.given import load_text


def _new(path: Path, *words: str) -> Result:
    return CliRunner().invoke(app, ["new", str(path), *words])


def _sizes(length: float, width: float, blank: float, core: float, edge: float) -> list[str]:
    named = {"length": length, "width": width, "blank": blank, "core": core, "edge": edge}
    return [word for name, size in named.items() for word in (f"--{name}", f"{size:g}")]


def _assert_no_guard_is_lowered(job: Job) -> None:
    """Only what a builder may risk: floor, clean-up, casting that holds the rim, dowels' height."""
    plain = load_text(board_text("Plain", BoardSizes(1350, 410, 10.2, 9.5, 3.2), MM, ""), "plain")
    for name in ("tolerances", "limits", "machine", "cutter", "trim", "milling"):
        assert getattr(job, name) == getattr(plain, name), name
    assert job.groove.least_floor >= 0.25 and job.hold.least_height >= 2.5
    assert job.deck.clean_up >= 0.0 and job.groove.leak_floor == plain.groove.leak_floor
    assert job.hold.model_copy(update={"least_height": 3.0}) == plain.hold


def test_the_usual_blank_comes_out_in_mm(tmp_path: Path) -> None:
    """Issue of the trade, common practice, no source: a blank of 10.2 planed flat, a core of 9.5
    with an edge of 3.2, skims of 0.5. One command: what was asked for is in the file, no check
    fails, each risk is on the screen and in the file."""
    path = tmp_path / "twin-tip.toml"
    found = _new(path, *_sizes(1350, 410, 10.2, 9.5, 3.2))
    assert found.exit_code == 0, found.output
    job, text = load_job(path), path.read_text(encoding="utf-8")
    assert (job.blank.thickness, job.board.thickness, job.board.edge_thickness) == (10.2, 9.5, 3.2)
    assert (len(job.plug[0].at), len(job.insert[0].at), job.skim.largest_step) == (4, 12, 1.0)
    assert job.skim.step <= 0.5
    _assert_no_guard_is_lowered(job)
    prepared = prepare(path)
    assert not prepared.failed
    left, low, right, high = prepared.board.outline.bounds
    assert (right - left, high - low) == pytest.approx((1350.0, 410.0), abs=0.1)
    risks = re.findall(r"^RISK: (.*)$", found.stdout, re.MULTILINE)
    assert any("tape it: it may leak" in risk for risk in risks)
    assert all(f"# RISK: {risk}" in text for risk in risks)
    assert f"corepath check {path}" in found.stdout


def test_the_usual_blank_comes_out_in_inches(tmp_path: Path) -> None:
    """The same in fractions: 53 by 16 in, 0.4 of blank, 3/8 of core, 1/8 of edge."""
    path = tmp_path / "twin-tip.toml"
    found = _new(path, "--length", "53", "--width", "16", "--blank", "0.4", "--core", "3/8",
                 "--edge", "1/8", "--inch", "--json")  # fmt: skip
    assert found.exit_code == 0, found.output
    job, told = load_job(path), json.loads(found.stdout)
    thicknesses = (job.board.thickness, job.blank.thickness)
    assert job.units == "inch" and thicknesses == pytest.approx((9.525, 10.16), abs=1e-9)
    assert told["risks"] and set(told["set"]) >= {"groove.floor"}
    assert job.groove.least_floor >= 0.25 and not prepare(path).failed


@pytest.mark.parametrize(
    ("sizes", "message"),
    [
        ((1350, 410, 10.2, 9.5, 9.8), "--edge: is thicker than the core\n  got: 9.8 mm\n"),
        ((300, 410, 10.2, 9.5, 3), "--width: is more than the length"),
        ((13500, 410, 10.2, 9.5, 3), "--length: is no size of a board"),
    ],
)
def test_sizes_that_cannot_be_are_told_and_write_nothing(
    tmp_path: Path, sizes: tuple[float, ...], message: str
) -> None:
    found = _new(tmp_path / "core.toml", *_sizes(*sizes))
    assert found.exit_code == 2 and message in found.stderr, found.output
    assert list(tmp_path.iterdir()) == []


def test_a_name_that_is_taken_is_told_before_anything_is_worked_out(tmp_path: Path) -> None:
    (tmp_path / "core.toml").write_text("mine", encoding="utf-8")
    found = _new(tmp_path / "core.toml", *_sizes(1350, 410, 10.2, 9.5, 3.2))
    assert found.exit_code == 2 and "is there already" in found.stderr
    assert (tmp_path / "core.toml").read_text(encoding="utf-8") == "mine"


def test_boards_of_all_sizes_are_jobs_in_both_units() -> None:
    """The text alone: it loads, its core and edge are to the last digit what was typed, and what
    length and width do not take is left out."""
    holds: dict[float, tuple[int, int]] = {}
    for length, width in ((2400.0, 600.0), (1350.0, 410.0), (500.0, 260.0), (300.0, 140.0)):
        for units in (MM, INCH):
            sizes = BoardSizes(length, width, 13.0, 3.0 / 8.0 * 25.4, 4.0)
            job = load_text(board_text('A "board"', sizes, units, "corepath new"), "x")
            assert job.board.thickness == pytest.approx(sizes.core, abs=1e-9)
            assert max(t for _, t in job.deck.stations or ()) == job.board.thickness
            assert job.outline.stations is not None
            assert job.outline.stations[0][0] == pytest.approx(-length / 2, abs=0.001)
            holds[length] = (len(job.plug[0].at), len(job.insert[0].at) if job.insert else 0)
    assert holds == {2400.0: (4, 12), 1350.0: (4, 12), 500.0: (4, 12), 300.0: (2, 6)}
    thin = load_text(board_text("Thin", BoardSizes(1350, 410, 8, 5, 3), MM, "x"), "x")
    assert thin.insert == ()


@pytest.mark.slow
def test_a_hopeless_blank_says_the_nearest_that_works(tmp_path: Path) -> None:
    """0.3 of wood between blank and core, none at all, and a board without inserts; what is named
    then comes out."""
    path = tmp_path / "core.toml"
    for sizes in (
        (1350, 410, 10.2, 9.9, 3.0),
        (1350, 410, 9.5, 9.5, 3.2),
        (1350, 410, 7.0, 6.8, 3.2),
    ):
        found = _new(path, *_sizes(*sizes))
        assert found.exit_code == 1 and not path.exists(), found.output
        line = next(one for one in found.stderr.splitlines() if one.startswith("Nearest"))
        named = re.findall(r"--(core|blank) ([0-9]+(?:\.[0-9]+)?)", line)
        assert named, line
        for name, value in named:
            other = BoardSizes(**{**_named(sizes), name: float(value)})
            words = (other.length, other.width, other.blank, other.core, other.edge)
            assert _new(path, *_sizes(*words), "-q").exit_code == 0
            path.unlink()


def _named(sizes: tuple[float, ...]) -> dict[str, float]:
    return dict(zip(("length", "width", "blank", "core", "edge"), sizes, strict=True))


@pytest.mark.slow
def test_from_new_to_files_in_three_commands(tmp_path: Path) -> None:
    """new, check, plan: the tight blank of a short board is cut and read back without a finding."""
    path = tmp_path / "short.toml"
    assert _new(path, *_sizes(620, 300, 10.2, 9.5, 3.1)).exit_code == 0
    assert CliRunner().invoke(app, ["check", str(path)]).exit_code == 0
    planned = CliRunner().invoke(app, ["plan", str(path), "-o", str(tmp_path / "plan")])
    assert planned.exit_code == 0, planned.output
    report = json.loads((tmp_path / "plan" / "report.json").read_text(encoding="utf-8"))
    assert report["readback"]["findings"] == [] and len(report["operations"]) >= 8
