"""A measured wedge: what drawings and sheet say of its heights is what the stack-up plans with.

The blank is a plane, T = 10.55 + 0.001 x + 0.003 y, measured without error at twenty places, so
every thickness follows from the formula. The coupon's groove has its floor 1.2 above the bed: its
depth at a place is T - 1.2. Three figures of one depth differed by up to 0.16 mm on such a blank
while each drawing had its own arithmetic.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from corepath.job.record.settled import Settled
from corepath.planning.known import Known
from corepath.planning.prepare import Prepared, prepare, prepare_job
from corepath.planning.report.checks_report import checks_report
from corepath.views import DrawnPlan, drawings
from corepath.views.sheet_html import Facts, sheet_html

SAMPLES = Path(__file__).parents[2] / "samples"
FLOOR = 1.2


def _thickness(x: float, y: float) -> float:
    return 10.55 + 0.001 * x + 0.003 * y


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The coupon on the wedge, measured to a ten-thousandth."""
    folder = tmp_path_factory.mktemp("wedge")
    places = [(x, y) for x in (-115.0, -60.0, 0.0, 60.0, 115.0) for y in (-42.0, -14.0, 14.0, 42.0)]
    rows = "".join(f"{x:g},{y:g},{_thickness(x, y):.4f}\n" for x, y in places)
    (folder / "blank.csv").write_text("# schema = 1\nx,y,thickness\n" + rows)
    text = (SAMPLES / "coupon.toml").read_text()
    (folder / "coupon.toml").write_text(
        text.replace("thickness = 10.6", 'thickness = 10.6\nmeasured = "blank.csv"', 1)
    )
    return folder


@pytest.fixture(scope="module")
def wedge(folder: Path) -> Prepared:
    return prepare(folder / "coupon.toml")


@pytest.fixture(scope="module")
def sheets(wedge: Prepared) -> dict[str, str]:
    """The drawings without their paths."""
    return drawings(DrawnPlan(wedge.job, wedge.board, wedge.stackup, wedge.works, "a"))


def _said(svg: str) -> str:
    texts = re.findall(r"<text[^>]*>.*?</text>", svg, flags=re.S)
    return _words(" | ".join(texts))


