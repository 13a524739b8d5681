"""What a person at a terminal meets: faults quoted where they stand, plain letters, 80 columns,
what is next."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.cli.guard import in_letters_of, say

runner = CliRunner()
COMMANDS = (
    "new", "edit", "plan", "check", "preview", "readback", "template", "restart", "recut", "record",
    "bed",
)  # fmt: skip


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The starter job in a folder of its own, which is the current one."""
    monkeypatch.chdir(tmp_path)
    assert runner.invoke(app, ["new", "core.toml"]).exit_code == 0
    return Path("core.toml")


def caret_words(text: str) -> list[str]:
    """What stands above each row of carets."""
    lines = text.splitlines()
    rows = [
        (lines[k - 1], line)
        for k, line in enumerate(lines)
        if set(line) <= set("| ^") and "^" in line
    ]
    return [above[under.index("^") : under.rindex("^") + 1] for above, under in rows]


def test_a_fault_in_the_measured_blank_is_shown_in_its_line(job: Path) -> None:
    Path("m.csv").write_text("x,y,thickness\n-100,0,10.6x\n", encoding="utf-8")
    job.write_text(
        job.read_text("utf-8").replace("[blank]", '[blank]\nmeasured = "m.csv"'), encoding="utf-8"
    )
    shown = runner.invoke(app, ["check", "core.toml"])
    assert shown.exit_code == 2 and "m.csv:2: thickness" in shown.stderr
    assert "    2 | -100,0,10.6x" in shown.stderr and caret_words(shown.stderr) == ["10.6x"]
    assert "got:" not in shown.stderr  # the quoted line has it


def test_a_fault_in_the_record_is_shown_in_its_line(job: Path) -> None:
    record = 'schema = 1\n\n[[entry]]\nkind = "thicknes"\nat = [0.0, 0.0]\nvalue = 10.6\n'
    Path("core.ascut.toml").write_text(record, encoding="utf-8")
    for command in ("check", "record"):
        shown = runner.invoke(app, [command, "core.toml"])
        assert shown.exit_code == 2 and "core.ascut.toml:4" in shown.stderr, command
        assert "    4 | kind" in shown.stderr and caret_words(shown.stderr)[0].startswith("kind"), (
            command
        )


def test_a_fault_in_the_job_is_still_shown_under_its_key(job: Path) -> None:
    job.write_text(job.read_text("utf-8").replace("floor = 1.2", "flor = 1.2", 1), encoding="utf-8")
    shown = runner.invoke(app, ["check", "core.toml"])
    assert shown.exit_code == 2 and "flor" in caret_words(shown.stderr)


def test_letters_that_a_terminal_lacks_have_plain_stand_ins() -> None:
    """A table ruled with question marks, or 13.6 ? 0.1, tells nobody anything."""
    assert in_letters_of("13.6 ± 0.1, 2 × 3, ── 40 °", "ascii") == "13.6 +/- 0.1, 2 x 3, -- 40  deg"
    assert in_letters_of("± ──", "utf-8") == "± ──" and in_letters_of("± ──", None) == "± ──"
    assert in_letters_of("→ ±", "latin-1") == "-> +/-" and in_letters_of("日", "ascii") == "?"


def test_tables_in_an_ascii_terminal_have_no_question_marks(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sink = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(sink, encoding="ascii", errors="replace"))
    say(" check ─── limit ≥ 0.6\n")
    assert sink.getvalue() == b" check --- limit >= 0.6\n"


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_fits_80_columns_and_no_summary_is_cut_off(command: str) -> None:
    shown = runner.invoke(app, [*command.split(), "--help"], env={"COLUMNS": "80"})
    lines = shown.stdout.splitlines()
    assert shown.exit_code == 0 and max(map(len, lines)) <= 80
    assert not any(line.endswith("...") for line in lines if not line.startswith("Usage"))


def test_short_commands_fit_80_columns_and_name_the_next_one(job: Path) -> None:
    Path("other").mkdir()
    for words, following in (
        (["new", "other/core.toml"], "corepath check other/core.toml"),
        (["template", "core.toml", "-o", "t.svg"], "corepath plan core.toml"),
        (["check", "core.toml"], "corepath plan core.toml"),
        (["record", "core.toml"], "corepath record core.toml --cut dowels"),
    ):
        shown = runner.invoke(app, words)
        assert shown.exit_code == 0 and following in shown.stdout and "Next:" in shown.stdout, words
        long = [
            line
            for line in shown.stdout.splitlines()
            if len(line) > 80 and "corepath record" not in line
        ]
        assert not long, (words, long)  # what is to be typed stays on one line


def test_a_folder_that_is_not_there_says_what_to_give(job: Path) -> None:
    shown = runner.invoke(app, ["readback", "nowhere"])
    assert shown.exit_code == 2 and "allowed: a folder that plan wrote" in shown.stderr
