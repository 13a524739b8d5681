"""Several blanks of one core: a stop or a figure of one must never be taken for that of another."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest
from typer.testing import CliRunner, Result

from corepath.cli.app import app
from corepath.editing.inputs import inputs_of
from corepath.errors import InputError
from corepath.job.load import load_job, read_job
from corepath.job.record.ascut import record_path
from corepath.job.text.resolved import resolved_dict
from corepath.job.text.starter import starter_text
from corepath.operations import programs
from corepath.planning.job_files.copies import copy_jobs, order_of
from corepath.planning.job_files.sharing import shared_files, write_shared
from corepath.planning.make import written_file
from corepath.planning.plan import Plan
from corepath.planning.prepare import prepare
from corepath.planning.report.times import MinutesApart
from tests.job.test_shop_file import _parts

BASE = starter_text("Core")


def _job(folder: Path, *, shop: bool = False) -> Path:
    path = folder / "core.toml"
    job, shared = _parts(BASE)
    (folder / "shop.toml").write_text(shared, encoding="utf-8")
    path.write_text('shop = "shop.toml"\n' + job if shop else BASE, encoding="utf-8")
    return path


def _run(*words: object) -> Result:
    return CliRunner().invoke(app, list(map(str, words)))


@pytest.mark.parametrize("shop", [False, True])
def test_a_copy_is_another_core(tmp_path: Path, shop: bool) -> None:
    """All but the title is that of the job, with a shop file too; a saved job plans it again."""
    path = _job(tmp_path, shop=shop)
    first, second = copy_jobs(path, "Core", 2)
    one, base = resolved_dict(load_job(second)), resolved_dict(load_job(path))
    assert (one.pop("title"), base.pop("title")) == ("Core, 2 of 2", "Core")
    assert one == base and first.name == "core-1.toml"
    needs = {one.name for one in inputs_of(second) or ()}
    assert {"core-2.toml", "core-2.ascut.toml", "core.toml"} | (
        {"shop.toml"} if shop else set()
    ) <= needs
    # what a copy gives itself wins, and a fault there is told there
    second.write_text(second.read_text() + "[blank]\nthickness = 10.8\nlenth = 3\n")
    job, faults = read_job(second)
    assert job is not None and job.blank.thickness == 10.8 and job.blank.width == 90.0
    assert [(Path(one.file).name, one.key, one.line) for one in faults] == [
        ("core-2.toml", "blank.lenth", 7)
    ]
    path.write_text(path.read_text().replace("floor = 1.2", "flor = 1.2"))
    _, faults = read_job(first)
    assert {Path(one.file).name for one in faults} == {"core.toml"}


def test_the_stop_of_one_blank_is_that_of_all(tmp_path: Path) -> None:
    """The story: the first core stops early and thick, a seat of it is bored; the second knows
    nothing of it, and its measured blank is not that of the job."""
    path = _job(tmp_path)
    csv = tmp_path / "blank.csv"
    csv.write_text("x,y,thickness\n-100,-30,10.7\n100,-30,10.7\n-100,30,10.7\n100,30,10.7\n")
    path.write_text(BASE.replace("[blank]\n", '[blank]\nmeasured = "blank.csv"\n'))
    first, second = copy_jobs(path, "Core", 2)
    cut = [word for name in ("dowels", "plug-pockets", "groove") for word in ("--cut", name)]
    assert _run("record", first, *cut, "--stop-at", "8.4", "--cut", "inserts", "-q").exit_code == 0
    one, other = prepare(first), prepare(second)
    assert one.done >= {"skim", "inserts"} and not other.done
    assert one.digest != other.digest
    assert not record_path(second).exists() and not record_path(path).exists()
    assert prepare(path).known.measured is not None and other.known.measured is None


def test_a_file_of_mine_is_overwritten_by_a_copy(tmp_path: Path) -> None:
    """Another job of that name stays, and none is written; a copy that is there already stays with
    what was added to it."""
    path = _job(tmp_path)
    mine = tmp_path / "core-2.toml"
    mine.write_text(BASE)
    with pytest.raises(InputError, match="is no copy of core"):
        copy_jobs(path, "Core", 3)
    assert mine.read_text() == BASE and not (tmp_path / "core-1.toml").exists()
    mine.write_text('copy_of = "core.toml"\ntitle = "Two"\n')
    copy_jobs(path, "Core", 3)
    assert load_job(mine).title == "Two"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('copy_of = "none.toml"\ntitle = "c"\n', "there is no such file"),
        ('copy_of = "../core.toml"\ntitle = "c"\n', "is no job beside this one"),
        ('copy_of = 3\ntitle = "c"\n', "is no job beside this one"),
        ('copy_of = "c.toml"\ntitle = "c"\n', "is a copy itself"),
    ],
)
def test_a_copy_of_nothing_is_planned(tmp_path: Path, text: str, message: str) -> None:
    """One fault at the key, not one for each table that is then missing."""
    _job(tmp_path)
    (tmp_path / "c.toml").write_text(text)
    _, faults = read_job(tmp_path / "c.toml")
    assert [one.key for one in faults] == ["copy_of"] and message in faults[0].message


def test_the_slower_order_is_chosen() -> None:
    """By hand, three blanks: five changes of 3 min and three set-ups of 2 min each, 3 x (15 + 6) =
    63; each cutter over all blanks 15 + 3 x 5 x 2 = 45. With one change a blank the other way."""
    many = order_of(3, MinutesApart(changes=5, change_minutes=15.0), 3)
    assert (many.by_copy, many.by_cutter) == (63.0, 45.0) and "every cutter" in many.message
    few = order_of(2, MinutesApart(changes=4, change_minutes=2.0), 1)
    assert (few.by_copy, few.by_cutter) == (8.0, 18.0) and "one copy after" in few.message


def _in_a(path: Path) -> Plan:
    """The plan of a job, as far as set-up A: the only part that blanks may share."""
    prepared = prepare(path)
    made = [
        written_file(prepared, work, program)
        for work in prepared.ahead
        if work.setup == "A"
        for program in programs(work)
    ]
    return cast("Plan", SimpleNamespace(prepared=prepared, made=made, failed=prepared.failed))


def test_a_file_of_a_is_shared_by_blanks_it_does_not_fit(tmp_path: Path) -> None:
    """Three blanks of one size share all files of A, whose motions are those of each; with one of
    another thickness none is shared, and what was shared goes; nothing else in the folder."""
    path = _job(tmp_path)
    copies = copy_jobs(path, "Core", 3)
    plans = [_in_a(copy) for copy in copies]
    shared = shared_files(plans, "Core")
    assert sorted(shared) == ["01-A-dowels.nc", "02-A-plug-pockets.nc", "03-A-groove.nc"]
    for plan in plans:
        for file in plan.made:
            text = shared[file.name]
            assert f"(Plan: {plan.prepared.digest} of Core, " in text
            assert text.partition("\nG17")[2] == file.text.partition("\nG17")[2] != ""
    assert "(Job: Core, 3 blanks)" in shared["03-A-groove.nc"]
    assert max(map(len, shared["03-A-groove.nc"].splitlines())) <= 80
    folder = tmp_path / "core-A"
    write_shared(shared, folder)
    mine = folder / "mine.nc"
    mine.write_text("(File: mine.nc)\nM2\n")
    copies[2].write_text(copies[2].read_text() + "[blank]\nthickness = 10.9\n")
    other = _in_a(copies[2])
    assert shared_files([*plans[:2], other], "Core") == {}
    write_shared({}, folder)
    assert [one.name for one in folder.iterdir()] == ["mine.nc"]
    assert shared_files(plans[:1], "Core") == {}


def test_copies_go_into_one_folder(tmp_path: Path) -> None:
    """Options of one plan alone are refused before anything is written."""
    path = _job(tmp_path)
    done = _run("plan", path, "--copies", 2, "-o", tmp_path / "all")
    assert done.exit_code == 2 and "each copy has one of its own" in done.stderr
    assert not (tmp_path / "core-1.toml").exists()
