"""What the jobs of a shop share: joined with a job it must be the job that one file would be, and
each fault must name the file in which somebody has to fix it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.editing.inputs import inputs_of
from corepath.job.load import load_job, read_job
from corepath.job.model import Job
from corepath.job.tables.builtin import resin_of
from corepath.job.tables.threads import fit_cautions
from corepath.job.text.resolved import digest, from_resolved, resolved_dict
from corepath.job.text.samples import sample_path
from corepath.job.text.starter import shop_text, starter_text
from corepath.planning.fixing.levers import levers_of
from corepath.planning.job_files.copying import copy_job
from corepath.planning.job_files.key_places import key_places
from corepath.planning.prepare import prepare
from corepath.stackup.pour.pour import depth_loss
from tests.job.test_job_resolved import inch_text

SHARED = ("[machine]", "[[cutter]]", "[hold]", "[tolerances]")
BASE = starter_text("Core")


def _parts(text: str) -> tuple[str, str]:
    """A job without the tables that a shop may hold, and these: cut at the headers."""
    tables = re.split(r"(?m)^(?=\[)", text)
    shared = [table for table in tables if table.startswith(SHARED)]
    own = [table for table in tables if not table.startswith(SHARED)]
    return "".join(own), "".join(shared)


def _pair(folder: Path, job: str, shop: str) -> Path:
    """A job that names a shop file, both written; the job has a title of its own already."""
    folder.mkdir(exist_ok=True)
    (folder / "shop.toml").write_text(shop, encoding="utf-8")
    path = folder / "core.toml"
    path.write_text('shop = "shop.toml"\n' + job, encoding="utf-8")
    return path


def _split(folder: Path, more_job: str = "", more_shop: str = "") -> Path:
    job, shop = _parts(BASE)
    return _pair(folder, job + more_job, shop + more_shop)


def _run(*words: object) -> Result:
    return CliRunner().invoke(app, list(map(str, words)))


def test_a_job_with_a_shop_file_is_another_job_than_in_one_file(tmp_path: Path) -> None:
    """Same digest, so the same plan byte by byte; and its folder is read without the shop file."""
    (tmp_path / "whole.toml").write_text(BASE, encoding="utf-8")
    job = load_job(_split(tmp_path))
    assert digest(job) == digest(load_job(tmp_path / "whole.toml"))
    assert "shop" not in resolved_dict(job)
    (tmp_path / "shop.toml").write_text("[hold]\nB = 'tape'\n" + _parts(BASE)[1], encoding="utf-8")
    assert digest(load_job(tmp_path / "core.toml")) != digest(job)


def _same(one: Job, other: Job) -> None:
    def flat(held: object, at: str = "") -> dict[str, object]:
        rows = held.items() if isinstance(held, dict) else enumerate(held)  # type: ignore[arg-type]
        found: dict[str, object] = {}
        for key, value in rows:
            name = f"{at}.{key}"
            found |= flat(value, name) if isinstance(value, dict | list) else {name: value}
        return found

    left, right = flat(resolved_dict(one)), flat(resolved_dict(other))
    for key in (".units", ".title"):
        del left[key], right[key]
    assert left.keys() == right.keys()
    for key, value in left.items():
        if isinstance(value, float):
            assert right[key] == pytest.approx(value, rel=1e-12, abs=1e-12), key
        else:
            assert right[key] == value, key


def test_a_shop_in_other_units_than_the_job_is_another_shop(tmp_path: Path) -> None:
    """Both ways round; a length of the shop read in the units of the job would be 25.4 times off.
    Feeds and travel count too, speeds and counts do not."""
    (tmp_path / "whole.toml").write_text(BASE, encoding="utf-8")
    job, shop = _parts(BASE)
    head = 'title = "Core"\nunits = "inch"\n'
    inch = inch_text(BASE).replace('title = "Test piece"\nunits = "inch"\n', "")
    inch_job, inch_shop = _parts(inch)
    whole = load_job(tmp_path / "whole.toml")
    _same(whole, load_job(_pair(tmp_path / "a", job, 'units = "inch"\n' + inch_shop)))
    _same(whole, load_job(_pair(tmp_path / "b", head + inch_job, shop)))
    _same(whole, load_job(_pair(tmp_path / "c", head + inch_job, 'units = "inch"\n' + inch_shop)))


def test_a_key_of_the_job_loses(tmp_path: Path) -> None:
    """A cutter of the same number keeps all that the job does not give; a new one comes first, so
    that cutter[2] is the job's second in every message."""
    more = "\n[machine]\naccel = 250\n\n[[cutter]]\nnumber = 3\nrpm = 11000\n"
    more += '\n[[cutter]]\nnumber = 9\nshape = "flat"\ndiameter = 3.0\n'
    more += "cutting_length = 12.0\nstick_out = 20.0\n"
    path = _split(tmp_path, more)
    job = load_job(path)
    assert (job.machine.accel, job.machine.rapid) == (250.0, 6000.0)
    assert [one.number for one in job.cutter] == [3, 9, 1, 2, 4]
    assert (job.cutter[0].rpm, job.cutter[0].diameter) == (11000.0, 20.0)
    shown = _run("check", path, "--show", "shop", "-q").stdout
    lines = (tmp_path / "shop.toml").read_text().splitlines()
    machine = next(k for k, line in enumerate(lines, 1) if line.startswith("accel = 500"))
    assert re.search(rf"machine\.accel +250 +core\.toml:\d+ +shop\.toml:{machine}\n", shown)
    assert re.search(r"machine\.rapid +6000 +shop\.toml:\d+ *\n", shown)
    assert re.search(r"cutter\[1\]\.diameter +20\.0 +shop\.toml:\d+ *\n", shown)


