"""Bad input on the coupon, through the commands: each a clear message, all at once, exit 2, nothing
written."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import ezdxf
import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.record.ascut import Record, save_record
from corepath.job.record.entry_kinds import Entry

runner = CliRunner()
COUPON = (Path(__file__).parents[2] / "samples" / "coupon.toml").read_text(encoding="utf-8")
OUTLINE = COUPON[COUPON.index("[outline]") : COUPON.index("[deck]")]
GROOVE = COUPON[COUPON.index("[groove]") : COUPON.index("[[plug]]")]
Edit = tuple[str, str]


def _dxf(name: str, more: str = "") -> Edit:
    return OUTLINE, f'[outline]\ndxf = "{name}"\n{more}\n'


# name, edits of the coupon, key of the fault, words of the message, words of what is allowed
BAD: list[tuple[str, list[Edit], str, str, str]] = [
    ("unknown key", [("inside = 6.0", "insde = 6.0")], "groove.insde", "did you mean "
                                                                       "inside?",
                                                                       "inside, outside"),
    ("unknown table", [("[skim]", "[skimm]")], "skimm", "did you mean skim?", "groove"),
    ("missing key", [("floor = 1.2\n", "")], "groove.floor", "missing key", "greater than 0"),
    ("missing table", [(GROOVE, "")], "groove", "the table [groove] is "
                                                "missing", "inside, outside, floor"),
    ("text for a "
     "number", [("ness = 8.0", 'ness = "8.0"')], "board.thickness", "without quotes", "a number"),
    ("number for a flag", [("through = false", "through = "
                                               "0")], "insert[1].through", "true or false",
                                               "true or false"),
    ("no choice", [('flip_about = "x"', 'flip_about = '
                                        '"z"')], "machine.flip_about", "not one of", '"x" or "y"'),
    ("wrong shape", [("[[-66, 7]]", "[-66, 7]")], "plug[1].at", "wrong shape", "[[x, y], …]"),
    ("part of a "
     "number", [("number = 2", "number = 2.5")], "cutter[2].number", "whole number", "from 1"),
    ("negative", [("inside = 6.0", "inside = -6.0")], "groove.inside", "must not be "
                                                                       "negative",
                                                                       "greater than 0"),
    ("zero", [("outside = 5.0", "outside = 0")], "groove.outside", "must not be "
                                                                   "zero", "greater than 0"),
    ("not a number", [("floor = 1.2\n", "floor = nan\n")], "groove.floor", "finite",
    "greater than 0"),
    ("infinite", [("length = 240", "length = inf")], "blank.length", "finite", "greater than 0"),
    ("enormous", [("length = 240", "length = 1e300")], "blank.length", "too large", "5000"),
    ("crossing", [(OUTLINE, "[outline]\npoints = [[-90, -30], [90, 30], [90, -30], [-90, "
                            "30]]\n\n")],
     "outline.points", "crosses or touches itself at (0.000, 0.000)", "keeps apart"),
    ("groove wider than the "
     "board", [("inside = 6.0", "inside = 40")], "groove.inside", "wider than", "at most 31.9"),
    ("groove off the blank", [("outside = 5.0", "outside = "
                                                "14")], "groove.outside", "beyond the "
                                                                          "blank", "13.00"),
    ("plug outside", [("[[-66, 7]]", "[[-66, 70]]")], "plug[1].at[1]", "P1 lies outside",
    "inside the board"),
    ("plug in the groove", [("[[-66, 7]]", "[[-66, 22]]")], "plug[1].at[1]", "groove by "
                                                                             "5.08",
                                                                             "clear of the groove"),
    ("insert outside", [("[[34, -5]]", "[[34, -220]]")], "insert[1].at[1]", "I1 lies outside",
    "inside the board"),
    ("insert in the "
     "groove", [("[[34, -5]]", "[[34, -22]]")], "insert[1].at[1]", "groove by 6.80", "clear of"),
    ("edge thicker than the board", [("edge_thickness = 5.0", "edge_thickness = 9.0")],
     "board.edge_thickness", "thicker than the board", "8 mm"),
    ("no cutter for the groove", [("inside = 6.0", "inside = 1.0"), ("outside = "
                                                                     "5.0", "outside = 0.9")],
     "groove", "no listed cutter fits the groove", "1.90 mm"),
    ("no cutter for a plug", [("diameter = 14.0", "diameter = 3.0"), ("bolt_hole = "
                                                                      "5.5", "bolt_hole = 1.0")],
     "plug", "no listed cutter fits the plug pockets", "3.00 mm"),
    ("no cutter for an "
     "insert", [("barrel = 6.5", "barrel = 2.0")], "insert", "fits the inserts", "2.20 mm"),
    ("two cutters of one "
     "number", [("number = 2", "number = 1")], "cutter[2].number", "already", "of its own"),
    ("dowels off the axis", [("[-113, 0]", "[-113, 3]")], "dowel", "does not fit after the flip "
                                                                   "about X", "X axis"),
    ("dowels fit a half turn", [("[-113, 0]", "[-102, 0]")], "dowel", "also fits after a half "
                                                                      "turn", "unequal"),
    ("safe_z low", [("safe_z = 8.0", "safe_z = 2.0")], "machine.safe_z", "out of bounds",
    "at least 5"),
    ("safe_z beyond "
     "travel", [("safe_z = 8.0", "safe_z = 200.0")], "machine.safe_z", "more than the Z "
                                                                       "travel", "80"),
    ("rapid in metres", [("rapid = 6000", "rapid = 6")], "machine.rapid", "too slow", "100"),
    ("accel in g", [("accel = 500", "accel = 0.05")], "machine.accel", "too small", "1 mm/s"),
    ("step of zero", [("step = 0.5", "step = 0")], "skim.step", "must not be "
                                                                "zero", "greater than 0"),
    ("step tiny", [("step = 0.5", "step = 0.001")], "skim.step", "too small", "0.05"),
    ("step above the largest", [("step = 0.5", "step = 5")], "skim.step", "largest step", "1 mm"),
    ("unknown wood", [('"basswood"', '"baswood"')], "blank.wood", "did you mean "
                                                                  "basswood?", "balsa"),
    ("unknown resin", [('"polyurethane"', '"polyuretane"')], "cast.resin", "did you mean "
                                                                           "polyurethane?",
                                                                           "epoxy"),
    ("no place to touch", [('"bed"', '"face"')], "machine.touch_at", "where the face is "
                                                                     "touched", "[x, y]"),
    ("stations out of "
     "order", [("[-94, 19]", "[-104, 19]")], "outline.stations[2]", "ascend", "above -100"),
    ("DXF missing", [_dxf("none.dxf")], "outline.dxf", "none.dxf: no such file", ""),
    ("DXF empty", [_dxf("empty.dxf")], "outline.dxf", "the file is empty", ""),
    ("DXF binary", [_dxf("binary.dxf")], "outline.dxf", "the file is binary", "ASCII"),
    ("DXF without the layer", [_dxf("other.dxf", 'layer = "EDGE"')],
     "outline.layer", "no such layer", "0, Defpoints, OTHER"),
    ("DXF a folder", [_dxf(".")], "outline.dxf", "a folder, not a file", ""),
]  # fmt: skip


def _run(*words: object) -> Result:
    return runner.invoke(app, [str(word) for word in words])


def _edited(edits: list[Edit]) -> str:
    text = COUPON
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with drawings that are no good."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "empty.dxf").write_text("")
    (folder / "binary.dxf").write_bytes(bytes(range(256)) * 20)
    drawing = ezdxf.new(units=4)
    drawing.layers.add("OTHER")
    drawing.modelspace().add_circle((0, 0), 30, dxfattribs={"layer": "OTHER"})
    drawing.saveas(folder / "other.dxf")
    return folder


@pytest.mark.parametrize(
    ("name", "edits", "key", "message", "allowed"), BAD, ids=[row[0] for row in BAD]
)
def test_bad_input(
    shop: Path, name: str, edits: list[Edit], key: str, message: str, allowed: str
) -> None:
    """A person reads file, line, key, what is wrong and what is allowed; a program reads the same
    as JSON."""
    job, out = shop / "job.toml", shop / "out"
    job.write_text(_edited(edits), encoding="utf-8")
    before = sorted(path.name for path in shop.iterdir())

    read = _run("plan", job, "-o", out)
    assert read.exit_code == 2, read.output
    assert read.stdout == ""
    assert "Traceback" not in read.stderr and "went wrong" not in read.stderr
    head = next(
        line for line in read.stderr.split("\n") if f": {key}: " in line and message in line
    )
    place = head.removeprefix(str(job)).split(": ")[0]
    missing = name == "missing table"
    assert place == "" if missing else int(place.lstrip(":")) > 0
    assert "  allowed: " in read.stderr or not allowed
    assert "nothing has been written\nNext: fix " in read.stderr and read.stderr.endswith(
        f"corepath check {job}\n"
    )

    parsed = _run("check", job, "--json")
    assert parsed.exit_code == 2 and parsed.stderr == ""
    report = json.loads(parsed.stdout)
    assert list(report) == ["faults"]
    (fault,) = [
        fault for fault in report["faults"] if fault["key"] == key and message in fault["says"]
    ]
    assert allowed in fault["allowed"]
    assert fault["file"] == str(job)
    if not missing:
        assert fault["line"] == int(place.lstrip(":"))
    assert sorted(path.name for path in shop.iterdir()) == before


LINES = [
    ("inside = 6.0", "insde = 6.0", "groove.insde"),
    ("floor = 1.2\n", "floor = nan\n", "groove.floor"),
    ("[[34, -5]]", "[[34, -220]]", "insert[1].at[1]"),
    ("safe_z = 8.0", "safe_z = 2.0", "machine.safe_z"),
]


@pytest.mark.parametrize(("old", "new", "key"), LINES, ids=[row[2] for row in LINES])
def test_the_line_told_is_the_line_in_the_file(shop: Path, old: str, new: str, key: str) -> None:
    """The wrong line would send the user to the wrong place."""
    text = _edited([(old, new)])
    job = shop / "job.toml"
    job.write_text(text, encoding="utf-8")
    faults = json.loads(_run("check", job, "--json").stdout)["faults"]
    told = [fault["line"] for fault in faults if fault["key"] == key]
    assert told == [text[: text.index(new)].count("\n") + 1]


def test_no_job_file_at_all(shop: Path) -> None:
    """Missing, a folder, not TOML, not UTF-8."""
    odd = shop / "odd.toml"
    for content, says in (
        (None, "no such file"),
        (b"[skim\nstep = 1\n", "odd.toml:1: is no header of a table"),
        (b"title = 'x'\ntitle = 'y'\n", "odd.toml:2: title: stands here a second time"),
        (b"title = 'x'\nwood = '\xff'\n", "odd.toml:2: is not UTF-8"),
    ):
        odd.unlink(missing_ok=True)
        if content is not None:
            odd.write_bytes(content)
        result = _run("plan", odd, "-o", shop / "out")
        assert result.exit_code == 2 and says in result.stderr, result.output
    assert "is a folder" in _run("plan", shop).stderr
    odd.unlink()
    assert not (shop / "out").exists()


def test_all_faults_at_once(shop: Path) -> None:
    """Faults of keys, of values that contradict each other and of geometry in one run, in the order
    of the file."""
    edits = [
        ("title =", "colour = 1\ntitle "
                    "="), ('"basswood"', '"baswood"'), ("[[-66, 7]]", "[[-66, 70]]"),
        ("[-113, 0]", "[-113, 3]"), ("step = 0.5", "step = 0"), ("safe_z = 8.0", "safe_z = 2.0"),
        ("number = 2", "number = 1"),
    ]  # fmt: skip
    job = shop / "job.toml"
    job.write_text(_edited(edits), encoding="utf-8")
    keys = [fault["key"] for fault in json.loads(_run("check", job, "--json").stdout)["faults"]]
    assert keys == [
        "colour", "blank.wood", "plug[1].at[1]", "dowel", "skim.step", "machine.safe_z",
        "cutter[2].number",
    ]  # fmt: skip
    assert "7 faults; nothing has been written" in _run("check", job).stderr


DEPTHS = [
    ("blank too thin", ("thickness = 10.6", "thickness = 8.6"), "window"),
    ("floor too thin", ("floor = 1.2\n", "floor = 0.5\n"), "floor"),
    ("flange stands proud", ("recess = 0.3", "recess = 0.0"), "seat"),
    ("seat too deep", ("flange_thickness = 1.2", "flange_thickness = 4.5"), "wood-over-seat"),
    ("insert too long", ("length = 5.5", "length = 9.5"), "barrel"),
    ("cutters too short", ("cutting_length = 20.0", "cutting_length = 6.0"), "reach"),
]


@pytest.mark.parametrize(("name", "edit", "check"), DEPTHS, ids=[row[0] for row in DEPTHS])
def test_a_wrong_depth_is_exit_1_with_the_table_and_no_gcode(
    tmp_path: Path, name: str, edit: Edit, check: str
) -> None:
    """A depth that does not fit is no bad input: the user needs the table to see what would mend
    it."""
    job, out = tmp_path / "job.toml", tmp_path / "out"
    job.write_text(_edited([edit]), encoding="utf-8")
    result = _run("plan", job, "-o", out)
    assert result.exit_code == 1, result.output
    verdicts = {
        tuple(line.split()[:2]) for line in result.stdout.split("\n") if line.startswith(" ")
    }
    assert (check, "fail") in verdicts
    assert "No G-code was written, since a check failed:" in result.stdout
    assert "Fix:" in result.stdout
    assert list(out.glob("*.nc")) == [] and (out / "report.json").exists()


@pytest.mark.parametrize(
    "typed",
    [
        "--blank 10x10x1", "--cutter flat:6", "--zero middle,bed", "--units mm", "-o out",
        "--spoil-board 0", "--rapid 6000", "--accel 100", "--spin-up 0", "--cell 0.2",
    ],
)  # fmt: skip
def test_an_option_of_a_single_file_is_not_ignored_with_a_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: str
) -> None:
    """Five of them were taken and did nothing, also where typed with their default."""
    monkeypatch.chdir(tmp_path)
    Path("job-plan").mkdir()
    result = runner.invoke(app, ["readback", "job-plan", *typed.split()])
    assert result.exit_code == 2
    assert f"{typed.split()[0]}: goes with a single file" in result.output
    assert [path.name for path in tmp_path.iterdir()] == ["job-plan"]


def test_a_preview_is_not_drawn_from_figures_that_contradict_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`check` and `plan` refused a blank 9.4 thick after a stop at 8.90, `preview` drew it."""
    monkeypatch.chdir(tmp_path)
    Path("job.toml").write_text(COUPON)
    entries = (
        Entry("cut", operation="groove"),
        Entry("stop", plane=8.8996),
        Entry("thickness-after", at=(0.0, 10.0), value=9.4),
    )
    dated = tuple(
        replace(entry, n=k, date="2026-05-17", stage="B") for k, entry in enumerate(entries, 1)
    )
    save_record(Record(dated, "mm", "Coupon", None, len(dated)), Path("job.ascut.toml"))
    result = runner.invoke(app, ["preview", "job.toml"])
    assert result.exit_code == 2 and "contradicts the recorded stop" in result.output
    assert not Path("job-preview").exists()


def test_a_wrong_figure_typed_sends_nobody_to_the_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The place lies off the blank: the job is right, and `check` would find nothing."""
    monkeypatch.chdir(tmp_path)
    Path("job.toml").write_text(COUPON)
    result = runner.invoke(app, ["record", "job.toml", "--thickness", "0", "400", "10.5"])
    assert result.exit_code == 2 and "off the blank" in result.output
    assert result.output.endswith("Next: fix what was typed, and type it again.\n")
