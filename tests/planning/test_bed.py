"""The bed of a shop: a spoil board faced too deep, or a hole beside its place, spoils every core
after it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.job.load import load_job, read_job
from corepath.job.text.starter import starter_text
from corepath.lengths import MM
from corepath.planning.bed.bed_files import BedFile, BedPlan, plan_bed
from corepath.planning.bed.bed_proof import prove
from corepath.planning.make import make_files
from corepath.planning.prepare import prepare
from tests.job.test_shop_file import _parts

SHOP = _parts(starter_text("Core"))[1].replace("travel = [700, 400, 80]", "travel = [TRAVEL]")
BED = """
[bed]
size = [160, 100]
thickness = 17.4
pins = [[-62, 0], [58, 0]]
edge = [90, 10.0]
"""


def _shop(folder: Path, bed: str = BED, travel: str = "200, 150, 80") -> Path:
    path = folder / "shop.toml"
    path.write_text(SHOP.replace("TRAVEL", travel) + bed, encoding="utf-8")
    return path


def _run(*words: object) -> Result:
    return CliRunner().invoke(app, ["bed", *map(str, words)])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> BedPlan:
    return plan_bed(_shop(tmp_path_factory.mktemp("bed")))


def _file(made: BedPlan, name: str) -> BedFile:
    return next(file for file in made.files if file.work.name == name)


def test_the_bed_is_cut_otherwise_than_its_table_says(made: BedPlan) -> None:
    """By hand: faced 0.4 deep all over 160 x 100; holes of 5 with a cutter of 4 circle on 0.5 about
    their places, 7 deep; the cross has arms of 30 and is 0.3 deep; the edge is cut along Y = -10,
    the radius of the largest cutter, half a millimetre into the bed."""
    assert [file.name for file in made.files] == [
        "bed-1-face.nc", "bed-2-pins.nc", "bed-3-cross.nc", "bed-4-edge.nc",
    ]  # fmt: skip
    assert not made.findings
    face, pins, cross, edge = made.files
    assert (face.proof.cut_low, face.proof.cut_high) == pytest.approx((-0.4, -0.4), abs=1e-4)
    # all but the band of one column along its rim, which no column tells
    assert face.proof.area == pytest.approx(160 * 100, rel=0.02)
    assert face.proof.beside == pins.proof.beside == cross.proof.beside == 0.0
    assert pins.proof.cut_low == pytest.approx(-7.0, abs=1e-4)
    xs = [float(x) for x in re.findall(r"G[123] X(-?[\d.]+)", pins.text)]
    assert {min(abs(x + 62), abs(x - 58)) <= 0.5 for x in xs} == {True}
    assert min(xs) == -62.5 and pins.extents.x[1] == 58.5
    assert cross.extents.z[0] == pytest.approx(-0.3)
    assert "G1 X15.0000 Z-0.3000" in cross.text and "G1 Y15.0000 Z-0.3000" in cross.text
    assert edge.extents.y == (-10.0, -10.0) and edge.extents.z[0] == -0.5
    # the blank is on the right of the way, with a spindle that turns clockwise: climb milling
    assert edge.text.index("G0 X101.9990") < edge.text.index("G1 X-11.9990")


@pytest.mark.parametrize(
    ("name", "right", "wrong", "kind"),
    [
        ("face", "Z-0.4000", "Z-0.4500", "plane"),
        ("face", "Z-0.4000", "Z-0.3500", "plane"),
        ("pins", "Z-7.0000", "Z-6.9000", "floor"),
        ("cross", "X15.0000 Z-0.3000", "X25.0000 Z-0.3000", "outside-area"),
        ("cross", "G0 Z8.0000\nG0 X0", "G0 Z-0.2000\nG0 X0", "rapid-through-material"),
        ("edge", "G1 X-11.9990", "G1 X45.0000", "floor"),
        ("edge", "S14000 M3\nG4 P4.0", "S14000 M3", "spindle-not-up"),
        ("pins", "T1\n", "T9\n", "unknown-cutter"),
    ],
)
def test_a_file_of_the_bed_that_was_changed_is_read_as_right(
    made: BedPlan, name: str, right: str, wrong: str, kind: str
) -> None:
    """The judge must see what a hand or a fault of ours puts into the text."""
    file = _file(made, name)
    assert right in file.text
    proof = prove(made.shop.job, file.work, file.program, file.text.replace(right, wrong))
    assert kind in {finding.kind for finding in proof.findings}


def test_a_board_wider_than_the_machine_is_faced_where_nothing_reaches(tmp_path: Path) -> None:
    """By hand: the axis travels 120 by 60, the cutter of 20 sweeps 140 by 80 of 160 by 100: strips
    of 10 at either end are left, and told."""
    shop = _shop(
        tmp_path, BED.replace("edge = [90, 10.0]", "").replace("-62", "-55"), "120, 60, 80"
    )
    made = plan_bed(shop)
    face = _file(made, "face")
    spans = [high - low for low, high in face.extents[:2]]
    assert spans == pytest.approx([120.0, 60.0], abs=1e-6) and not made.findings
    assert face.proof.area == pytest.approx(140 * 80, rel=0.02)
    strips = [text for text in map(MM.text, face.told) if "strip 10.0 wide" in text]
    assert len(strips) == 2 and "along X" in strips[0] and "along Y" in strips[1]
    narrow = _run(_shop(tmp_path, travel="110, 60, 80"), "-o", tmp_path / "bed")
    assert narrow.exit_code == 2 and not (tmp_path / "bed").exists()
    assert re.search(r"shop\.toml:\d+: bed\.pins: bed-2-pins\.nc travels 121\.0 mm", narrow.stderr)


def test_the_command_writes_no_sheet(tmp_path: Path) -> None:
    """Files, page and report; never into the folder of a job's plan."""
    found = _run(_shop(tmp_path), "-o", tmp_path / "bed")
    assert found.exit_code == 0 and "read-back: no findings" in found.stdout
    names = {path.name for path in (tmp_path / "bed").iterdir()}
    assert {"sheet.html", "report.json", "bed-1-face.nc"} <= names and len(names) == 6
    page = (tmp_path / "bed" / "sheet.html").read_text(encoding="utf-8")
    assert "corepath bed shop.toml" in page and "--thickness" in page
    assert "Extract it at the cutter" in page
    (tmp_path / "plan").mkdir()
    (tmp_path / "plan" / "job.resolved.json").write_text("{}")
    assert _run(_shop(tmp_path), "-o", tmp_path / "plan").exit_code == 2
    assert [path.name for path in (tmp_path / "plan").iterdir()] == ["job.resolved.json"]