def _faults(path: Path) -> list[tuple[str, str, int | None, str]]:
    _, faults = read_job(path)
    return [(Path(one.file).name, one.key, one.line, one.message) for one in faults]


def test_a_fault_names_a_file_in_which_it_does_not_stand(tmp_path: Path) -> None:
    """Lines counted by hand: three of the job's head, and what is added behind the shop's text."""
    lines = _parts(BASE)[1].count("\n")
    more = '[[cutter]]\nnumber = 7\nshape = "flat"\ndiametr = 3.0\ncutting_length = -2.0\n'
    found = _faults(_split(tmp_path, "\n[[cutter]]\nnumber = 3\nrpm = 99000\n", more + "[hld]\n"))
    by_key = {(file, key): (line, says) for file, key, line, says in found}
    assert by_key["shop.toml", "cutter[5].diametr"] == (
        lines + 4,
        "unknown key; did you mean diameter?",
    )
    assert by_key["shop.toml", "cutter[5].cutting_length"][0] == lines + 5
    assert by_key["shop.toml", "cutter[5].diameter"] == (lines + 1, "missing key")
    assert by_key["shop.toml", "hld"][0] == lines + 6
    assert by_key["core.toml", "cutter[1].rpm"][1] == "is a speed that the spindle does not run"
    assert [file for file, *_ in found] == sorted(file for file, *_ in found)


@pytest.mark.parametrize(
    ("shop", "file", "key", "message"),
    [
        (None, "core.toml", "shop", "is not there"),
        ("[machine\n", "shop.toml", "", "is no header of a table"),
        ("schema = 9\nBODY", "shop.toml", "schema", "newer corepath"),
        ("BODY[board]\nthickness = 9\n", "shop.toml", "board", "belongs in the job"),
        ("tolerances = 3\nBODY", "shop.toml", "tolerances", "has the wrong shape"),
        ('units = "cm"\nBODY', "shop.toml", "units", "is not one of the choices"),
        ('units = "inch"\nBODY', "shop.toml", "machine.safe_z", "looks like mm"),
    ],
)
def test_a_shop_file_that_cannot_be_is_used(
    tmp_path: Path, shop: str | None, file: str, key: str, message: str
) -> None:
    """Exit 2, with the file and key; and a file that cannot be read is told once, not by each
    table that is then missing."""
    path = _split(tmp_path)
    (tmp_path / "shop.toml").unlink()
    if shop is not None:
        text = shop.replace("BODY", _parts(BASE)[1])
        (tmp_path / "shop.toml").write_text(text, encoding="utf-8")
    found = _faults(path)
    assert any(one[:2] == (file, key) and message in one[3] for one in found), found
    assert len(found) == 1 or "inch" in str(shop), found
    assert shop is not None or _run("check", path).exit_code == 2


