"""A job made of another one: a scaled board must keep its hardware, a mirrored one its geometry,
and both the builder's comments."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.errors import InputError
from corepath.job.load import load_job
from corepath.job.model import Job
from corepath.job.text.resolved import resolved_dict
from corepath.job.text.samples import samples, samples_folder
from corepath.planning.job_files.copying import copy_job

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "samples" / "board-1280.toml"


def _copied(folder: Path, wanted: object, **how: object) -> Job:
    found = copy_job(folder / "core.toml", str(wanted), **how)  # type: ignore[arg-type]
    found.write()
    job = load_job(folder / "core.toml")
    (folder / "core.toml").rename(folder / "copied.toml")
    return job


def test_a_scaled_board_keeps_pitches_hardware_and_heights(tmp_path: Path) -> None:
    """Board 1280 to 1344, times 1.05, by hand: fin holes stay 60 apart about their middle (-522,
    86), a strap's inserts 40 by 124; dowels as far beyond the ends; no height changes."""
    old, job = load_job(SAMPLE), _copied(tmp_path, SAMPLE, length=1344.0)
    assert job.outline.stations is not None and old.outline.stations is not None
    assert job.outline.stations[1] == pytest.approx((-663.6, 65.1))
    assert job.deck.stations is not None and job.deck.stations[1] == pytest.approx((-504.0, 9.2))
    assert job.plug[0].at[0] == pytest.approx((-578.1, 90.3))
    assert job.plug[0].at[3] == pytest.approx((-518.1, -90.3))
    assert [x for x, _ in job.insert[0].at] == pytest.approx([-280.4, -280.4, -240.4, -240.4])
    assert {abs(y) for _, y in job.insert[0].at} == {62.0}
    assert [dowel.at for dowel in job.dowel] == [(-714.0, 0.0), (696.0, 0.0)]
    assert (job.blank.length, job.blank.width) == pytest.approx((1464.0, 501.0), abs=0.02)
    same = ("board", "groove", "skim", "cast", "skin", "hold", "machine", "tolerances", "cutter")
    assert all(getattr(job, name) == getattr(old, name) for name in same)
    assert job.blank.thickness == old.blank.thickness and job.deck.blend == 115.5
    for one, other in zip((*job.plug, *job.insert), (*old.plug, *old.insert), strict=True):
        kept = dict.fromkeys(("at", "pattern", "mirror"))
        assert one.model_copy(update=kept) == other.model_copy(update=kept)


@pytest.mark.parametrize(
    ("name", "mirror"), [("board-1280", "ends"), ("pads-900", "ends"), ("cradle-460", "sides")]
)
def test_a_board_mirrored_twice_is_the_board(tmp_path: Path, name: str, mirror: str) -> None:
    """Once: every place has its sign changed along one axis. Twice: the same job, number by number,
    whatever has places: pads, rocker, obstacles, slots."""
    old, way = load_job(SAMPLE.with_name(f"{name}.toml")), 0 if mirror == "ends" else 1
    once = _copied(tmp_path, SAMPLE.with_name(f"{name}.toml"), mirror=mirror)
    signs = [-1.0 if k == way else 1.0 for k in (0, 1)]
    before = {(x, y) for one in (*old.plug, *old.insert) for x, y in one.at}
    after = {(signs[0] * x, signs[1] * y) for one in (*once.plug, *once.insert) for x, y in one.at}
    assert after == before
    assert [dowel.at for dowel in once.dowel] == [
        tuple(sign * value + 0.0 for sign, value in zip(signs, dowel.at, strict=True))
        for dowel in old.dowel
    ]
    twice = _copied(tmp_path, tmp_path / "copied.toml", mirror=mirror)
    titled = {"title": old.title, "plug": None, "insert": None}
    assert {**resolved_dict(twice), **titled} == {**resolved_dict(old), **titled}
    for one, other in zip((*twice.plug, *twice.insert), (*old.plug, *old.insert), strict=True):
        assert sorted(one.at) == sorted(other.at)  # named in another order where ends changed


