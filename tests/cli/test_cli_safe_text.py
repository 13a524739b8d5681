"""Whatever is in a file, nothing but letters reaches the terminal."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from corepath.cli import guard
from corepath.cli.app import app
from corepath.cli.tables.paragraphs import check_table
from corepath.stackup.checks.verdict import Check

COUPON = (Path(__file__).parents[2] / "samples" / "coupon.toml").read_text(encoding="utf-8")
BAD = "\x1b[2J\x1b[H20 ok\x1b[8m"
CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def _files(folder: Path) -> dict[str, list[str]]:
    """Commands that are fed with control characters, by where they come from."""
    program = folder / "fake.nc"
    program.write_bytes(f"G21 G90\nG0 Z5.\n({BAD})\nX{BAD}\nM2\n".encode())
    made = {}
    csv = COUPON.replace("spoil_board", 'measured = "m.csv"\nspoil_board', 1)
    (folder / "m.csv").write_text(f"x,y,{BAD}\n0,0,10.6\n")
    dxf = re.sub(
        r"\[outline\]\nstations.*", '[outline]\ndxf = "a.dxf"\nlayer = "@"', COUPON
    ).replace("@", r"\u001b[2J")
    (folder / "a.dxf").write_text("0\nSECTION\n2\nENTITIES\n0\nENDSEC\n0\nEOF\n")
    jobs = {"TOML key": f'"\\u001b[2J" = 1\n{COUPON}', "CSV header": csv, "layer": dxf,
            "title": COUPON.replace('"Coupon"', '"\\u001b[2J"', 1)}  # fmt: skip
    for k, (name, text) in enumerate(jobs.items()):
        (folder / f"job-{k}.toml").write_text(text)
        made[name] = ["check", str(folder / f"job-{k}.toml")]
    return {
        **made,
        ".nc text": ["readback", str(program), "--blank", "100x100x16", "--cutter", "flat:6"],
        "name of a file": ["check", str(folder / f"a{BAD.replace('/', '')}.toml")],
    }


@pytest.mark.parametrize(
    "where", [".nc text", "TOML key", "CSV header", "layer", "title", "name of a file"]
)
def test_no_control_character_of_a_file_reaches_the_terminal(tmp_path: Path, where: str) -> None:
    """A G-code file from elsewhere cleared the screen and wrote "no findings" on it."""
    words = _files(tmp_path)[where]
    result = CliRunner().invoke(app, words)
    assert result.exit_code in (1, 2)
    assert not CONTROL.search(result.output), repr(result.output)
    assert r"\u001b" in result.output
    told = CliRunner().invoke(app, [*words, "--json"]).stdout
    assert not CONTROL.search(told) and json.loads(told)


def test_a_line_feed_in_a_key_begins_no_line_of_its_own(tmp_path: Path) -> None:
    """`20 ok` on a line of its own would look like the verdict."""
    (tmp_path / "x.toml").write_text('"a\\n20 ok" = 1\n' + COUPON)
    result = CliRunner().invoke(app, ["check", str(tmp_path / "x.toml")])
    assert "20 ok" in result.output and not re.search(r"^\s*20 ok", result.output, re.M)


class _Terminal:
    encoding = "utf-8"

    def __init__(self) -> None:
        self.text = ""

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> None:
        self.text += text

    def flush(self) -> None:
        pass


def test_only_verdicts_are_coloured_and_only_by_us(monkeypatch: pytest.MonkeyPatch) -> None:
    """Colours let through from a file could hide or underline what it likes."""
    terminal = _Terminal()
    monkeypatch.setattr(guard.sys, "stdout", terminal)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    check = Check("seat", "fail", 0.0, 0.0, 0.0, 0.1, "mm", "says", "\x1b[32mok", "mend")
    guard.say(check_table([check]))
    assert terminal.text.count("\x1b[1;31mfail\x1b[0m") == 1
    assert terminal.text.count("\x1b") == 2 and r"\u001b[32mok" in terminal.text
