"""One plan of the coupon: bodies as STL, the sheet of deck and casting, feeds over bores, and all
commands over it."""

from __future__ import annotations

import io
import json
import re
import shlex
import shutil
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import trimesh
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.cli.tables.exploration_table import exploration_text
from corepath.cli.tables.paragraphs import file_table, finding_lines
from corepath.gcode.read.motions import read_program
from corepath.planning.exploring.exploration import Exploration
from corepath.planning.exploring.limit_costs import limit_costs
from corepath.planning.folder.plan_folder import write_folder
from corepath.planning.folder.plan_seal import seal_of
from corepath.planning.plan import Plan, _warning
from corepath.planning.player import reels
from corepath.planning.prepare import prepare
from corepath.planning.progress import quiet
from corepath.planning.proving.reading import Reading, read_files, read_folder
from corepath.views.player import DWELL, STOP

COUPON = Path(__file__).parents[2] / "samples" / "coupon.toml"


@pytest.fixture(scope="module")
def planned(coupon_planned: Plan) -> Plan:
    return coupon_planned


def test_the_page_shows_what_limits_cost(planned) -> None:  # type: ignore[no-untyped-def]
    """The example of docs/clock.md is the answer to `plan --explore` of this sample."""
    stop = planned.prepared.stackup.skim.planned_stop
    costs = limit_costs(planned.prepared.job, planned.made, stop)
    page = (COUPON.parents[1] / "docs" / "clock.md").read_text("utf-8")
    lines = [line.rstrip() for line in exploration_text(Exploration(limits=costs)).splitlines()]
    assert "\n".join(lines).strip("\n") in page


def test_wood_and_casting_are_what_the_virtual_blank_holds(planned) -> None:  # type: ignore[no-untyped-def]
    """Closed bodies, within half a percent of the columns' volume (half a cell at each wall), in
    the bed's frame."""
    names = {name for name in planned.files if name.endswith(".stl")}
    assert names == {
        f"solid/after-{body}.stl"
        for body in ("A-wood", "B-wood", "B-casting", "C-wood", "C-casting")
    }
    for name in names:
        mesh = trimesh.load(io.BytesIO(planned.files[name]), file_type="stl")
        left = planned.readback.remaining[name[12]]
        bottom, top = left.wood if "wood" in name else left.casting
        columns = float(np.nansum(top.astype(float) - bottom)) * left.grid.px * left.grid.py
        assert mesh.is_watertight, name
        assert mesh.volume == pytest.approx(columns, rel=0.005), name
        assert mesh.bounds[:, 2] == pytest.approx([np.nanmin(bottom), np.nanmax(top)], abs=0.001), (
            name
        )