def _words(markup: str) -> str:
    """The words of SVG or HTML: one space between them, a plain minus."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", markup)).replace("−", "-")


def _depths(prepared: Prepared) -> tuple[float, float]:
    """Depth of the groove at the two places that the stack-up looks at, by the formula."""
    groove = prepared.stackup.castings[0]
    return _thickness(*groove.shallowest_at) - FLOOR, _thickness(*groove.deepest_at) - FLOOR


def test_the_wedge_is_told_from_a_level_blank(wedge: Prepared):
    """Else all that follows would pass with the thickness of the job, 10.6."""
    least, most = _depths(wedge)
    assert least < 10.6 - FLOOR - 0.1 and most > 10.6 - FLOOR + 0.05


def test_overview_draws_another_depth_than_is_cut(wedge: Prepared, sheets: dict[str, str]):
    least, most = _depths(wedge)
    stop = wedge.stackup.skim.planned_plane
    words = _said(sheets["overview.svg"])
    assert f"groove {least:.2f} to {most:.2f} deep" in words
    assert f"{stop - least:.2f} floor, 1.20 in A" in words
    assert f"blank {least + FLOOR:.2f} thick" in words
    assert f"{stop - least - FLOOR:.2f} raw bottom" in words


def test_section_of_the_groove_names_another_depth(wedge: Prepared, sheets: dict[str, str]):
    least, most = _depths(wedge)
    words = _said(sheets["03-A-groove.svg"])
    assert f"1.20 floor, {least:.2f} to {most:.2f} deep" in words
    assert f"{least + FLOOR:.2f} raw top" in words
    # on two lines
    assert f"1.20 above the bed, {least:.2f} to {most:.2f} below the face" in words.replace(
        "| ", ""
    )


def test_sheet_names_another_floor_or_resin(wedge: Prepared, facts_of: Callable[..., Facts]):
    """Its section stands above the finished bottom: floor = stop - D, raw bottom = stop - T."""
    least, most = _depths(wedge)
    stop = wedge.stackup.skim.planned_plane
    words = _words(sheet_html(facts_of(wedge)))
    assert f"{stop - least:.2f} floor of the groove" in words
    assert f"{stop - least - FLOOR:.2f} raw bottom" in words
    assert f"{least:.2f} to {most:.2f} deep, 1.20 above the bed" in words
    low = wedge.stackup.castings[0].pour.p_expected.nominal
    assert f"{stop - low:.2f} resin in the groove" in words


def test_the_report_has_other_heights(wedge: Prepared):
    """By set-up: the floor 1.2 above the bed in A, D above it in B, stop - D in C; each between its
    extremes."""
    least, most = _depths(wedge)
    stop = wedge.stackup.skim.planned_plane
    heights = checks_report(wedge)["heights"]
    wanted = {"A": (least + FLOOR, FLOOR), "B": (0.0, least), "C": (stop, stop - least)}
    for setup, (top, floor) in wanted.items():
        column = heights[setup]["groove"]
        assert column["raw_top"][0] == pytest.approx(top, abs=2e-4)
        assert column["floor"][0] == pytest.approx(floor, abs=2e-4)
        assert column["depth"][0] == pytest.approx(least, abs=2e-4)
        assert column["deepest"][0] == pytest.approx(most, abs=2e-4)
        for figure in ("raw_top", "floor", "depth"):
            nominal, low, high = column[figure]
            assert low <= nominal <= high
    # touch, machine and bed of the floor in A: 0.05 + 0.03 + 0.05
    assert heights["A"]["groove"]["floor"][1:] == [
        pytest.approx(FLOOR - 0.13),
        pytest.approx(FLOOR + 0.13),
    ]


def test_a_measured_depth_is_not_what_the_drawings_show(wedge: Prepared, folder: Path):
    """A depth gauge in the groove, 0.10 less than planned at every place: drawing and stack-up
    follow it alike."""
    ring = wedge.stackup.castings[0]
    places = [tuple(point) for point in ring.places[:: max(1, len(ring.places) // 12)]]
    gauged = tuple((x, y, _thickness(x, y) - FLOOR - 0.10) for x, y in places)
    prepared = prepare_job(wedge.job, folder, Known(settled=Settled(groove_depth=gauged)))
    table = prepared.stackup.table
    at = prepared.stackup.castings[0].shallowest_at
    assert table.column("C").depth.nominal == pytest.approx(
        _thickness(*at) - FLOOR - 0.10, abs=0.005
    )
    assert table.column("B").floor.nominal == pytest.approx(
        _thickness(*at) - FLOOR - 0.10, abs=0.005
    )


def test_maps_draw_other_heights_than_are_cut(wedge: Prepared, folder: Path):
    """Depth T - 1.2 and wood 1.2 at every place; gauged 9.0 deep, the plug has T - 9 of wood under
    it."""
    x, y = np.array([-60.0, -20.0, 55.0]), np.array([2.0, 30.0, -31.0])
    thick = 10.55 + 0.001 * x + 0.003 * y
    for name, course in wedge.stackup.table.courses.items():
        assert not course.gauged, name
        assert course.depth(x, y) == pytest.approx(thick - FLOOR, abs=2e-3)
        assert course.shows(x, y) == pytest.approx(thick - FLOOR, abs=2e-3)
        assert course.wood(x, y) == pytest.approx(FLOOR)
    gauged = prepare_job(
        wedge.job, folder, Known(wedge.known.measured, Settled(pocket_depth={"P1": 9.0}))
    )
    plug, groove = (gauged.stackup.table.courses[name] for name in ("P1", "groove"))
    assert plug.gauged and not groove.gauged
    assert plug.depth(x, y) == pytest.approx(9.0) and plug.wood(x, y) == pytest.approx(
        thick - 9.0, abs=2e-3
    )
    assert groove.wood(x, y) == pytest.approx(FLOOR)