@pytest.mark.parametrize(
    ("bed", "message"),
    [
        ("", "bed: the table [bed] is missing"),
        (BED.replace("17.4", "9.0"), "bed.thickness: the spoil board is worn out"),
        (BED.replace("[58, 0]", "[79, 0]"), "bed.pins[2]: lies beside the spoil board"),
        (BED.replace("[58, 0]", "[-60, 2]"), "bed.pins[2]: meets a hole before it"),
        (BED + "pin_depth = 18.0\n", "bed.pin_depth: goes through the spoil board"),
        (BED + "pin_diameter = 3.0\n", "bed.pin_diameter: no listed cutter fits"),
        (BED.replace("size", "sise"), "bed.sise: unknown key; did you mean size?"),
        (BED + "cross_depth = 5.0\n", "bed.cross_depth: is no mark but a groove"),
    ],
)
def test_a_bed_that_cannot_be_is_cut(tmp_path: Path, bed: str, message: str) -> None:
    """Exit 2, file and key named, nothing written."""
    found = _run(_shop(tmp_path, bed), "-o", tmp_path / "bed")
    assert found.exit_code == 2 and message in found.stderr and "shop.toml" in found.stderr
    assert not (tmp_path / "bed").exists()


def test_a_measured_thickness_changes_more_than_itself(tmp_path: Path) -> None:
    """All other bytes stay, the old file is kept, and what would wear the board out is refused."""
    shop = _shop(tmp_path)
    before = shop.read_bytes()
    assert _run(shop, "--thickness", "16.9").exit_code == 0
    assert shop.read_bytes() == before.replace(b"thickness = 17.4", b"thickness = 16.9")
    assert (tmp_path / "shop.toml.old").read_bytes() == before
    for typed in ("9", "16,9", "thin", "-3"):
        assert _run(shop, "--thickness", typed).exit_code == 2
    assert b"thickness = 16.9" in shop.read_bytes()
    assert len(list(tmp_path.iterdir())) == 2