def test_a_resin_and_hardware_of_the_shop_are_not_used(tmp_path: Path) -> None:
    """By hand: 0.015 + 0.005 of its depth is lost; the cup is the shop's, its cautions those of
    its kind; a bore of 4.9 + 0.2 binds an M5 bolt (fine clearance hole 5.3, ISO 273)."""
    rows = '[[resin]]\nname = "ours"\nkind = "polyurethane"\nratio = [3, 1]\ngel_loss = 0.015\n'
    rows += 'cup = 150\n[[hardware]]\nname = "nut"\nthread = "M5"\nbarrel = 4.9\nflange = 14.0\n'
    rows += "flange_thickness = 1.1\nlength = 6.0\n"
    path = _split(tmp_path, "", rows)
    text = path.read_text().replace('resin = "polyurethane"\nratio = [100, 90]', 'resin = "ours"')
    text = re.sub(r"barrel = 6\.5.*\nflange = 15\.0.*\nflange_thickness.*\n",
                  'hardware = "nut"\n', text)  # fmt: skip
    path.write_text(text, encoding="utf-8")
    job = load_job(path)
    assert depth_loss(job.cast) == pytest.approx(0.02) and job.cast.ratio == (3.0, 1.0)
    resin = resin_of(job.cast)
    assert resin is not None and resin.cup.value == 150.0 and resin.pot_life.value == 5.0
    assert any("isocyanates" in one for one in resin.cautions)
    # a length that the job gives itself wins
    assert (job.insert[0].barrel, job.insert[0].length) == (4.9, 5.5)
    assert any("narrower than the fine clearance hole of M5" in one for one in fit_cautions(job))
    back = from_resolved(json.loads(json.dumps(resolved_dict(job))))
    assert resolved_dict(back) == resolved_dict(job) and resin_of(back.cast) == resin


def test_a_name_of_the_table_is_taken_for_an_own_one(tmp_path: Path) -> None:
    """Otherwise a job would mean another resin in each shop, and nobody could see it."""
    rows = '[[resin]]\nname = "epoxy"\nkind = "polyester"\n'
    found = _faults(_split(tmp_path, "", rows))
    assert [(one[0], one[1]) for one in found] == [
        ("shop.toml", "resin[1].name"), ("shop.toml", "resin[1].kind"),
    ]  # fmt: skip


def test_a_value_of_the_shop_is_written_into_the_job(tmp_path: Path) -> None:
    """`--apply` writes by place: cutter[1] is none of this job's own. Neither file may change."""
    path = _split(tmp_path, "", "[hold]\nleast_height = 3.0\n")
    before = {one: one.read_bytes() for one in (path, tmp_path / "shop.toml")}
    found = _run("check", path, "--apply", "cutter[1].rpm=9000", "machine.safe_z=9")
    assert found.exit_code == 2
    assert "other jobs would change with it" in found.stderr and "shop.toml" in found.stderr
    assert all(one.read_bytes() == content for one, content in before.items())
    # nor is it proposed
    assert "least_height" not in levers_of(prepare(path))
    # what the shop does not give is written into the job
    assert _run("check", path, "--apply", "machine.canned_cycles=true", "-q").exit_code == 0
    assert "canned_cycles = true" in path.read_text()
    assert load_job(path).machine.rapid == 6000.0


