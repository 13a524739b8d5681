"""`import corepath` as a program uses it: the page of examples, quick to import, silent, all names
there."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import corepath
from corepath.planning.prepare import prepare
from corepath.planning.report.checks_report import checks_report

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "api.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```python\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
COUPON = ROOT / "samples" / "coupon.toml"


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """All blocks of the page, in their order, in a folder with the coupon; what they named, printed
    and changed."""
    folder = tmp_path_factory.mktemp("api")
    shutil.copy(COUPON, folder)
    said: list[str] = []

    def told(*parts: object, sep: str = " ") -> None:
        said.append(sep.join(str(part) for part in parts))

    names: dict[str, object] = {"print": told}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        before = dict(os.environ)
        for block in BLOCKS:
            exec(compile(block, "docs/api.md", "exec"), names)
        changed = {key for key in {*before, *os.environ} if before.get(key) != os.environ.get(key)}
        here = Path.cwd()
    return folder, names, said, changed - {"PYTEST_CURRENT_TEST"}, here


def test_each_block_of_the_page_runs_and_says_what_it_should(ran) -> None:  # type: ignore[no-untyped-def]
    """An example that has gone stale costs the reader an hour."""
    _, names, said, _, _ = ran
    assert len(BLOCKS) == 5 and all(len(block.strip().split("\n")) <= 7 for block in BLOCKS)
    text = "\n".join(said)
    assert said[0].startswith("Coupon") and said[0].endswith("mm")
    assert "no-such-job.toml None  there is no such file" in text
    assert re.search(r"^window ok \d+\.\d\d mm, at least 0 ", text, re.MULTILINE)
    assert re.search(r"^03-A-groove\.nc \d+\.\d min \d+ lines \(", text, re.MULTILINE)
    assert "False []" in said and said[-1].startswith("(")
    assert names["plan"].readback.ok and names["written"].withdrawn == ()


def test_a_folder_read_back_is_that_of_the_plan(ran) -> None:  # type: ignore[no-untyped-def]
    """The two ways to a `ReadBack` would otherwise tell a program two things."""
    folder, names, _, _, _ = ran
    plan, reading = names["plan"], names["reading"]
    assert {one.name for one in plan.made} == {
        path.name for path in (folder / "coupon-plan").glob("*.nc")
    }
    assert [measure.value for measure in reading.measures] == [
        measure.value for measure in plan.readback.measures
    ]


def test_nothing_is_left_behind(ran) -> None:  # type: ignore[no-untyped-def]
    """A library that changes folder, environment or the caller's job would break the program around
    it."""
    folder, names, _, changed, here = ran
    assert changed == set() and here == folder
    assert {path.name for path in folder.iterdir()} == {"coupon.toml", "coupon-plan"}
    assert corepath.load(folder / "coupon.toml").digest == names["job"].digest


def test_nothing_is_printed(ran, capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """A program's own output must stay its own; the page's `print` was its own too."""
    _, names, _, _, _ = ran
    corepath.check(str(COUPON)).fixes()
    names["plan"].write(tmp_path / "again")
    assert capfd.readouterr() == ("", "")


def test_check_says_what_the_command_says() -> None:
    """One front on one implementation: the report of both is the same, whether given a path or a
    job."""
    checked = corepath.check(COUPON)
    assert (
        checked.report == checks_report(prepare(COUPON)) == corepath.check(checked.prepared).report
    )
    assert [one.id for one in checked.of("fill")] == ["fill", "fill"] and checked.of("none") == ()
    assert (
        not checked.failed and checked.passes and checked.stops.lines() and checked.pour is not None
    )


def test_faults_come_all_at_once(tmp_path: Path) -> None:
    """Also through the front: each with its line."""
    path = tmp_path / "wrong.toml"
    path.write_text(
        COUPON.read_text()
        .replace("floor = ", "flor = ", 1)
        .replace("edge_thickness", "edge_thick", 1)
    )
    for call in (corepath.load, corepath.check, corepath.plan):
        with pytest.raises(corepath.InputError) as told:
            call(path)
        assert isinstance(told.value, corepath.CorepathError) and isinstance(told.value, ValueError)
        assert {"groove.flor", "board.edge_thick"} <= {fault.key for fault in told.value.faults}
        assert all(fault.line for fault in told.value.faults)


def test_importing_loads_nothing_heavy() -> None:
    """A program that only may plan must not pay for numba and scipy when it starts."""
    code = (
        "import sys, corepath; print(sorted({name.split('.')[0] for name in sys.modules} & "
        "set(sys.argv[1:])))"
    )
    heavy = [
        "numpy",
        "scipy",
        "numba",
        "shapely",
        "pydantic",
        "ezdxf",
        "trimesh",
        "typer",
        "jinja2",
    ]
    told = subprocess.run(
        [sys.executable, "-c", code, *heavy], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert told.stdout.strip() == "[]"


def test_every_public_name_is_there_and_says_what_it_is() -> None:
    """A name in `__all__` that cannot be had breaks `from corepath import *` and every tool that
    lists it."""
    assert list(corepath.__all__) == sorted(corepath.__all__) and set(corepath.__all__) <= set(
        dir(corepath)
    )
    for name in corepath.__all__:
        held = getattr(corepath, name)
        assert name == "__version__" or held.__doc__ or name == "Progress", name
    with pytest.raises(AttributeError, match="no attribute 'lode'"):
        _ = corepath.lode  # type: ignore[attr-defined]
    assert (Path(corepath.__file__).parent / "py.typed").is_file()


def test_every_public_name_is_on_the_page() -> None:
    """What is not told there is not found."""
    names = set(corepath.__all__) - {"__version__"}
    assert {name for name in names if not re.search(rf"\b{name}\b", PAGE)} <= {"Fault", "Progress"}