def _job(folder: Path, bed: str = BED, depth: str = "7.0", at: str = "-62") -> Path:
    """The starter on this bed: smaller, its dowels in the holes that are there."""
    text = _parts(starter_text("Core"))[0].replace("spoil_board = 18.0", "")
    text = text.replace("stand = 3.5", 'stand = 3.5\nin_bed = "there"').replace(
        "depth_in_bed = 7.0", f"depth_in_bed = {depth}"
    )
    bed = bed.replace("[160, 100]", "[260, 100]").replace(
        "[-62, 0], [58, 0]", "[-113, 0], [102, 0]"
    )
    _shop(folder, bed, "700, 400, 80")
    path = folder / "core.toml"
    path.write_text('shop = "shop.toml"\n' + text.replace("at = [-113, 0]", f"at = [{at}, 0]"))
    return path


def test_the_bed_is_drilled_again_for_every_board(tmp_path: Path) -> None:
    """The holes through the blank end 1 mm below the bed (milling.into_bed), in the holes that are
    there; X and Y come from these, on the bare bed; the spoil board is the bed's, 17.4 thick."""
    prepared = prepare(_job(tmp_path, at="-113"))
    work = next(work for work in prepared.works if work.name == "dowels")
    assert {hole.steps[-1].floor for hole in work.holes} == {-1.0}
    assert work.zero.by == "pins" and prepared.job.blank.spoil_board == 17.4
    assert not prepared.failed
    made = make_files(replace(prepared, works=(work,)))
    assert "from the holes that are in the bed, before the" in made[0].text
    assert "no pin may stand in them" in " ".join(made[0].text.split("\n(  "))
    assert made[0].extents.z[0] == -1.0
    # without the key nothing is changed: the usual holes, and the digest of the job without a bed
    plain = tmp_path / "plain.toml"
    plain.write_text(starter_text("Core"))
    works = prepare(plain).works
    assert {hole.steps[-1].floor for hole in works[0].holes} == {-7.0}
    assert "in_bed" not in load_job(plain).dowel[0].model_dump()


@pytest.mark.parametrize(
    ("bed", "depth", "at", "key", "message"),
    [
        (BED, "7.0", "-112.9", "dowel[1].at", "no hole is there in the bed"),
        (BED, "7.5", "-113", "dowel[1].depth_in_bed", "is deeper than the hole which is there"),
        (BED + "pin_diameter = 6.0\n", "7.0", "-113", "dowel[1].diameter", "is not that of"),
        (BED, "0.5", "-113", "dowel[1].depth_in_bed", "is less than the hole through the blank"),
        (BED.replace("17.4", "9.9"), "7.0", "-113", "bed.thickness", "worn out"),
    ],
)
def test_a_dowel_is_set_into_a_hole_that_is_not_there(
    tmp_path: Path, bed: str, depth: str, at: str, key: str, message: str
) -> None:
    """A blank held by nothing turns over in air."""
    _, faults = read_job(_job(tmp_path, bed, depth, at))
    assert any(fault.key == key and message in fault.message for fault in faults), faults
