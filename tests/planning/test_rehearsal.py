"""A rehearsal walks what the files will travel: high, with the spindle off, inside the travel, and
says so when not."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import Point, Polygon

from corepath.caching.folder_store import store_of
from corepath.gcode.read.motions import read_program
from corepath.job.load import load_job
from corepath.job.model import Job, ObstacleSection
from corepath.planning.plan import Plan, plan
from corepath.planning.prepare import prepare_job
from corepath.planning.proving.reading import read_folder, shop_of
from corepath.planning.restart.restart_program import restart, write_restart
from corepath.readback.words.rehearsed import check_rehearsals

SAMPLES = Path(__file__).parents[2] / "samples"
CLAMP = ((-118.0, -44.0), (-106.0, -44.0), (-106.0, -38.0), (-118.0, -38.0))


@pytest.fixture(scope="module")
def job() -> Job:
    """The coupon with a clamp near one corner in A, a place to touch, a plate and a probe."""
    job = load_job(SAMPLES / "coupon.toml")
    probe = {"probe": "stop", "probe_tip": 2.0, "probe_plate": 12.0}
    machine = job.machine.model_copy(update={"touch_at": (106.0, 30.0), **probe})
    return job.model_copy(
        update={
            "machine": machine,
            "obstacle": (ObstacleSection(points=CLAMP, height=25.0, setups=("A",)),),
        }
    )


@pytest.fixture(scope="module")
def planned(job: Job) -> Plan:
    return plan(prepare_job(job, SAMPLES), store=store_of())


def test_points_before_and_after_stand_in_the_report(planned: Plan):
    """Counted in the text: what the report says of thinning and arcs must be what lies in the
    files."""
    for entry in json.loads(planned.files["report.json"])["operations"]:
        lines = planned.files[entry["file"]].splitlines()
        assert entry["points"]["lines"] == sum(line.startswith("G1 ") for line in lines)
        assert entry["points"]["arcs"] == sum(line.startswith(("G2 ", "G3 ")) for line in lines)
        if entry["name"] == "deck":
            assert entry["points"]["given"] > 1.4 * (
                entry["points"]["lines"] + entry["points"]["arcs"]
            )
        if entry["name"] in ("groove", "plug-pockets"):
            assert entry["points"]["given"] > 2 * (
                entry["points"]["lines"] + entry["points"]["arcs"]
            )


def walks(planned: Plan) -> dict[str, str]:
    return {name: text for name, text in planned.files.items() if name.startswith("rehearsal/")}


def kinds(planned: Plan, name: str, text: str, **shop: object) -> tuple[str, ...]:
    """What is found in one rehearsal, as if the folder held no other."""
    assert planned.readback is not None
    held = replace(shop_of(planned.prepared), **shop)
    found = check_rehearsals(planned.prepared.works, held, {name: text}, planned.readback.travelled)
    return tuple(found.kinds)


def test_one_for_each_set_up_and_all_in_the_report(planned: Plan):
    """A file that the report does not name cannot be matched with the sheet."""
    assert [str(finding) for finding in planned.findings] == []
    assert list(walks(planned)) == [f"rehearsal/{setup}-rehearsal.nc" for setup in "ABC"]
    report = json.loads(planned.files["report.json"])["rehearsals"]
    assert [entry["file"] for entry in report] == list(walks(planned))
    felt = [name for name in planned.files if name.startswith("touch/")]
    touches = json.loads(planned.files["report.json"])["touches"]
    assert felt and [entry["file"] for entry in touches] == felt
    for name in felt:
        assert name in str(planned.files["sheet.html"])
    assert {"file", "setup", "extents", "sha256"} <= set(report[0])


def test_the_spindle_never_starts_and_nothing_comes_down(planned: Plan):
    """The one file that is run with hands near the table."""
    for name, text in walks(planned).items():
        program = read_program(text, name)
        files = [one for one in planned.made if one.program.setup == name.partition("/")[2][0]]
        clear = max(one.program.clear - one.program.zero.z for one in files)
        assert not program.spindle_on.any() and "M3" not in text and "\nM5\n" in text
        assert np.nanmin(program.end[:, 2]) >= clear - 1e-4
        assert program.ended and program.tool == files[0].program.cutter.number
        assert program.kind[0] == 1, "the first way down is slow"
        assert text.splitlines()[1] == "(Job: Coupon)"
        assert any(
            line.startswith(f"(Plan: {planned.prepared.digest}") for line in text.splitlines()
        )


def test_it_reaches_all_that_the_files_reach(planned: Plan):
    """A clamp in the way of a corner that was not rehearsed is found with the cutter turning."""
    for name, text in walks(planned).items():
        program = read_program(text, name)
        files = [one for one in planned.made if one.program.setup == name.partition("/")[2][0]]
        for axis in (0, 1):
            least = min(one.extents[axis][0] for one in files)
            largest = max(one.extents[axis][1] for one in files)
            # after the first way down
            ahead = np.arange(program.count) > np.flatnonzero(program.kind == 0)[0]
            walked = program.end[ahead & (program.kind > 0) & (program.feed == 2000.0), axis]
            assert walked.min() <= least + 1e-3
            assert walked.max() == pytest.approx(largest, abs=1e-3)


def test_dowels_touch_place_and_obstacle_are_visited(planned: Plan):
    """In B the touch place lies at its mirror image; the clamp stands in A only. Nothing marks the
    bare middle."""
    places = {name: read_program(text, name).end[:, :2] for name, text in walks(planned).items()}

    def visited(name: str, x: float, y: float) -> bool:
        return bool(
            (np.hypot(*(places[f"rehearsal/{name}-rehearsal.nc"] - (x, y)).T) < 0.001).any()
        )

    assert all(visited(setup, x, 0.0) for setup in "ABC" for x in (-113.0, 102.0))
    for setup, mark in (("A", "pencil cross"), ("B", "hole"), ("C", "hole")):
        text = walks(planned)[f"rehearsal/{setup}-rehearsal.nc"]
        # as high as at the first stop, and so that message says
        (high,) = re.findall(r"Tip must be about (\S+ mm) above", text)
        says = [f"over the {mark} of dowel {k}, {high} up, cycle start goes on" for k in (1, 2)]
        assert [one in text for one in says] == [True, True]
        lower = re.sub(r"(of dowel 2, )\S+ mm up", r"\g<1>9.9 mm up", text)
        assert kinds(planned, f"rehearsal/{setup}-rehearsal.nc", lower) == ("words",)
    assert visited("A", 106.0, 30.0) and visited("B", 106.0, -30.0) and visited("C", 106.0, 30.0)
    near = [
        Polygon(CLAMP).distance(Point(*place)) < 0.01
        for place in places["rehearsal/A-rehearsal.nc"].tolist()
    ]
    assert sum(near) >= 4
    assert "obstacle" not in walks(planned)["rehearsal/B-rehearsal.nc"]


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        (("M0\nF1000", "M0\nS9000 M3\nF1000"), "rehearsal"),
        (("G1 Y", "G0 Z2\nG1 Y"), "rehearsal"),
        (("F1000.0\nG1 Z", "G0 Z"), "rehearsal"),
        (("M0\nF1000.0", "M0\nG0 X0\nF1000.0"), "start-unknown"),
        (("\nM0\nF1000.0", "\nG43 H1\nM0\nF1000.0"), "length-offset"),
        (("F2000.0\nG1 X", "F2000.0\nG1 X9"), "travel"),
        (("G17\n", ""), "preamble"),
        (("M0\nF1000", "F1000"), "missing-stop"),
        (("M0\n(Pass 1", "(Pass 1"), "missing-stop"),
        (("M0\n(Pass 2", "(Pass 2"), "missing-stop"),
        (("M0\n(Pass 3", "(Pass 3"), "missing-stop"),
        (("G54\n", "G55\n"), "zero"),
        (("G64\n", "G61\n"), "path-mode"),
        (("G0 X-113.0000", "G0 X-112.0000"), "rehearsal"),
        (("G0 X-113.0000", "G0 X113.0000"), "rehearsal"),
        (("G0 X102.0000", "G0 X102.5000"), "rehearsal"),
        (("G0 X106.0000 Y30.0000", "G0 X106.0000 Y-30.0000"), "rehearsal"),
        (("F1000.0\nG1 Z", "F1100.0\nG1 Z"), "first-way"),
    ],
)
def test_what_is_wrong_in_a_rehearsal_is_found(change: tuple[str, str], kind: str, planned: Plan):
    """A check that cannot fail is none."""
    name = "rehearsal/A-rehearsal.nc"
    text = walks(planned)[name].replace(*change)
    assert text != walks(planned)[name]
    assert kind in kinds(planned, name, text)
    assert kinds(planned, name, walks(planned)[name]) == ()


def test_a_mark_over_which_the_tip_stands_already_is_shown(planned: Plan):
    """As the middle of a cradle, where the first way down ends: a second stop shows it, without a
    move.

    Here the first way down is made to end over dowel 1; that it is another way than planned is
    found besides.
    """
    name = "rehearsal/A-rehearsal.nc"
    lines = walks(planned)[name].split("\n")
    level = lines.index("F2000.0") + 1
    goes = next(k for k, line in enumerate(lines) if line.startswith("G0 X-113.0000"))
    assert lines[level].startswith("G1 X") and goes > level
    rest = [*lines[level + 1 : goes], *lines[goes + 1 :]]
    assert kinds(planned, name, "\n".join([*lines[:level], "G1 X-113.0000 Y0.0000", *rest])) == (
        "first-way",
    )
    assert "rehearsal" in kinds(
        planned, name, "\n".join([*lines[:level], "G1 X-112.0000 Y0.0000", *rest])
    )


def test_the_tip_stands_as_high_as_the_message_says(planned: Plan):
    """A rehearsal 1 mm higher than its words lets a wrong touch of Z pass for a right one."""
    for name, text in walks(planned).items():
        line = next(line for line in text.split("\n") if line.startswith("G1 Z"))
        higher = text.replace(line, f"G1 Z{float(line[4:]) + 1.0:.4f}")
        assert kinds(planned, name, higher) == ("words",), name
        said = next(
            line for line in text.split("\n") if line.startswith("(MSG, Tip must be about ")
        )
        assert kinds(planned, name, text.replace(f"{said}\n", "")) == ("words",), name
        digit = said[len("(MSG, Tip must be about ")]
        wrong = said.replace(f"about {digit}", f"about {(int(digit) + 1) % 10}")
        assert kinds(planned, name, text.replace(said, wrong)) == ("words",), name


def test_a_walk_that_leaves_out_what_it_is_to_show_is_found(planned: Plan):
    """Each line of the rectangle and of the way round the clamp in A, lost or moved by 1 mm."""
    name = "rehearsal/A-rehearsal.nc"
    lines = walks(planned)[name].split("\n")
    first = next(k for k, line in enumerate(lines) if line.startswith("G0 "))
    walked = [k for k, line in enumerate(lines) if line.startswith(("G1 X", "G1 Y")) and k > first]
    assert len(walked) == 8, "round two rectangles"
    for k in walked:
        letter, value = lines[k][3], float(lines[k][4:])
        moved = [*lines[:k], f"G1 {letter}{value + 1.0:.4f}", *lines[k + 1 :]]
        assert kinds(planned, name, "\n".join(moved)) == ("rehearsal",), lines[k]
    dowel = next(k for k, line in enumerate(lines) if line.startswith("G0 X102"))
    assert "rehearsal" in kinds(planned, name, "\n".join(lines[:dowel] + lines[dowel + 3 :]))
    clamp = max(k for k, line in enumerate(lines) if line == "M0")
    assert kinds(planned, name, "\n".join([*lines[: clamp + 1], "G0 X0 Y0", "M5", "M2", ""])) == (
        "rehearsal",
    )


def test_a_folder_tells_a_rehearsal_that_was_changed_or_is_missing(planned: Plan, tmp_path: Path):
    planned.write(tmp_path)
    assert not read_folder(tmp_path).failed
    path = tmp_path / "rehearsal" / "B-rehearsal.nc"
    path.write_text(path.read_text().replace("M5\n", "M5\nS1000 M3\n", 1))
    (tmp_path / "rehearsal" / "C-rehearsal.nc").unlink()
    felt = tmp_path / "touch" / "B-holes.nc"
    felt.write_text(felt.read_text().replace("X must be -113.000", "X must be -113.100"))
    (tmp_path / "touch" / "A-z-bed.nc").unlink()
    found = read_folder(tmp_path).findings
    assert {"changed", "rehearsal", "missing-file"} <= {one.kind for one in found}
    of_touches = {(one.file, one.kind) for one in found if one.file.startswith("touch/")}
    assert of_touches == {
        ("touch/B-holes.nc", "changed"),
        ("touch/B-holes.nc", "zero"),
        ("touch/A-z-bed.nc", "missing-file"),
    }


def test_a_digit_altered_in_any_file_of_a_folder_is_found(planned: Plan, tmp_path: Path):
    """Each file says something that someone cuts by, reads from paper or believes: one digit in
    each of them."""
    planned.write(tmp_path)
    names = json.loads((tmp_path / "report.json").read_text())["files"]
    assert {
        "sheet.html",
        "overview.svg",
        "preview.html",
        "geometry.json",
        "rehearsal/A-rehearsal.nc",
    } <= set(names)
    for name in names:
        path = tmp_path / name
        key = (
            '"minutes": '
            if name == "report.json"
            else '"spoil_board": '
            if name == "job.resolved.json"
            else ""
        )
        text = path.read_text()
        spoilt = re.sub(
            rf"({key}\d+\.)(\d)",
            lambda found: f"{found[1]}{(int(found[2]) + 1) % 10}",
            text,
            count=1,
        )
        assert spoilt != text, name
        path.write_text(spoilt)
    found = read_folder(tmp_path).findings
    assert {one.file for one in found if one.kind == "changed"} == set(names)


def test_words_of_a_rehearsal_are_held_to_the_plan(planned: Plan):
    """The first file that runs in a set-up, and the one that nobody reads twice."""
    name = "rehearsal/B-rehearsal.nc"
    text = walks(planned)[name]
    assert kinds(planned, name, text) == ()
    assert kinds(planned, name, text.replace("(Face up: bottom up)", "(Face up: deck up)")) == (
        "words",
    )
    assert kinds(planned, name, text.replace("(MSG, Fit T3", "(MSG, Fit T2")) == ("words",)
    assert kinds(planned, name, text, exact_path=True) == ("path-mode",)


def test_every_file_that_a_control_may_run_is_looked_at(planned: Plan, tmp_path: Path):
    """Strangers are named, whatever the case of their ending; a restart must be one of the file
    beside it."""
    planned.write(tmp_path)
    write_restart(restart(tmp_path / "03-A-groove.nc", 100), tmp_path / "03-A-groove.from-100.nc")
    good = (tmp_path / "03-A-groove.from-100.nc").read_text()
    (tmp_path / "03-A-groove.from-101.nc").write_text(good)
    (tmp_path / "11-A-other.from-7.nc").write_text(good)
    (tmp_path / "STRAY.NC").write_text(good)
    (tmp_path / "notes.nc").mkdir()
    found = {(one.kind, one.file) for one in read_folder(tmp_path).findings}
    wanted = {
        ("changed", "03-A-groove.from-101.nc"),
        ("order", "11-A-other.from-7.nc"),
        ("order", "STRAY.NC"),
    }
    assert found == wanted | {("mixed-plans", "STRAY.NC")} or found == wanted


def test_a_restart_in_the_folder_is_no_file_of_the_plan(planned: Plan, tmp_path: Path):
    """It must not spoil the read-back of the folder, nor lie there when the file it belongs to is
    another one."""
    planned.write(tmp_path)
    made = restart(tmp_path / "03-A-groove.nc", 100)
    write_restart(made, tmp_path / "03-A-groove.from-100.nc")
    assert not read_folder(tmp_path).failed
    assert planned.write(tmp_path).withdrawn == ("03-A-groove.from-100.nc",)
    assert (tmp_path / "withdrawn" / "03-A-groove.from-100.nc").exists()


def test_they_are_withdrawn_when_a_check_fails(job: Job, planned: Plan, tmp_path: Path):
    """A rehearsal of another plan must not lie there as if it belonged to this one."""
    planned.write(tmp_path)
    update: dict[str, Any] = {"blank": job.blank.model_copy(update={"thickness": 9.0})}
    failed = plan(prepare_job(job.model_copy(update=update), SAMPLES))
    assert failed.failed and not walks(failed)
    failed.write(tmp_path)
    assert list((tmp_path / "rehearsal").glob("*.nc")) == []
    assert len(list((tmp_path / "rehearsal" / "withdrawn").glob("*.nc"))) == 3
    planned.write(tmp_path)
    assert len(list((tmp_path / "rehearsal").glob("*.nc"))) == 3
