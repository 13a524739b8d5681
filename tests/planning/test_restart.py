"""A restart does what the rest of the file would have done, and begins where the cutter has
room."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from corepath.cli.app import app
from corepath.errors import InputError
from corepath.gcode.read.motions import read_program
from corepath.gcode.read.words import read_line
from corepath.gcode.write import Heading, write
from corepath.operations import programs
from corepath.planning.prepare import prepare
from corepath.planning.restart.restart_program import default_name, restart, write_restart

SAMPLES = Path(__file__).parents[2] / "samples"

PLAIN = """\
(Job: a square)
G17
G21
G90
G94
G54
G40
G49
G80
G64
M5
T3
(MSG, Fit T3)
M0
G0 Z20
S12000 M3
G4 P6
G0 X0 Y0
G0 Z11
F300
G1 Z10
F600
G1 X10 Z9
X20 Z8
(a lap)
F1200
X30 Y0
G2 X40 Y10 I0 J10
X30 Y20 I-10 J0
G1 X0
Y0
G0 Z20
M5
G0 X-50
M2
"""

CYCLES = """\
G17 G20 G90 G94 G54 G40 G49 G80 G61
T2 M6
G0 Z1
S3000 M3
G4 P2
M8
F10
G99 G83 X1 Y1 Z-0.5 R0.1 Q0.2
X2
Y2
G81 X3 Z-0.25
X4
G80
G0 Z1
M9
M5
M2
"""

INCREMENTAL = """\
%
G17 G21 G90 G94 G55 G40 G49 G80
T1 M6
G0 X0 Y0 Z15
S9000 M3
G4 P3
N10 G91 G1 Z-10 F200
N20 X5.00005
N30 F800 Y5
N40 G3 X-5 Y5 I-5
N50 G1 Y-5
N60 G0 Z10
N70 M5
N80 M2
%
"""

INVERSE = """\
G17 G21 G90 G94 G54 G40 G49 G80
T1 M6
G0 X0 Y0 Z15
S9000 M3
G4 P3
F100
G1 Z4
G93 G1 X5 F40
X9 Y3 F50
G3 X9 Y9 I0 J3 F30
G1 X0 Y9 F20
G94
G0 Z15
M5
M2
"""

FILES = {"inverse": INVERSE, "plain": PLAIN, "cycles": CYCLES, "incremental": INCREMENTAL}


def made(tmp_path: Path, text: str, line: int):
    path = tmp_path / "01-A-square.nc"
    path.write_text(text)
    return restart(path, line)


def number_of(text: str, line: str) -> int:
    return text.splitlines().index(line) + 1


@pytest.mark.parametrize("name", FILES)
def test_every_line_either_restarts_with_the_same_cuts_or_says_why_not(name: str, tmp_path: Path):
    """One modal word forgotten, and the rest of the file is cut elsewhere, in other units or at
    another feed."""
    text = FILES[name]
    original = read_program(text, "it")
    cuts = original.line[original.kind > 0]
    done = 0
    for line, written in enumerate(text.splitlines(), 1):
        commands = bool(read_line(written).words) and written != "%"
        if not cuts[0] < line <= cuts[-1] or not commands:
            with pytest.raises(InputError, match="--from-line"):
                made(tmp_path, text, line)
            continue
        one = made(tmp_path, text, line)
        assert one.findings == ()
        again = read_program(one.text, "again")
        assert [finding for finding in again.findings if finding.kind != "missing-end"] == []
        tail = original.line >= one.line
        count = int(tail.sum())
        np.testing.assert_allclose(again.end[-count:], original.end[tail], atol=1e-9)
        assert (again.kind[-count:] == original.kind[tail]).all()
        cutting = original.kind[tail] > 0
        np.testing.assert_allclose(
            again.feed[-count:][cutting], original.feed[tail][cutting], rtol=1e-9
        )
        assert again.tool == original.tool and again.systems == original.systems[-1:]
        done += 1
    assert done >= 4


def test_it_goes_down_from_the_safe_height_at_the_plunge_feed(tmp_path: Path):
    """A rapid down beside a wall, or a plunge at the feed of a side cut, breaks the cutter."""
    one = made(tmp_path, PLAIN, number_of(PLAIN, "Y0"))
    lines = [line for line in one.text.splitlines() if not line.startswith("(")]
    at = lines.index("G0 Z20.0000")
    assert lines[at:][:8] == [
        "G0 Z20.0000", "S12000 M3", "G4 P6.0", "G0 X0.0000 "
                                               "Y20.0000", "F300.0", "G1 Z8.0000", "F1200", "G98",
    ]  # fmt: skip
    assert lines[at + 8] == "G1 Y0"
    assert lines[at - 2 : at] == ["T3", "M0"]
    assert one.text.splitlines()[0] == "(RESTART of 01-A-square.nc from line 31)"
    assert f"(sha256 {one.sha256})" in one.text.splitlines()
    assert "(Job: a square)" in one.text.splitlines()


def test_a_risk_that_the_file_names_stays_named(tmp_path: Path):
    """Who restarts a file takes the risk of the file."""
    risk = ["(Risk accepted: comes out in 97 of 100, these checks fail: window,)", "(  shows)"]
    text = "\n".join([*risk, PLAIN])
    lines = made(tmp_path, text, number_of(text, "Y0")).text.splitlines()
    assert lines[lines.index(risk[0]) :][:3] == [*risk, "(Job: a square)"]


def test_in_a_ramp_it_goes_back_to_where_the_ramp_began(tmp_path: Path):
    """In the middle of a ramp the wood ahead stands at full height against the side of the
    cutter."""
    for wanted in ("X20 Z8", "F1200", "X30 Y0"):
        one = made(tmp_path, PLAIN, number_of(PLAIN, wanted))
        assert one.line == number_of(PLAIN, "G1 X10 Z9")
        assert "ramp" in one.why
        assert one.place == (0.0, 0.0, 10.0)
    assert made(tmp_path, PLAIN, number_of(PLAIN, "G2 X40 Y10 I0 J10")).why == ""


def test_an_arc_without_its_code_gets_it(tmp_path: Path):
    """After the plunge the motion mode is G1: the line alone would be a straight one, or no line at
    all."""
    one = made(tmp_path, PLAIN, number_of(PLAIN, "X30 Y20 I-10 J0"))
    assert "\nG2 X30 Y20 I-10 J0\n" in one.text


def test_a_cycle_gets_the_words_it_keeps(tmp_path: Path):
    """Bottom, retract level and peck stand in an earlier line."""
    one = made(tmp_path, CYCLES, number_of(CYCLES, "Y2"))
    assert "\nG83 Y2 Z-0.50000 R0.10000 Q0.20000\n" in one.text
    assert one.text.splitlines().count("M8") == 1
    assert "\nG99\n" in one.text and "\nG61\n" in one.text
    assert "T2 M6" in one.text.splitlines()


def test_more_decimals_than_usual_are_kept(tmp_path: Path):
    """Rounded away, an incremental file ends beside its place."""
    one = made(tmp_path, INCREMENTAL, number_of(INCREMENTAL, "N30 F800 Y5"))
    assert "G0 X5.000050 Y0.0000" in one.text
    assert one.text.splitlines().count("G91") == 1
    assert "%" not in one.text


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (0, "the file has 35 lines"),
        (36, "the file has 35 lines"),
        (1, "nothing has been cut before"),
        (21, "nothing has been cut before"),
        (25, "comment or empty"),
        (32, "no cut is left"),
    ],
)
def test_a_line_that_cannot_be_is_refused_with_the_reason(line: int, message: str, tmp_path: Path):
    with pytest.raises(InputError, match=message):
        made(tmp_path, PLAIN, line)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ([("G0 Z11", "G0 Z11\nG92 X0")], "G92"),
        ([("X20 Z8", "X20 Z8 ; down")], "semicolon"),
        ([("G0 Z20", "G0 Z5"), ("G0 Z11", "G0 Z9")], "no rapid of this file stands above its cuts"),
        ([("G1 X0\nY0", "M5\nG1 X0\nY0")], "the spindle is stopped"),
        ([("S12000 M3", "S12000 M4")], "M4"),
        ([("F600\n", "F600\nG53 G0 Z0\n")], "unsupported"),
    ],
)
def test_a_file_that_cannot_be_trusted_is_refused(
    changes: list[tuple[str, str]], message: str, tmp_path: Path
):
    """Whatever the reader does not simulate leaves the place unknown."""
    text = PLAIN
    for change in changes:
        text = text.replace(*change)
    with pytest.raises(InputError, match=message):
        made(tmp_path, text, text.splitlines().index("G1 X0") + 1)


def test_never_overwrites_and_never_writes_what_does_not_read_back(tmp_path: Path):
    one = made(tmp_path, PLAIN, 28)
    target = default_name(tmp_path / "01-A-square.nc", 28)
    assert target.name == "01-A-square.from-28.nc"
    write_restart(one, target)
    with pytest.raises(InputError, match="never overwritten"):
        write_restart(one, target)
    assert target.read_text() == one.text
    assert one.text.isascii() and max(map(len, one.text.splitlines())) <= 80


@pytest.fixture(scope="module")
def written() -> dict[str, str]:
    """Groove and combined skim of the coupon as the writer has them, lines and arcs, mm and
    inch."""
    prepared = prepare(SAMPLES / "coupon.toml")
    found = {}
    for work in prepared.works:
        if work.name not in ("groove", "skim"):
            continue
        program = programs(work)[-1]
        for units, arcs in (("mm", True), ("inch", True), ("mm", False)):
            machine = prepared.job.machine.model_copy(update={"arcs": arcs})
            text = write(
                program, Heading("t", "d", "up", 1.0, None), machine=machine, units=units
            ).text
            found[f"{work.name} {units} {'arcs' if arcs else 'lines'}"] = text
    return found


def test_our_own_files_restart_at_many_lines(written: dict[str, str], tmp_path: Path):
    """A stop between two skim passes among them: the spindle is stopped there, and the file starts
    it itself."""
    for name, text in written.items():
        lines = text.splitlines()
        original = read_program(text, name)
        # not the way to the stop where the tip is looked at
        cuts = original.line[(original.kind > 0) & original.spindle_on]
        stops = [
            number
            for number, line in enumerate(lines, 1)
            if line in ("M0", "M5") and number > cuts[0]
        ]
        some = [*np.linspace(int(cuts[0]) + 1, int(cuts[-1]), 7).astype(int).tolist(), *stops]
        for line in some:
            if line > cuts[-1] or lines[line - 1].startswith("("):
                continue
            one = made(tmp_path, text, line)
            assert one.findings == (), (name, line)
            assert one.clear == pytest.approx(np.nanmax(original.end[:, 2]))
            again = read_program(one.text, "again")
            # the first way down, to its stop, is the file's own and has the spindle still
            begun = int(again.spindle_on.argmax())
            assert again.spindle_on[begun:][again.kind[begun:] > 0].all()
            low = again.end[:begun, 2] < one.clear - 1e-6
            assert not low.any(), (name, line)


def test_the_command_says_what_to_check(tmp_path: Path):
    path = tmp_path / "a.nc"
    path.write_text(PLAIN)
    result = CliRunner().invoke(app, ["restart", str(path), "--from-line", "30"])
    assert result.exit_code == 0, result.output
    assert "same cutter" in result.output and "zero" in result.output and "chips" in result.output
    assert (tmp_path / "a.from-30.nc").exists()
    assert CliRunner().invoke(app, ["restart", str(path), "--from-line", "30"]).exit_code == 2
    assert CliRunner().invoke(app, ["restart", str(path), "--from-line", "999"]).exit_code == 2
    assert (
        CliRunner().invoke(app, ["restart", str(tmp_path / "b.nc"), "--from-line", "9"]).exit_code
        == 2
    )
    result = CliRunner().invoke(app, ["restart", str(path), "--from-line", "29", "--json"])
    assert result.exit_code == 0 and '"motions":' in result.output


FIRST_WAY = """\
G17
G21
G90
G94
G54
G40
G49
G80
G64
M5
T1
M0
F1000.0
G1 Z13.8000
G1 X0.0000 Y0.0000
(MSG, Tip must be about 13.8 mm above the skimmed face)
M0
G0 Z8.0000
S18000 M3
G4 P4.0
G0 X10.0000 Y5.0000
G0 Z1.0000
F300
G1 Z-1.0000
F900
G1 X20.0000
G1 Y15.0000
G0 Z8.0000
M5
M2
"""


def test_a_slow_first_way_down_is_made_again(tmp_path: Path) -> None:
    """Who comes back to a file whose zero is its own may have the other one in the control
    again."""
    one = made(tmp_path, FIRST_WAY, number_of(FIRST_WAY, "G1 Y15.0000"))
    assert one.findings == () and one.clear == 8.0
    rows = [row for row in one.text.splitlines() if not row.startswith("(")]
    first = rows.index("G1 Z13.8000")
    assert rows[first - 1 : first + 4] == [
        "F1000",
        "G1 Z13.8000",
        "G1 X0.0000 Y0.0000",
        "M0",
        "G0 Z8.0000",
    ]
    assert not [row for row in rows[:first] if row.startswith("G0 ") or "M3" in row]
    for text in ("G1 Z13.8000", "G1 X0.0000 Y0.0000"):
        with pytest.raises(InputError, match="nothing has been cut"):
            made(tmp_path, FIRST_WAY, number_of(FIRST_WAY, text))