def test_bodies_of_an_earlier_plan_do_not_stay(planned, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """What lies in the folder belongs to its report; a file of somebody's own is left."""
    planned.write(tmp_path)
    (tmp_path / "solid" / "mine.stl").write_bytes(b"x")
    files = {name: content for name, content in planned.files.items() if not name.endswith(".stl")}
    from dataclasses import replace

    report = json.loads(files["report.json"])
    report["files"] = sorted(files)
    report["sha256"] = {name: known for name, known in report["sha256"].items() if name in files}
    files["report.json"] = json.dumps({**report, "seal": seal_of(report)})
    replace(planned, files=files).write(tmp_path)
    assert [path.name for path in (tmp_path / "solid").iterdir()] == ["mine.stl"]
    told = CliRunner().invoke(app, ["readback", str(tmp_path), "--stl"])
    assert told.exit_code == 0 and "solid/after-C-casting.stl" in told.output, told.output
    again = (tmp_path / "solid" / "after-C-casting.stl").read_bytes()
    assert again == planned.files["solid/after-C-casting.stl"]
    assert not read_folder(tmp_path).failed, "its report is sealed again"
    write_folder(tmp_path, files)
    assert [path.name for path in (tmp_path / "solid").iterdir()] == ["mine.stl"], (
        "bodies of another plan stay"
    )


def test_the_table_of_deck_cutters_has_the_files_minutes(planned) -> None:  # type: ignore[no-untyped-def]
    """Two figures of one path, one with its first way down and one without, are a riddle."""
    (taken,) = [one for one in planned.report["deck"]["cutters"] if one["taken"]]
    (deck,) = [one for one in planned.report["operations"] if one["name"] == "deck"]
    assert taken["minutes"] == deck["minutes"]


def test_the_sheet_of_deck_and_casting_goes_with_the_plan(planned) -> None:  # type: ignore[no-untyped-def]
    """From the read-back when all was cut; areas within the half cells of the rims."""
    told = planned.report["deck_casting"]
    assert told["from"] == "read-back" and [one["id"] for one in told["castings"]] == [
        "groove",
        "P1",
    ]
    for one in told["castings"]:
        assert one["shows"] == pytest.approx(one["footprint"], rel=0.02) and one["not_filled"] == 0
    sheet = planned.files["deck-and-casting.svg"]
    assert (
        'id="shows"' in sheet
        and "All shows as designed" in sheet
        and planned.prepared.digest in sheet
    )


def test_deviations_of_the_deck_are_those_of_the_exact_proof(planned) -> None:  # type: ignore[no-untyped-def]
    """200,000 places, each in one class; the worst of all searched is no better than the worst
    class that is filled."""
    told = planned.report["deck"]["deviation"]
    assert told["points"] == sum(told["counts"]) == 200_000
    filled = [k for k, count in enumerate(told["counts"]) if count]
    assert (
        told["low"]["value"] <= told["edges"][filled[0]]
        and told["high"]["value"] >= told["edges"][filled[-1] - 1]
    )
    assert (
        told["allowed"]["low"]
        <= told["low"]["value"]
        < told["mean"]
        < told["high"]["value"]
        <= 0.051
    )
    sheet = planned.files["deck-deviation.svg"]
    assert planned.prepared.digest in sheet and len(sheet) < 40_000
    dark = [int(k) for k in re.findall(r'class="bar f1" id="class-(\d+)"', sheet)]
    assert dark and not any(told["counts"][k] for k in dark)


def test_full_feed_over_a_bore_that_the_deck_opens_is_found(planned) -> None:  # type: ignore[no-untyped-def]
    """Thin wood over a hollow breaks out in splinters: the file must slow down there, and the
    read-back sees to it."""
    texts = {
        name: text
        for name, text in planned.files.items()
        if name.endswith(".nc") and "/" not in name
    }
    assert not planned.findings
    deck = texts["08-C-deck.nc"]
    feeds = sorted({float(word) for word in re.findall(r"^F([0-9.]+)$", deck, re.M)})
    work = next(work for work in planned.prepared.works if work.name == "deck")
    half = work.cutting.finish / 2
    assert any(feed == pytest.approx(half, abs=0.6) for feed in feeds)
    fast = re.sub(r"^F([0-9.]+)$", lambda m: f"F{work.cutting.finish:.0f}", deck, flags=re.M)
    found = read_files(planned.prepared, {**texts, "08-C-deck.nc": fast}).findings
    wrong = [finding for finding in found if finding.kind == "feed-too-high"]
    assert wrong and all("where the deck opens it" in finding.message for finding in wrong)
    (place,) = planned.prepared.board.places
    assert all(abs(finding.place[1] - place.y) < 60 for finding in wrong)


def test_the_first_core_shows_what_plan_prints(planned) -> None:  # type: ignore[no-untyped-def]
    """docs/first-core.md: minutes, number of files and findings of the plan that a new user makes
    first."""
    page = (COUPON.parents[1] / "docs" / "first-core.md").read_text(encoding="utf-8")
    shown = page.partition("    corepath plan core.toml\n")[2].partition("\nThe folder")[0]
    printed = file_table(planned.made, planned.results.minutes, planned.results.apart)
    programs = [name for name in planned.files if name.endswith(".nc") and "/" not in name]
    told = [printed, f"Wrote {len(programs)} G-code files", finding_lines(planned.findings)]
    told.append("Next: cut and measure as it says, then: corepath record core.toml")
    for line in [line.strip() for line in shown.splitlines() if line.strip() not in ("", "…")]:
        assert any(line in text for text in told), line


def _places_by_pygcode(text: str) -> np.ndarray:
    """Where each line of a file leads to, repeats left out, as the registry's package pygcode has
    it (n, 3)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pygcode = pytest.importorskip("pygcode")
        machine = pygcode.Machine()
        places = []
        for line in text.splitlines():
            machine.process_block(pygcode.Line(line).block)
            places.append((machine.pos.X, machine.pos.Y, machine.pos.Z))
    return _once(np.array(places))


def _once(places: np.ndarray) -> np.ndarray:
    keep = np.ones(len(places), dtype=bool)
    keep[1:] = (np.abs(np.diff(places, axis=0)) > 1e-9).any(axis=1)
    return places[keep]


def test_an_independent_parser_comes_to_the_same_places(planned) -> None:  # type: ignore[no-untyped-def]
    """All files as emitted, read by pygcode (a parser of others' making): a word misread by both
    would be needed."""
    for made in planned.made:
        ours = read_program(made.text, made.name).end
        theirs = _places_by_pygcode(made.text)
        ours = _once(ours[~np.isnan(ours).any(axis=1)])
        assert len(ours) > 10 and len(theirs) - len(ours) in (1, 2), made.name
        assert ours == pytest.approx(theirs[-len(ours) :], abs=1e-9), made.name


def _stands(text: str) -> dict[int, tuple[float, float, float]]:
    """Where the cutter stands after each line that moves it, by the words of the text alone."""
    at, out = {"X": 0.0, "Y": 0.0, "Z": 0.0}, {}
    for number, line in enumerate(text.splitlines(), 1):
        words = re.findall(r"([XYZ])(-?[0-9.]+)", re.sub(r"\(.*?\)", "", line))
        at.update({axis: float(value) for axis, value in words})
        if words:
            out[number] = at["X"], at["Y"], at["Z"]
    return out


def test_the_preview_shows_where_each_line_ends_and_when(planned) -> None:  # type: ignore[no-untyped-def]
    """Else the slider would lie. Drilling cycles, as the dowels may have, move more than their line
    says."""
    texts = {
        name: text
        for name, text in planned.files.items()
        if name.endswith(".nc") and "/" not in name
    }
    told = reels(planned.prepared, planned.readback, texts)
    assert [reel.file for reel in told] == [entry["file"] for entry in planned.report["operations"]]
    entries = planned.report["operations"]
    minutes = {one["file"]: one["minutes"] + one["minutes_apart"]["dwell"] for one in entries}
    for reel in told:
        moved = reel.motions
        assert moved.time[-1] / 60 == pytest.approx(minutes[reel.file], abs=0.15)
        assert (np.diff(moved.time) >= 0).all() and (np.diff(moved.line) >= 0).all()
        if reel.name == "dowels":
            continue
        stands = _stands(reel.text)
        last = np.flatnonzero(np.append(np.diff(moved.line) > 0, True))
        shown = {
            int(moved.line[k]): moved.points[k] for k in last if not moved.flags[k] & (DWELL | STOP)
        }
        assert len(shown) > 10 and set(shown) <= set(stands)
        off = max(np.abs(point - stands[line]).max() for line, point in shown.items())
        assert off < 1e-9, reel.file


def test_the_preview_goes_with_the_plan(planned, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """One page, not too heavy for a phone, linked with the sheet both ways; gone where a plan has
    no files any more."""
    page = planned.files["preview.html"]
    assert planned.prepared.digest in page and 'href="sheet.html"' in page and len(page) < 1_600_000
    sheet = planned.files["sheet.html"]
    led = set(re.findall(r'href="preview\.html#([^"]+)"', sheet))
    assert 'href="preview.html"' in sheet and {"03-A-groove.nc", "08-C-deck.nc"} <= led <= set(
        planned.files
    )
    planned.write(tmp_path)
    from dataclasses import replace

    files = {name: content for name, content in planned.files.items() if name != "preview.html"}
    replace(planned, files=files).write(tmp_path)
    assert not (tmp_path / "preview.html").exists() and (tmp_path / "sheet.html").exists()


def test_the_preview_of_a_failed_plan_says_so_first(planned) -> None:  # type: ignore[no-untyped-def]
    """A page that plays well must not make anybody cut."""
    failed = SimpleNamespace(failed=True)
    assert _warning(planned.prepared, planned.readback, False) == ""
    assert "DO NOT CUT" in _warning(failed, planned.readback, True)
    assert "No G-code was written" in _warning(failed, planned.readback, False)


@dataclass(frozen=True)
class Row:
    """A command over the coupon's plan: what is typed, and the command that it ends with, to be
    typed next."""

    words: str
    following: str


ROWS = (
    Row("new other.toml", "corepath check other.toml"),
    Row("check coupon.toml", "corepath plan coupon.toml"),
    Row("check coupon.toml --suggest", "corepath plan coupon.toml"),
    Row("plan coupon.toml -o coupon-plan", "corepath record coupon.toml"),
    Row("preview coupon.toml", "corepath plan coupon.toml"),
    Row("readback coupon-plan", "corepath record coupon.toml --cut dowels"),
    Row(
        "readback coupon-plan/05-B-skim-pass-1.nc --blank 240x90x10.6 --cutter flat:20 --zero "
        "middle,bed --cell 0.5",
        "",
    ),
    Row("template coupon.toml -o t.svg", "corepath plan coupon.toml"),
    Row("template coupon.toml -o u.svg --tile a4", "corepath plan coupon.toml"),
    Row(
        "restart coupon-plan/03-A-groove.nc --from-line 60",
        "corepath record coupon.toml --cut groove",
    ),
    Row(
        "record coupon.toml",
        "corepath record coupon.toml --cut dowels --cut plug-pockets --cut groove",
    ),
    Row("record coupon.toml --cut dowels --date 2026-05-17", "corepath plan coupon.toml"),
)


@pytest.fixture
def shop(planned, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:  # type: ignore[no-untyped-def]
    """A folder with the coupon's job and plan, which is the current one; what takes long has been
    done already.

    Gives the steps that the progress was told.
    """
    monkeypatch.chdir(tmp_path)
    shutil.copy(COUPON, "coupon.toml")
    planned.write(Path("coupon-plan"))
    told: list[str] = []

    def prepared(path: Path, progress: Any = quiet) -> Any:
        progress("checks", 0.5)
        return planned.prepared if path.name == "coupon.toml" else prepare(path, progress)

    def read_again(folder: Path, progress: Any) -> Reading:
        progress("reading back", 0.5)
        return Reading(planned.prepared, planned.readback)

    @contextmanager
    def telling(silent: bool) -> Iterator[Any]:
        yield quiet if silent else lambda message, share: told.append(message)

    monkeypatch.setattr("corepath.planning.prepare.prepare", prepared)
    monkeypatch.setattr("corepath.planning.plan.plan", lambda job, **options: planned)
    monkeypatch.setattr("corepath.planning.proving.reading.read_folder", read_again)
    monkeypatch.setattr("corepath.planning.plan.make_files", lambda *words: planned.made)
    monkeypatch.setattr(
        "corepath.planning.plan._drawings", lambda *words: {"overview.svg": "<svg/>"}
    )
    monkeypatch.setattr("corepath.cli.progress_line.showing", telling)
    return told


def typed(words: str, *more: str) -> Any:
    return CliRunner().invoke(app, [*words.split(), *more])


@pytest.mark.parametrize("row", ROWS, ids=[row.words.split(" --blank")[0] for row in ROWS])
def test_each_command_speaks_plainly_and_names_the_next(shop: list[str], row: Row) -> None:
    """80 columns, no control codes in a pipe, progress, and at the end what is to be typed next, as
    it stands."""
    shown = typed(row.words)
    assert shown.exit_code == 0, shown.output
    assert "\x1b" not in shown.output and "Next:" in shown.stdout and shown.stderr == ""
    lines = shown.stdout.splitlines()
    assert not [line for line in lines if len(line) > 80 and "corepath " not in line]
    assert "\n\n\n" not in shown.stdout and lines[0].strip()
    last = shown.stdout.partition("Next:")[2]
    commands = [
        line.strip().partition("then: ")[2] or line.strip()
        for line in last.splitlines()
        if "corepath " in line
    ]
    assert (row.following in commands) if row.following else not commands
    for command in commands:
        named = shlex.split(command)
        assert all(
            Path(word).exists() for word in named if word.endswith((".toml", ".nc", "-plan"))
        ), command
    if not row.words.startswith("plan"):  # what its own parts tell is stood in for
        assert shop


@pytest.mark.parametrize("row", ROWS, ids=[row.words.split(" --blank")[0] for row in ROWS])
def test_each_command_can_be_quiet_and_speak_to_a_program(shop: list[str], row: Row) -> None:
    """--quiet: no hint, no progress, the same exit code; --json: one document on stdout, nothing
    else anywhere."""
    first = typed(row.words, "--quiet")
    assert first.exit_code == 0 and "Next:" not in first.output and first.stdout and not shop, (
        first.output
    )
    for name in ("other.toml", "other.measure.csv", "coupon-plan/03-A-groove.from-60.nc"):
        Path(name).unlink(missing_ok=True)
    second = typed(row.words, "--json")
    assert second.exit_code == 0 and second.stderr == "" and not shop, second.output
    assert isinstance(json.loads(second.stdout), dict)


def test_a_restart_whose_job_is_not_here_names_no_command(shop: list[str]) -> None:
    """A command with the name of a file that is not there cannot be pasted."""
    Path("coupon.toml").rename("elsewhere.toml")
    shown = typed("restart coupon-plan/03-A-groove.nc --from-line 60")
    assert (
        "then at the machine." in shown.stdout
        and "corepath " not in shown.stdout.partition("Next:")[2]
    )


def test_a_file_that_does_not_what_is_asked_can_be_read_again(shop: list[str]) -> None:
    """What was typed stands there to be typed once more; each kind of finding says what to do, and
    where more is."""
    words = "readback coupon-plan/03-A-groove.nc --blank 240x90x10.6 --cutter 2=flat:6 --cell 0.5"
    shown = typed(words)
    assert shown.exit_code == 1 and shown.stdout.rstrip().endswith(
        f"Next: fix it, then:\n    corepath {words}"
    )
    assert "docs/readback.md" in shown.stdout