def test_comments_and_layout_stay(tmp_path: Path) -> None:
    """Line by line: but for the head, every line has its comment and its keys; a file of another
    system keeps its line ends."""
    text = SAMPLE.read_text(encoding="utf-8").replace("angle = 0.0", "angle = 25.0  # askew")
    (tmp_path / "old.toml").write_bytes(text.replace("\n", "\r\n").encode("utf-8"))
    found = copy_job(tmp_path / "new.toml", str(tmp_path / "old.toml"), 1300.0, "sides")
    head, _, rest = found.text.partition("\r\n\r\n")
    assert all(line.startswith("# ") for line in head.split("\r\n")) and "1280 to 1300 mm" in head
    assert found.text.count("\r\n") == found.text.count("\n")
    for before, after in zip(text.split("\n"), rest.split("\r\n"), strict=True):
        assert before.partition("#")[1:] == after.partition("#")[1:]
        assert before.split("=")[0] == after.split("=")[0] or before.startswith("    [")
    assert "angle = -25  # askew" in found.text


def test_what_belongs_to_the_other_blank_or_board_is_left_out(tmp_path: Path) -> None:
    """Places measured on another blank would be taken for this one's."""
    found = copy_job(tmp_path / "new.toml", "board-1280-wedge")
    assert "measured" not in tomllib.loads(found.text)["blank"]
    assert '# measured = "blank-wedge.csv"' in found.text and len(found.told) == 1


def test_files_that_a_job_names_go_with_it_and_overwrite_nothing(tmp_path: Path) -> None:
    """A DXF outline without its file is no job; another file of that name is somebody's own."""
    (tmp_path / "one").mkdir()
    job = _copied(tmp_path / "one", "swallow-620")
    assert job.outline.dxf == "swallow-620.dxf"
    assert (tmp_path / "one" / "swallow-620.dxf").read_bytes() == (
        ROOT / "samples" / "swallow-620.dxf"
    ).read_bytes()
    assert copy_job(tmp_path / "one" / "b.toml", "swallow-620").files == ()  # the same is there
    (tmp_path / "swallow-620.dxf").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="is there already and is not overwritten"):
        copy_job(tmp_path / "core.toml", "swallow-620")
    with pytest.raises(InputError, match="--length: does not change a file"):
        copy_job(tmp_path / "one" / "c.toml", "swallow-620", length=700.0)


def _new(*words: object) -> Result:
    return CliRunner().invoke(app, ["new", *map(str, words)])


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--from", "nothing"], "--from: there is no such job, and no sample of that name"),
        (["--from", "coupon", "--length", "1,5"], "--length: has a decimal comma: write 1.5"),
        (["--from", "coupon", "--length", "9000"], "--length: is another board, not this one"),
        (["--from", "coupon", "--length", "100"], "plug P1 reaches into the groove"),
        (["--mirror", "ends"], "--mirror: goes with --from"),
        (["--from", "coupon", "--width", "9"], "--width: does not go with --from"),
        (["--length", "1350", "--core", "9"], "--width, --blank, --edge: missing"),
        (["--inch"], "--length, --width, --blank, --core, --edge: missing"),
    ],
)
def test_what_cannot_be_copied_writes_nothing(
    tmp_path: Path, words: list[str], message: str
) -> None:
    found = _new(tmp_path / "core.toml", *words)
    assert found.exit_code == 2 and message in found.stderr, found.output
    assert list(tmp_path.iterdir()) == []


def test_new_from_a_sample_by_its_name(tmp_path: Path) -> None:
    """As typed, and once more: never over a file."""
    path = tmp_path / "my-board.toml"
    found = _new(path, "--from", "coupon", "--json")
    told = json.loads(found.stdout)
    assert (told["title"], told["beside"]) == ("My board", []) and load_job(path)
    assert told["measuring"] == str(tmp_path / "my-board.measure.csv")
    assert math.isclose(load_job(path).blank.length, 240.0)
    assert "is there already" in _new(path, "--from", "coupon").stderr


def test_the_wheel_carries_all_samples() -> None:
    """A sample that the wheel lacks can be copied in the source only."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    carried = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    data = [path for path in (ROOT / "samples").rglob("*.*") if path.suffix not in (".py", ".pyc")]
    assert {path.relative_to(ROOT).as_posix() for path in data} == {
        name
        for name, place in carried.items()
        if name.startswith("samples/") and place == f"corepath/{name}"
    }
    assert samples_folder() == ROOT / "samples" and "board-1280" in samples()
