"""An old board's outline laid beneath the new one: a distance told wrongly would shift feet and
fins against the board that the builder knows."""

from __future__ import annotations

import json
import math
from pathlib import Path

import ezdxf
import pytest
import shapely
from typer.testing import CliRunner

from corepath.board.outline.template_outline import compare
from corepath.cli.app import app
from corepath.errors import InputError
from corepath.job.text.starter import starter_text
from corepath.planning.prepare import prepare
from corepath.views.drawings.overview import overview
from corepath.views.drawings.scene import DrawnPlan


def test_distances_by_hand() -> None:
    """Boxes shifted along X, and circles one inside the other, in closed form."""
    board, other = shapely.box(-100, -50, 100, 50), shapely.box(-97, -50, 104, 50)
    beyond, within = compare(board, other)
    assert (beyond.distance, beyond.x) == pytest.approx((3.0, -100.0))
    assert within.distance == pytest.approx(4.0) and within.x >= 100.0
    small = shapely.Point(0, 0).buffer(100, quad_segs=512)
    beyond, within = compare(small, shapely.Point(2, 0).buffer(103, quad_segs=512))
    assert beyond.distance == 0.0
    assert (within.distance, within.x) == pytest.approx((5.0, 105.0), abs=0.01)
    assert abs(within.y) < 1.0


def test_a_bay_of_the_old_board_counts() -> None:
    """A bay 20 deep in the old outline, straight in the new: seen from the new outline alone, whose
    edge runs past its mouth, its floor would be 3 away; its floor is 20."""
    old = shapely.box(-100, -50, 100, 50) - shapely.box(-3, 30, 3, 50)
    beyond, _ = compare(shapely.box(-100, -50, 100, 50), old)
    assert beyond.distance == pytest.approx(20.0) and abs(beyond.x) <= 3.0 and beyond.y == 30.0


def _job(folder: Path, more: str = "") -> Path:
    """The starter, and a circle of 8 inches about (10, 0) as the template, drawn about (-1, 0)."""
    document = ezdxf.new(units=1)
    document.modelspace().add_circle((-1, 0), 4)
    document.saveas(folder / "old.dxf")
    text = starter_text("Core").replace(
        "[outline]\n", f'[outline]\ntemplate = "old.dxf"\ntemplate_at = [35.4, 0]\n{more}'
    )
    (folder / "core.toml").write_text(text, encoding="utf-8")
    return folder / "core.toml"


def test_check_says_how_far_and_drawings_show_it(tmp_path: Path) -> None:
    """The starter ends at X-100 and X88, the circle at X-91.6 and X111.6: told by check, by the
    report and drawn; the plan's code is that of the job without it."""
    job = _job(tmp_path)
    found = json.loads(CliRunner().invoke(app, ["check", str(job), "--json"]).stdout)["template"]
    assert found["beyond"] == {"distance": 8.4, "x": -100.0, "y": 0.0}
    assert found["within"]["distance"] == pytest.approx(math.hypot(10.0, 101.6) - 32.0, abs=3.0)
    prepared = prepare(job)
    assert prepared.board.template is not None
    told = "Against old.dxf the outline lies at most 8.40 mm beyond (X-100.0 Y0.0) and "
    assert prepared.board.template.line.startswith(told)
    works = prepared.works
    plan = DrawnPlan(prepared.job, prepared.board, prepared.stackup, works, prepared.digest)
    drawn = overview(plan)
    assert 'class="template faint"' in drawn and "Against old.dxf" in drawn
    (tmp_path / "bare.toml").write_text(starter_text("Core"), encoding="utf-8")
    assert prepare(tmp_path / "bare.toml").digest == prepared.digest


def test_what_is_wrong_with_it_is_told_by_its_own_keys(tmp_path: Path) -> None:
    """A fault of the template must not send anybody to the outline's own file."""
    job = _job(tmp_path, 'template_layer = "OLD"\ntemplate_units = "mm"\n')
    with pytest.raises(InputError) as raised:
        prepare(job)
    assert [fault.key for fault in raised.value.faults] == ["outline.template_layer"]
    (tmp_path / "old.dxf").unlink()
    with pytest.raises(InputError, match=r"outline.template: .*no such file"):
        prepare(job)
    job.write_text(job.read_text(encoding="utf-8").replace('template = "old.dxf"\n', ""))
    with pytest.raises(InputError) as raised:
        prepare(job)
    keys = ["template_layer", "template_units", "template_at"]
    assert {fault.key for fault in raised.value.faults} == {f"outline.{key}" for key in keys}
