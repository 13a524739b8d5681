"""`corepath record`: what is typed comes to stand in the file, or nothing does and the reason is
printed."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.cli.commands.record_options import entries_from
from corepath.job.record.ascut import load_record
from corepath.job.record.entry_kinds import KINDS
from corepath.job.text.starter import starter_text
from corepath.planning.prepare import Prepared, prepare
from corepath.stackup.measuring.facts_for_record import facts_of

SAMPLES = Path(__file__).parents[2] / "samples"
JOB = "my board.toml"
RECORD = Path("my board.ascut.toml")


@pytest.fixture(autouse=True)
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The starter job (blank 240 x 90 x 10.6, groove, plug P1, insert I1), in the current
    folder."""
    monkeypatch.chdir(tmp_path)
    path = Path(JOB)
    path.write_text(starter_text("My board"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def coupon() -> Prepared:
    return prepare(SAMPLES / "coupon.toml")


def record(*words: object, exit_code: int = 0) -> Result:
    result = CliRunner().invoke(app, ["record", JOB, *(str(word) for word in words)])
    assert result.exit_code == exit_code, result.output
    return result


def refused(*words: object) -> str:
    """What is printed of a refusal; the file stays as it was."""
    before = RECORD.read_bytes() if RECORD.exists() else None
    result = record(*words, exit_code=2)
    assert (RECORD.read_bytes() if RECORD.exists() else None) == before
    assert result.stdout == ""
    assert "nothing has been written" in result.stderr
    assert "Traceback" not in result.stderr
    return result.stderr


def entries() -> list[dict[str, object]]:
    return list(tomllib.loads(RECORD.read_text(encoding="utf-8"))["entry"])


def test_bare_record_writes_nothing_and_says_what_to_measure() -> None:
    """Looking at the record must not make one."""
    output = record().stdout
    assert "Nothing is recorded yet" in output
    assert "corepath record 'my board.toml' --thickness" in output
    assert not RECORD.exists()


def test_options_of_several_words_repeat_and_mix() -> None:
    """One command after a round of the blank: all figures, in whatever order, negative ones too."""
    record(
        "--thickness",
        -100,
        -30,
        10.58,
        "--date",
        "2026-05-17",
        "--thickness",
        100,
        30,
        10.62,
        "--width",
        "90.1",
    )
    found = entries()
    assert [entry["kind"] for entry in found] == ["width", "thickness", "thickness"]
    assert found[1]["at"] == [-100.0, -30.0]
    assert {str(entry["date"]) for entry in found} == {"2026-05-17"}


def test_entries_are_put_in_the_order_of_the_work() -> None:
    """A stop typed before its groove, in one command, is no contradiction."""
    record("--cut", "inserts", "--after-skim", "--thickness", 100, 30, 9.4, "--stop", 2, "--touch",
        "inserts", 9.41,
           "--fill", "P1", 0.4, "--cut", "groove")  # fmt: skip
    kinds = [entry["kind"] for entry in entries()]
    assert kinds == ["cut", "fill", "stop", "thickness-after", "touch", "cut"]


def test_every_kind_can_be_typed() -> None:
    """A kind without an option could only be written by hand."""
    record(
        "--thickness",
        0,
        40,
        10.6,
        "--height",
        0,
        40,
        10.6,
        "--moisture",
        8,
        "--width",
        90,
        "--coupon-z",
        -0.02,
        "--coupon-diameter",
        1,
        3.98,
    )
    record(
        "--coupon-groove-width",
        11.03,
        "--cut",
        "groove",
        "--groove-depth",
        -97,
        0,
        9.4,
        "--pocket-depth",
        "P1",
        9.4,
    )
    record(
        "--leak",
        "groove",
        "--void",
        "P1",
        "--fill",
        "P1",
        1.0,
        "--top-up",
        "P1",
        "0.8mm",
        "--top-up",
        "P1",
        "2",
    )
    record(
        "--stop-at",
        8.9,
        "--after-skim",
        "--thickness",
        0,
        40,
        8.88,
        "--touch",
        "inserts",
        8.9,
        "--withdraw",
        2,
    )
    record("--cut", "inserts", "--seat-depth", "I1", 1.52, "--bore-depth", "I1", 6.9)
    record("--note", "glue line looks dry")
    record("--off-place", "I1", 0.4, -0.2, "--minutes", "03-A-groove", 10.4)
    record("--shift", "B", 0.5, 0, 0, "--broken", 4, "--stopped", "08-C-deck.nc", 300)
    assert {entry["kind"] for entry in entries()} == set(KINDS)
    top_ups = [(entry["value"], entry["unit"]) for entry in entries() if entry["kind"] == "top-up"]
    assert top_ups == [(0.8, "mm"), (2.0, "g")]


def test_a_seat_before_the_skim_or_of_no_insert_is_refused() -> None:
    """The skimmed face, from which it is measured, is not there yet; and a depth of 9 goes through
    the core."""
    assert "no pass of the skim is recorded" in refused(
        "--cut", "groove", "--seat-depth", "I1", 1.5
    )
    record("--cut", "groove", "--stop-at", 8.9, "--cut", "inserts")
    assert "this job has no insert I9" in refused("--seat-depth", "I9", 1.5)
    assert "deeper than the core is thick" in refused("--bore-depth", "I1", 9.0)
    assert "must be greater than 0" in refused("--seat-depth", "I1", 0)


def test_a_note_may_stand_alone() -> None:
    """What was seen at the machine has no figure and no option of its own."""
    record("--note", "glue line looks dry", "--date", "2026-05-17")
    assert entries() == [
        {
            "n": 1,
            "date": date(2026, 5, 17),
            "stage": "blank",
            "kind": "note",
            "note": "glue line looks dry",
        }
    ]
    assert "glue line looks dry" in record().stdout


def test_pass_of_the_skim_is_kept_with_its_plane() -> None:
    """A measurement in between may number the passes anew; the height of a cut pass does not
    change."""
    record("--cut", "groove", "--cut", "skim-pass-2")
    planes = json.loads(CliRunner().invoke(app, ["check", JOB, "--json"]).stdout)["skim"]["planes"]
    assert (entries()[1]["operation"], entries()[1]["pass"]) == ("skim", 2)
    assert entries()[1]["plane"] == pytest.approx(planes[1], abs=1e-4)


def test_correction_and_what_became_of_the_first() -> None:
    """The table must show both, and which of them counts."""
    record("--thickness", 0, 40, 10.6)
    record("--correct", 1, "--thickness", 0, 40, 10.4, "--note", "digits turned")
    output = record().stdout
    assert "corrected by 2" in output
    assert "corrects 1;" in output
    assert load_record(RECORD).settled().thickness == ((0.0, 40.0, 10.4),)
    assert len(entries()) == 2


def test_json_tells_all() -> None:
    """Another program needs entries, what stands, what is settled and what comes next."""
    record("--cut", "groove", "--fill", "P1", 0.4)
    told = json.loads(record("--correct", 2, "--fill", "P1", 0.5, "--json").stdout)
    assert told["added"] == [3]
    assert [entry["stands"] for entry in told["entries"]] == [True, False, True]
    assert told["settled"] == {"fill": {"P1": 0.5}, "cut": ["groove"], "stage": "cast"}
    assert told["stage"] == "cast"
    assert any("--stop-at HEIGHT" in line for line in told["next"])
    assert told["contradictions"] == []


def test_quiet_leaves_out_what_comes_next() -> None:
    """A script that records need not read advice."""
    output = record("--cut", "dowels", "--quiet").stdout
    assert "1 entry added" in output
    assert "Next" not in output


REFUSED = {
    "words missing": (("--thickness", 0, 40), "--thickness X Y T"),
    "an option instead of a word": (("--fill", "P1", "--quiet"), "--fill NAME P"),
    "no number": (("--thickness", 0, "40mm", 10.6), "must be a finite number"),
    "not finite": (("--width", "nan"), "must be a finite number"),
    "decimal comma": (("--width", "90,1"), "decimal point"),
    "no whole number": (("--stop", "3.5"), "must be a whole number"),
    "a sign in a touch": (("--touch", "groove", -10.6), "without its sign"),
    "correct without a figure": (("--correct", 1), "exactly one new figure"),
    "correct with two": (
        ("--correct", 1, "--width", 90, "--cut", "groove"),
        "exactly one new figure",
    ),
    "correct what is not": (("--correct", 7, "--width", 90), "there is no entry 7"),
    "after-skim without thickness": (("--after-skim", "--cut", "groove"), "--after-skim"),
    "stage of a cut": (
        ("--stage", "A", "--cut", "groove"),
        "goes with --width and --moisture only",
    ),
    "no such stage": (("--stage", "glued", "--width", 90), "blank, A, cast, B, inserts, C"),
    "nominal alone": (("--coupon-nominal", 11), "belongs to --coupon-groove-width"),
    "date alone": (("--date", "2026-05-17"), "without anything to record"),
    "empty note": (("--note", ""), "needs note"),
    "no date": (("--width", 90, "--date", "17.5.2026"), "is no date"),
    "no such operation": (("--cut", "grove"), "dowels, plug-pockets, groove, skim"),
    "no such casting": (("--cut", "groove", "--fill", "P2", 0.4), "groove, P1"),
    "off the groove": (("--groove-depth", 0, 0, 9.4), "there is no groove at this place"),
    "fill before the cut": (("--fill", "P1", 0.4), "--cut plug-pockets in the same command"),
    "stop before the cut": (("--stop", 3), "--cut groove in the same command"),
    "stop beyond the last": (("--cut", "groove", "--stop", 99), "has no such pass of the skim"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_refusals_say_why_and_write_nothing(case: str) -> None:
    """Each fault with what is allowed, exit code 2, and the file as it was."""
    words, says = REFUSED[case]
    assert says in refused(*words)


def test_thicker_after_the_skim_is_refused_on_the_command_line() -> None:
    """The plainest impossible figure, end to end; the entries before it stay."""
    record("--thickness", 100, 30, 10.4, "--cut", "groove", "--stop", 3)
    told = refused("--after-skim", "--thickness", 100, 25, 10.5)
    assert "thicker than before: entry 1 gives 10.4 at about the same place" in told


def test_all_faults_at_once_and_as_json() -> None:
    """One run names them all, as the other commands do."""
    result = record("--thickness", 0, 400, 10.6, "--fill", "P9", 1, "--json", exit_code=2)
    faults = json.loads(result.stdout)["faults"]
    assert {fault["key"] for fault in faults} == {"thickness", "fill"}


def test_broken_record_names_its_line() -> None:
    """A record spoilt by hand stops every command that reads it, with the place."""
    record("--width", 90)
    text = RECORD.read_text(encoding="utf-8")
    RECORD.write_text(text.replace("value = 90.0", 'value = "90"'), encoding="utf-8")
    line = text[: text.index("value =")].count("\n") + 1
    assert f"{RECORD}:{line}" in refused()
    checked = CliRunner().invoke(app, ["check", JOB])
    assert checked.exit_code == 2
    assert f"{RECORD}:{line}" in checked.stderr


def test_missing_job_is_the_fault_of_the_job() -> None:
    """Not of the record, and no record is made for it."""
    result = CliRunner().invoke(app, ["record", "none.toml", "--width", "90"])
    assert result.exit_code == 2
    assert "none.toml: there is no such file" in result.stderr
    assert not Path("none.ascut.toml").exists()


def test_record_is_kept_while_the_geometry_has_faults(job: Path) -> None:
    """A measurement at the machine must not wait until the job file is mended."""
    text = job.read_text(encoding="utf-8")
    assert "inside = 6.0" in text
    job.write_text(text.replace("inside = 6.0", "inside = 60.0", 1), encoding="utf-8")
    assert CliRunner().invoke(app, ["check", JOB]).exit_code == 2
    record("--width", 90.2)
    assert entries()[0]["value"] == 90.2


def test_inches_are_typed_and_mm_are_planned_with(coupon: Prepared) -> None:
    """Figures of an inch job turned once too often or not at all would be off by 25.4."""
    facts = facts_of(coupon.job.model_copy(update={"units": "inch"}), JOB)
    typed = {
        "--thickness": ["-3.9\x1f1.2\x1f0.417"],
        "--moisture": ["8"],
        "--top-up": ["P1\x1f0.05in", "P1\x1f3g"],
    }
    found = entries_from(typed, scale=facts.scale, common={"date": "2026-05-17"})
    values = {(entry.kind, entry.unit): entry.value for entry in found}
    wanted = {
        ("moisture", None): 8.0,
        ("thickness", None): 10.5918,
        ("top-up", "mm"): 1.27,
        ("top-up", "g"): 3.0,
    }
    assert values == {key: pytest.approx(value) for key, value in wanted.items()}


def test_the_page_names_every_kind_and_its_example_loads() -> None:
    """docs/record.md is what a hand that edits the file goes by."""
    page = (SAMPLES.parent / "docs" / "record.md").read_text(encoding="utf-8")
    assert [kind for kind in KINDS if f"`{kind}`" not in page] == []
    example = page[page.index("    schema = 1") : page.index("Units are those of the job")]
    RECORD.write_text(example.replace("    ", ""), encoding="utf-8")
    assert load_record(RECORD).settled().thickness == ((-110.0, 30.0, 10.62),)


def test_places_to_measure_lie_in_the_groove(coupon: Prepared) -> None:
    """The command that `record` proposes must not be one that it refuses."""
    facts = facts_of(coupon.job, "coupon.toml", coupon.board, coupon.stackup)
    groove = facts.castings["groove"]
    assert len(groove.places) == 4
    assert groove.distance is not None
    assert [groove.distance(*place) for place in groove.places] == [0.0] * 4
    assert list(facts.castings) == [casting.id for casting in coupon.board.castings]
    assert facts.planes == coupon.stackup.skim.planes


def test_facts_without_a_board_are_the_same_but_for_places(coupon: Prepared) -> None:
    """With faulty geometry the same names and depths must be known."""
    whole = facts_of(coupon.job, "c", coupon.board, coupon.stackup)
    alone = facts_of(coupon.job, "c")
    assert {name: casting.depth for name, casting in alone.castings.items()} == {
        casting.id: coupon.job.blank.thickness - casting.floor for casting in coupon.board.castings
    }
    assert (alone.operations, alone.cutters) == (whole.operations, whole.cutters)
