"""`corepath readback FILE`: options, exit codes, the table, the drawing."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.errors import InputError
from corepath.planning.foreign.foreign_options import ForeignOptions, bench_of

FILE = """%
(TRAY, OTHER SHOP)
N10 G20 G90 G94 G17 G40 G49 G80
N20 T1 M6
N30 S16000 M3
N35 G4 P3
N40 G43 H1
N50 G0 X0.5 Y0.5 Z0.5
N60 G1 Z-0.125 F30.
N70 X3.5 F80.
N80 Y2.5
N90 X0.5
N100 Y0.5
N110 G0 Z0.5
N170 T2 M6
N180 S12000 M3
N190 G4 P3
N200 G99 G81 X1. Y1. Z-0.8 R0.1 F15
N210 X3.
N220 G80
N230 G0 Z1.
N240 M5
N250 M30
%
"""
GOOD = ("--blank", "4x3x0.75in", "--cutter", "1=flat:0.25in", "--cutter", "2=drill:5", "--zero",
    "front-left,top",
        "--spoil-board", "6", "--cell", "0.25")  # fmt: skip


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "tray.nc"
    path.write_text(FILE, encoding="ascii")
    return path


def run(*words: str) -> Result:
    return CliRunner().invoke(app, ["readback", *words])


def test_a_good_file_is_told_and_ends_well(file: Path, tmp_path: Path) -> None:
    """Exit 0; the table has the figures, the drawing the same."""
    done = run(str(file), *GOOD, "-o", str(tmp_path / "seen"))
    assert done.exit_code == 0, done.output
    assert "deepest below the top" in done.output and "0.7500" in done.output
    assert all(len(line) <= 80 for line in done.output.split("Depths drawn")[0].splitlines())
    drawn = (tmp_path / "seen" / "tray.depths.svg").read_text(encoding="utf-8")
    assert "0.7500 deep" in drawn and "0.6250 left" in drawn and "cut right through" in drawn
    assert 'id="through"' in drawn and len(re.findall(r'class="f\d"', drawn)) >= 2
    assert [path.name for path in (tmp_path / "seen").iterdir()] == ["tray.depths.svg"]
    again = run(str(file), *GOOD, "-o", str(tmp_path / "seen"))
    assert again.exit_code == 0
    assert (tmp_path / "seen" / "tray.depths.svg").read_text(encoding="utf-8") == drawn


def test_a_person_reads_the_files_own_units(file: Path, tmp_path: Path) -> None:
    """A file in inches is told in inches, table, findings and drawing; the same file in mm in mm.

    Blank 4 x 3 x 0.75, a slot 0.125 deep from 0.5 to 3.5, F30 and F80; holes of 5 mm, which are
    0.1969.
    """
    inch = run(str(file), *GOOD[:-4], "--cell", "0.25", "-o", str(tmp_path))
    assert inch.exit_code == 1 and not re.search(
        r"\bmm\b|mm/|mm²", inch.output.partition("Next:")[0]
    )
    for row in (
        "4 x 3 x 0.75",
        "flat 0.25",
        "drill 0.1969",
        "0.5000 to 3.5000",
        "feed, in/min",
        "15.0 to 80.0",
    ):
        assert row in inch.output, row
    assert "X-2 Y-1.5, 0.75 above the bed" in " ".join(inch.output.split())
    assert re.search(r"0\.0[0-9]+ into what lies below", " ".join(inch.output.split()))
    drawn = re.findall(
        r">([^<]+)</text>", (tmp_path / "tray.depths.svg").read_text(encoding="utf-8")
    )
    assert "4 x 3 x 0.75 in" in drawn and not [one for one in drawn if re.search(r"\bmm\b", one)]
    file.write_text(
        "G21 G90 G94 G17 G40 G49 G80\nT1 M6\nS9000 M3\nG4 P3\nG0 X0 Y0 Z5\nG1 Z-2 F300\nG0 Z5\nM2\n"
    )
    metric = run(str(file), *GOOD)
    assert (
        "101.6 x 76.2 x 19.05" in metric.output
        and "feed, mm/min" in metric.output
        and "300 to 300" in metric.output
    )
    assert json.loads(run(str(file), *GOOD, "--json").stdout)["units"] == {
        "name": "mm",
        "stated": True,
    }


def test_json_has_it_all(file: Path) -> None:
    """Nothing else stands on stdout, and the lengths are those of the file in mm."""
    done = run(str(file), *GOOD, "--json")
    report = json.loads(done.stdout)
    assert report["ok"] and report["extents"]["x"] == [12.7, 88.9]
    assert report["zero"] == {"x": -50.8, "y": -38.1, "z": 19.05}
    assert [cutter["diameter"] for cutter in report["cutters"]] == [6.35, 5.0]
    assert report["through"] == pytest.approx(39.3, abs=1.5)


def test_findings_are_exit_1_with_what_to_do(file: Path) -> None:
    """Without a spoil board the drill goes into the table."""
    done = run(str(file), *GOOD[:-4])
    assert done.exit_code == 1
    assert "spoil-board: tray.nc:18" in done.output and "What to do" in done.output


@pytest.mark.parametrize(
    ("words", "key"),
    [
        ((), "--blank"),
        (("--blank", "100x60"), "--blank"),
        (("--blank", "100x0x5"), "--blank"),
        (("--blank", "1e3x2x5"), "--blank"),
        (("--blank", "100x60x5"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "square:5"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "flat:0"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "bull:5"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "flat:5:1"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "ball:5:1"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "flat:5,wide=3"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "flat:5,angle=3"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "taper:2"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "taper:2,angle=5"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "taper:2,angle=40,shank=6"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "taper:2,angle=5,shank=2"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "taper:2,angle=5,edges=0.5"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "flat:5", "--cutter", "flat:6"), "--cutter"),
        (("--blank", "100x60x5", "--cutter", "flat:5", "--zero", "top"), "--zero"),
        (("--blank", "100x60x5", "--cutter", "flat:5", "--zero", "1,2"), "--zero"),
        (("--blank", "100x60x5", "--cutter", "flat:5", "--units", "yard"), "--units"),
        (("--blank", "100x60x5", "--cutter", "flat:5", "--units", "inch"), "--units"),
        (("--blank", "9000x9000x5", "--cutter", "flat:5", "--cell", "0.1"), "--cell"),
        (("--blank", "100x60x5", "--cutter", "flat:5", "--cell", "nan"), "--cell"),
        (("--blank", "100x60x5", "--cutter", "flat:5", "--rapid", "0"), "--rapid"),
    ],
)  # fmt: skip
def test_wrong_options_are_exit_2_and_named(file: Path, words: tuple[str, ...], key: str) -> None:
    """A blank or a cutter that is guessed at would make every figure a guess."""
    done = run(str(file), *words, "--json")
    assert done.exit_code == 2, done.output
    faults = json.loads(done.stdout)["faults"]
    assert key in [fault["key"] for fault in faults]


def test_all_faults_at_once() -> None:
    """One run names them all."""
    with pytest.raises(InputError) as caught:
        bench_of(ForeignOptions("flat", ["round"], "nowhere"))
    assert [fault.key for fault in caught.value.faults] == ["--blank", "--cutter", "--zero"]


def test_options_of_a_file_do_not_go_with_a_folder(tmp_path: Path) -> None:
    """A plan's own blank must not seem to have been overruled."""
    done = run(str(tmp_path), "--blank", "100x60x5")
    assert done.exit_code == 2 and "--blank" in done.output


@pytest.mark.parametrize(
    ("text", "shape", "diameter", "corner", "number"),
    [
        ("flat:6", "flat", 6.0, 0.0, -1),
        ("T3=ball:10", "ball", 10.0, 5.0, 3),
        ("2=bull:12:2", "bull", 12.0, 2.0, 2),
        ("bull:0.5:0.125in", "bull", 12.7, 3.175, -1),
        ("drill:.25inch,edges=1,out=1.5", "drill", 6.35, 0.0, -1),
        ("4=taper:2,angle=5,shank=6", "taper", 2.0, 1.0, 4),
    ],
)
def test_cutters_as_they_are_written(
    text: str, shape: str, diameter: float, corner: float, number: int
) -> None:
    """A diameter misread is a groove of another width."""
    bench = bench_of(ForeignOptions("100x60x5", [text], "-1.5,2,.5"))
    cutter = bench.cutters[number]
    assert (cutter.shape, cutter.diameter) == (shape, pytest.approx(diameter))
    assert cutter.corner_radius == pytest.approx(corner)
    assert bench.zero == (-1.5, 2.0, 0.5)