def test_new_writes_a_shop_file_that_a_new_job_cannot_name(tmp_path: Path) -> None:
    """The starter's machine and cutters are those of the shop file, so the job is the same; never
    over a file."""
    assert _run("new", tmp_path / "shop.toml", "--shop").exit_code == 0
    text = (tmp_path / "shop.toml").read_text(encoding="utf-8")
    assert text == shop_text("shop.toml") and 'shop = "shop.toml"' in text
    path = _pair(tmp_path, _parts(BASE)[0], text)
    job, whole = load_job(path), tmp_path / "whole.toml"
    whole.write_text(BASE, encoding="utf-8")
    assert job.cutter == load_job(whole).cutter and job.machine == load_job(whole).machine
    again = _run("new", tmp_path / "shop.toml", "--shop")
    assert again.exit_code == 2 and "is there already" in again.stderr
    assert _run("new", tmp_path / "b.toml", "--shop", "--from", "coupon").exit_code == 2
    assert not (tmp_path / "b.toml").exists()


def test_a_copy_has_a_shop_of_its_own(tmp_path: Path) -> None:
    """A copy elsewhere names the same file; only of a sample it comes along."""
    path = _split(tmp_path / "here")
    (tmp_path / "there").mkdir()
    copy_job(tmp_path / "there" / "b.toml", str(path)).write()
    assert 'shop = "../here/shop.toml"' in (tmp_path / "there" / "b.toml").read_text()
    assert not (tmp_path / "there" / "shop.toml").exists()
    assert load_job(tmp_path / "there" / "b.toml").cutter == load_job(path).cutter
    copy_job(tmp_path / "there" / "c.toml", "hand-plane-230", mirror="ends").write()
    sample = sample_path("hand-plane-230")
    assert sample is not None
    assert (tmp_path / "there" / "shop.toml").read_bytes() == (
        sample.with_name("shop.toml").read_bytes()
    )
    assert load_job(tmp_path / "there" / "c.toml").cast.resin == "camp-pu"


def test_a_saved_shop_file_is_not_planned_again(tmp_path: Path) -> None:
    """`plan --watch` looks at all that a plan hangs on."""
    path = _split(tmp_path)
    assert tmp_path / "shop.toml" in (inputs_of(path) or ())


def test_the_two_samples_do_not_share_one_shop() -> None:
    """Both checked as shipped; the second has one cutter slower, the rest the same."""
    jobs = []
    for name in ("hand-plane-230", "kick-plane-210"):
        path = sample_path(name)
        assert path is not None
        prepared = prepare(path)
        assert not prepared.failed
        jobs.append(prepared.job)
    one, other = ({cutter.number: cutter for cutter in job.cutter} for job in jobs)
    assert one.keys() == other.keys() and jobs[0].machine == jobs[1].machine
    assert [number for number in one if one[number] != other[number]] == [3]
    assert (one[3].rpm, other[3].rpm) == (14000.0, 12000.0)


def test_a_default_or_a_key_of_the_shop_is_not_told(tmp_path: Path) -> None:
    """`check --show shop` says where each key came from, also those that no file gives, and in JSON
    too."""
    job, shop = _parts(starter_text("Core"))
    (tmp_path / "shop.toml").write_text(shop, encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text('shop = "shop.toml"\n' + job + "\n[tolerances]\nbed = 0.07\n")
    places = {one.key: one for one in key_places(path)}
    assert places["tolerances.bed"].place.startswith(str(path))
    assert places["machine.travel"].place.startswith(str(tmp_path / "shop.toml"))
    assert (places["tolerances.flat"].value, places["tolerances.flat"].place) == ("0.1", "default")
    assert places["cutter[1].helix"].place == "default" and "cutter[1].rpm" in places
    assert len(places) == len(key_places(path))
    done = CliRunner().invoke(app, ["check", str(path), "--show", "shop", "--json"])
    told = {one["key"]: one for one in json.loads(done.stdout)["keys"]}
    assert told["tolerances.flat"]["place"] == "default" and set(told) == set(places)
