"""The story of one core, played through by the commands: measure, plan, cut A, pour, record, skim,
record, plan on."""

from __future__ import annotations

import csv
import json
import re
import shlex
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.planning.prepare import prepare

SAMPLES = Path(__file__).parents[2] / "samples"
PATH = "job.toml"


class Shop:
    """Types commands in a folder of its own."""

    def __init__(self) -> None:
        self.runner = CliRunner()

    def type(self, *words: object, exit_code: int = 0) -> Result:
        result = self.runner.invoke(app, [str(word) for word in words])
        assert result.exit_code == exit_code, result.output
        return result

    def report(self) -> dict:
        return json.loads(Path("out/report.json").read_text())


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shop:
    monkeypatch.chdir(tmp_path)
    text = (SAMPLES / "coupon.toml").read_text()
    Path(PATH).write_text(text)
    return Shop()


@pytest.mark.slow
def test_a_core_from_blank_to_deck(shop: Shop) -> None:
    """Each step reads what was recorded before and plans only what lies ahead."""
    assert "caution: the blank is not measured" in shop.type("check", PATH).output.replace(
        "\n  ", " "
    )
    assert not Path("job.measure.csv").exists()  # a check writes nothing
    shop.type("record", PATH)
    fill_in_the_form(Path("job.measure.csv"))
    text = (
        Path(PATH)
        .read_text()
        .replace("spoil_board", 'measured = "job.measure.csv"\nspoil_board', 1)
    )
    Path(PATH).write_text(text)
    assert "not measured: 10.60" not in shop.type("check", PATH).output

    shop.type("plan", PATH, "-o", "out")
    before = {path.name for path in Path("out").glob("*.nc")}
    assert {"map-shows.svg", "map-wood-under.svg", "map-groove-depth.svg"} <= {
        p.name for p in Path("out").glob("*.svg")
    }

    shop.type("record", PATH, "--cut", "dowels", "--cut", "plug-pockets", "--cut", "groove")
    shop.type("record", PATH, "--groove-depth", -100, 0, 9.42, "--groove-depth", 88, 0, 9.38)
    # Lowest plane 8.90, deck over P1 6.32, margin 0.5: 2.08 is allowed; 2.6 is too low whatever the
    # errors.
    shop.type("record", PATH, "--fill", "groove", 0.5, "--fill", "P1", 2.6)
    low = shop.type("check", PATH, exit_code=1).output
    assert "P1 is too low" in low and "top-up fixes it" in low
    assert shop.type("plan", PATH, "-o", "out", exit_code=1)
    assert list(Path("out").glob("*.nc")) == []
    assert {path.name for path in Path("out/done").iterdir()} == {
        name for name in before if name[3] == "A"
    }

    shop.type("record", PATH, "--top-up", "P1", "0.4")
    shop.type("record", PATH, "--fill", "P1", 0.4)
    shop.type("plan", PATH, "-o", "out")
    assert {path.name[:2] for path in Path("out").glob("*.nc")} == {"05", "06", "07", "08"}

    planes = shop.report()["skim"]["planes"]
    assert f"at {planes[2]:.2f}" in shop.type("record", PATH, "--stop", 3).output
    shop.type(
        "record",
        PATH,
        "--after-skim",
        "--thickness",
        -110,
        30,
        planes[2],
        "--thickness",
        110,
        -30,
        planes[2],
    )
    output = shop.type("plan", PATH, "-o", "out").output
    assert "06-B-inserts.nc" in output
    assert {path.name[:2] for path in Path("out").glob("*.nc")} == {"06", "07", "08"}
    assert {path.name[:2] for path in Path("out/done").iterdir()} == {"01", "02", "03", "05"}
    report = shop.report()
    assert report["skim"]["recorded"] and report["skim"]["planned_stop"] == 3
    (inserts,) = [entry for entry in report["operations"] if entry["name"] == "inserts"]
    assert inserts["zero"]["z"] == pytest.approx(planes[2], abs=1e-3)
    assert "no findings" in shop.type("readback", "out").output


def test_a_record_that_makes_the_core_impossible_says_so(shop: Shop) -> None:
    """A groove that came out far too shallow never shows: said at once, with what the blank still
    gives."""
    shop.type("record", PATH, "--cut", "dowels", "--cut", "plug-pockets", "--cut", "groove")
    told = squeezed(shop.type("record", PATH, "--groove-depth", -100, 0, 8.1).output)
    assert (
        "fail: window" in told and "the thickest core that this blank still gives is 6.64" in told
    )
    assert "groove is not poured yet: cut 1.36 deeper it shows in time" in told
    output = shop.type("check", PATH, "--all", exit_code=1).output
    assert "fail: window" in output
    assert "the thickest core that this blank still gives is 6.64" in output
    shop.type("plan", PATH, "-o", "out", exit_code=1)
    assert list(Path("out").glob("*.nc")) == []


def test_a_pass_counted_by_an_older_plan_is_told_at_once(shop: Shop) -> None:
    """A whole pass between stop and thickness: the deck would be planned for stock that is not
    there."""
    shop.type("record", PATH, "--cut", "dowels", "--cut", "plug-pockets", "--cut", "groove")
    assert "at 8.90" in shop.type("record", PATH, "--stop", 3).output
    held = Path("job.ascut.toml").read_bytes()
    thick = ("record", PATH, "--after-skim", "--thickness", -110, 30, 9.4)
    told = squeezed(shop.type(*thick, exit_code=2).output)
    assert "contradicts the stop at 8.90 (entry 4); it looks like the pass at 9.40" in told
    assert "--correct 4 --stop-at 9.40" in told
    assert Path("job.ascut.toml").read_bytes() == held
    shop.type("record", PATH, "--correct", 4, "--stop-at", 9.4)
    shop.type(*thick)
    shop.type("check", PATH)


def test_a_fix_pasted_as_it_is_printed_leads_to_a_plan(shop: Shop) -> None:
    """The last line of a check that fails is the command that mends it, rounding and quotes and
    all; as tight as it is, its risks are named."""
    text = Path(PATH).read_text().replace("floor = 1.2", "floor = 2.2", 1)
    Path(PATH).write_text(text)
    output = shop.type("check", PATH, exit_code=1).output
    assert len(output.rstrip().split("\n")) <= 20 and "\nFix: groove.floor 2.2 → " in output
    words = shlex.split(output.rstrip().rpartition("corepath ")[2])
    output = shop.type(*words).output
    assert "-floor = 2.2" in output and output.rstrip().endswith(f"Next: corepath plan {PATH}")


def fill_in_the_form(path: Path) -> None:
    """Type 10.62 into every row, and a height a hair above it: the blank lies flat."""
    lines = path.read_text().splitlines()
    heads = [line for line in lines if line.startswith("#")]
    rows = list(csv.reader(line for line in lines if line and not line.startswith("#")))
    for row in rows[1:]:
        row[2], row[3] = "10.62", "10.63"
    path.write_text(
        "\n".join([*heads, *(",".join(f'"{cell}"' for cell in row) for row in rows)]) + "\n"
    )


def test_the_page_of_the_story_is_what_the_commands_say(shop: Shop) -> None:
    """docs/story.md, typed line by line: each answer it shows stands in what its command
    printed."""
    for name in ("coupon.toml", "board-1280-cupped.toml", "blank-cupped.csv"):
        shutil.copy(SAMPLES / name, name)
    job, form = Path("coupon.toml"), Path("coupon.measure.csv")
    shop.type("record", job)
    fill_in_the_form(form)
    job.write_text(
        job.read_text().replace("spoil_board", 'measured = "coupon.measure.csv"\nspoil_board', 1)
    )
    said, shown = "", 0
    for line in (SAMPLES.parent / "docs" / "story.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("    corepath "):
            said = squeezed(shop.runner.invoke(app, line.split()[1:]).output)
        elif line.startswith("        "):
            assert squeezed(line) in said, f"{line.strip()} is not in {said}"
            shown += 1
    assert shown > 15


def squeezed(text: str) -> str:
    """One space between words, however they were wrapped."""
    return " ".join(text.split())


@pytest.mark.parametrize("page", ["record.md", "story.md"])
def test_the_guide_names_only_options_that_there_are(page: str) -> None:
    """A reader types what the page says."""
    text = (SAMPLES.parent / "docs" / page).read_text(encoding="utf-8")
    known = set()
    for command in ("record", "recut", "check", "plan", "shop"):
        shown = (
            CliRunner()
            .invoke(app, [command, "--help"], env={"COLUMNS": "200", "NO_COLOR": "1"})
            .output
        )
        known |= set(re.findall(r"--[a-z-]+", shown))
    assert set(re.findall(r"--[a-z][a-z-]+", text)) <= known


def test_the_worked_wedge_of_the_arithmetic_is_the_sample() -> None:
    """docs/arithmetic.md: heights and depths at tail and nose."""
    heights = prepare(SAMPLES / "board-1280-wedge.toml").stackup.heights
    text = (SAMPLES.parent / "docs" / "arithmetic.md").read_text(encoding="utf-8")
    tail, nose = (heights.depth(1.2, "groove", (x, 0.0)).nominal for x in (-640.0, 640.0))
    assert f"= {tail:.2f} there and {nose:.2f} at the nose" in text
