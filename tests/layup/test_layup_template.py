"""Templates read back: a line a millimetre off on paper is a hole a millimetre off in the board."""

import io
import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from corepath.board.footprints import Footprint
from corepath.errors import InputError, OutputError
from corepath.layup.laid import bolts_of, laid_up
from corepath.layup.ribs import form_of
from corepath.layup.template_lines import board_template
from corepath.planning.folder import in_place
from corepath.planning.prepare import prepare, prepare_job
from corepath.planning.template_files import template_files, template_of, write_template
from corepath.views.templates.template_dxf import dxf_text
from corepath.views.templates.template_svg import OVERLAP, PAPERS, pages, svg_text

SAMPLES = Path(__file__).parents[2] / "samples"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def prepared(rocker_job, tmp_path_factory):
    return prepare_job(rocker_job(), tmp_path_factory.mktemp("none"))


@pytest.fixture(scope="module")
def large():
    return prepare(SAMPLES / "board-1280.toml")


def read(text: str):
    return ezdxf.read(io.StringIO(text))


def rings(document, layer: str) -> list[shapely.LinearRing]:
    found = document.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    return [shapely.LinearRing(list(line.get_points("xy"))) for line in found]


@pytest.mark.parametrize(
    "kind", [{}, {"flat": True}, {"form": True}, {"on": "deck"}, {"on": "bottom"}]
)
def test_dxf_is_sound_and_in_mm(prepared, kind):
    """Outside check: the audit of a library that did not write the geometry, and the unit code of
    the format."""
    document = read(dxf_text(template_of(prepared, **kind)))
    auditor = document.audit()
    assert not auditor.errors and not auditor.fixes
    assert document.header["$INSUNITS"] == 4


@pytest.mark.parametrize(
    "kind", [{}, {"flat": True}, {"form": True}, {"on": "deck"}, {"on": "bottom"}]
)
def test_a_template_of_an_inch_job_speaks_inches(rocker_job, tmp_path, kind):
    """Its bar is 4 in, 101.6 on paper; every word on it, in pages and in the DXF is in inches."""
    inch = template_of(
        prepare_job(rocker_job().model_copy(update={"units": "inch"}), tmp_path), **kind
    )
    whole, *paged = [svg_text(inch), *pages(inch, "letter")]
    words = [found for text in (whole, *paged) for found in re.findall(r">([^<]+)</text>", text)]
    words += [text.dxf.text for text in read(dxf_text(inch)).modelspace().query("TEXT")]
    assert not [one for one in words if re.search(r"\bmm\b", one)]
    assert "each bar 4 in, +/- 0.008;" in words and any(
        one.startswith("4 in +/- 0.008") for one in words
    )
    bars = [
        c.points
        for c in inch.shapes
        if c.layer == "check bar" and getattr(c, "points", None) is not None
    ]
    assert (
        sum(np.linalg.norm(np.diff(line, axis=0)) == pytest.approx(4 * 25.4) for line in bars) == 2
    )
    ruled = re.search(r'class="check-bar"[^>]*x1="10"[^>]*x2="([\d.]+)"', paged[0])
    assert ruled is None or float(ruled[1]) == pytest.approx(111.6)


def test_areas_come_back_within_a_hundredth(prepared):
    board = prepared.board
    document = read(dxf_text(template_of(prepared)))
    wanted = {
        "outline": board.outline.exterior,
        "groove outer wall": board.ring.exterior,
        "groove inner wall": board.ring.interiors[0],
        "plugs": board.castings[1].area.exterior,
    }
    for layer, ring in wanted.items():
        (found,) = rings(document, layer)
        assert shapely.hausdorff_distance(found.segmentize(0.5), ring.segmentize(0.5)) < 0.01, layer
    (hole,) = document.modelspace().query('CIRCLE[layer=="bolt holes"]')
    assert tuple(hole.dxf.center)[:2] == pytest.approx((-66.0, 7.0), abs=1e-6)
    assert hole.dxf.radius == pytest.approx(2.75)
    crosses = [
        line.get_points() for line in document.modelspace() if line.dxf.layer == "bolt centres"
    ]
    (reach,) = {
        round(x + 66.0, 3) for cross in crosses for x, y, *_ in cross if 0.01 < x + 66.0 < 30.0
    }
    assert reach == pytest.approx(max(5.5, bolts_of(prepared.job, board)[0].wide) / 2.0 + 3.0), (
        "3 mm beyond what it marks"
    )


def test_check_bars_are_100_long(prepared):
    for kind in ({}, {"flat": True}, {"form": True}):
        document = read(dxf_text(template_of(prepared, **kind)))
        bars = document.modelspace().query('LWPOLYLINE[layer=="check bar"]')
        lengths = sorted(
            float(np.ptp(np.array(list(bar.get_points("xy"))), axis=0).max()) for bar in bars
        )
        assert lengths[-2:] == [100.0, 100.0]


def test_marks_that_survive_lay_up_stand_at_the_blanks_ends(prepared):
    """The board is hidden under the laminate; the blank's ends and edges are not."""
    document = read(dxf_text(template_of(prepared)))
    (edge,) = rings(document, "blank edge")
    assert edge.bounds == pytest.approx((-120.0, -45.0, 120.0, 45.0))
    marks = [
        np.array(list(m.get_points("xy")))
        for m in document.modelspace().query('LWPOLYLINE[layer=="end marks"]')
    ]
    assert all(min(abs(abs(m[0, 0]) - 120.0), abs(abs(m[0, 1]) - 45.0)) < 1e-9 for m in marks)
    assert {tuple(np.round(m[0], 6) + 0.0) for m in marks} >= {
        (-120.0, 0.0),
        (120.0, 0.0),
        (0.0, -45.0),
        (0.0, 45.0),
    }


def test_on_the_deck_places_move_by_the_face(prepared):
    laid = laid_up(prepared.job, prepared.board)
    document = read(dxf_text(template_of(prepared, on="deck")))
    (hole,) = document.modelspace().query('CIRCLE[layer=="bolt holes"]')
    moved = float(laid.face_shift(-66.0, 7.0))
    assert abs(moved) > 0.05
    assert hole.dxf.center.x == pytest.approx(-66.0 + moved, abs=1e-6)


def test_on_the_underside_places_move_by_it_and_are_seen_from_below(prepared):
    """A sheet laid on the bottom with the deck's Y would put each hole on the other side of the
    middle line."""
    laid = laid_up(prepared.job, prepared.board)
    template = template_of(prepared, on="bottom")
    (hole,) = read(dxf_text(template)).modelspace().query('CIRCLE[layer=="bolt holes"]')
    turn = float(laid.tilt(-66.0) - laid.tilt(0.0))
    assert tuple(hole.dxf.center)[:2] == pytest.approx((-66.0 + (0.6 + 4.0) * turn, -7.0), abs=1e-6)
    assert "seen from below" in template.message[0]
    assert "--on bottom" in " ".join(template_of(prepared).message)


def test_flat_shows_skins_and_seats(prepared):
    layers = template_of(prepared, flat=True).layers
    assert "skin edge" in layers and "insert seats" in layers
    assert "insert seats" not in template_of(prepared).layers


def test_a_seat_that_is_no_circle_stands_on_the_template_as_its_area(prepared):
    """A circle where a square flange goes would be cut by hand as a circle."""
    (place,) = prepared.board.places
    square = box(place.x - 7.0, place.y - 6.0, place.x + 7.0, place.y + 6.0)
    place = replace(place, seat=Footprint(place.x, place.y, square))
    board = replace(prepared.board, places=(place,))
    shapes = board_template(prepared.job, board, "a", reach=3.0).shapes
    (seat,) = [shape for shape in shapes if shape.layer == "insert seats"]
    assert Polygon(seat.points).bounds == pytest.approx(square.bounds, abs=1e-6)


def test_same_job_same_bytes(prepared):
    one, two = (dxf_text(template_of(prepared)) for _ in range(2))
    assert one == two
    assert svg_text(template_of(prepared)) == svg_text(template_of(prepared))


def test_svg_is_true_to_size(prepared):
    """Width and height in mm, a unit a mm, and the outline within a hundredth of the board's."""
    root = ET.fromstring(svg_text(template_of(prepared)))
    x0, y0, width, height = map(float, root.attrib["viewBox"].split())
    assert (x0, y0) == (0.0, 0.0)
    assert root.attrib["width"] == f"{width:g}mm" and root.attrib["height"] == f"{height:g}mm"
    (outline,) = [path for path in root.iter(f"{SVG}path") if path.attrib["class"] == "outline"]
    points = np.cumsum(numbers(outline.attrib["d"]), axis=0)
    left, low, right, high = prepared.board.outline.bounds
    assert np.ptp(points, axis=0) == pytest.approx([right - left, high - low], abs=0.01)
    bars = [
        numbers(path.attrib["d"])
        for path in root.iter(f"{SVG}path")
        if path.attrib["class"] == "check-bar"
    ]
    assert max(abs(bar[1]).max() for bar in bars) == 100.0


def numbers(data: str) -> np.ndarray:
    words = data.replace("M", " ").replace("l", " ").replace("z", " ").split()
    return np.array(words, dtype=float).reshape(-1, 2)


@pytest.mark.whole
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_cover_the_template_and_overlap(large, paper):
    """Pages that do not meet leave a strip that nobody sees until it is stuck on the board."""
    template = template_of(large)
    made = pages(template, paper)
    assert len(made) > 1
    origins = []
    for page in made:
        root = ET.fromstring(page)
        size = tuple(float(root.attrib[name].removesuffix("mm")) for name in ("width", "height"))
        assert sorted(size) == sorted(PAPERS[paper])
        joins = [line for line in root.iter(f"{SVG}line") if line.attrib["class"] == "join"]
        assert len(joins) == 8
        (window,) = [
            rect for rect in root.iter(f"{SVG}rect") if rect.attrib.get("class") == "window"
        ]
        box = [float(window.attrib[name]) for name in ("x", "y", "width", "height")]
        assert box[0] + box[2] <= size[0] - 5.0 and box[1] + box[3] <= size[1] - 5.0
        blank = [path for path in root.iter(f"{SVG}path") if path.attrib["class"] == "blank-edge"]
        start = numbers(blank[0].attrib["d"])[0]
        origins.append((box[0] - start[0], start[1] - box[1], box[2], box[3]))
    windows = [shapely.box(x, y - h, x + w, y) for x, y, w, h in origins]
    corner = np.array([-700.0, -240.0])
    covered = shapely.union_all([shapely.transform(w, lambda p: p + corner) for w in windows])
    assert covered.covers(shapely.box(*template.bounds))
    apart = sorted({round(x, 3) for x, *_ in origins})
    assert all(abs(b - a - (origins[0][2] - OVERLAP)) < 1e-6 for a, b in itertools.pairwise(apart))


def test_rib_top_is_as_long_as_the_core_between_its_marks(rocker_job, tmp_path):
    """The form and the map are one curve: length along the top, at the height where the core keeps
    its own."""
    job = rocker_job(form_skin=3.0)
    prepared = prepare_job(job, tmp_path)
    form = form_of(job, prepared.board)
    laid = laid_up(job, prepared.board)
    top = np.gradient(form.top, axis=0)
    square = np.column_stack([-top[:, 1], top[:, 0]]) / np.hypot(*top.T)[:, None]
    kept = shapely.LineString(form.top + (laid.kept + 3.0) * square)
    long = [kept.project(shapely.Point(*mark)) for mark in form.marks]
    assert np.diff(long) == pytest.approx([100.0] * (len(form.marks) - 1), abs=0.02)


def test_form_counts_and_heights(rocker_job, tmp_path):
    job = rocker_job(rib_spacing=30.0, rib_thickness=9.0, rib_height=50.0, form_skin=4.0)
    form = form_of(job, prepare_job(job, tmp_path).board)
    assert form.ribs == 4 and form.across[0] == -form.across[-1] == -40.5
    assert form.top[:, 1].min() == pytest.approx(46.0, abs=1e-3)
    assert form.spacer == pytest.approx((18.0, 46.0))
    assert form.spacers == 3 * len(form.along)
    # rises of 3.4 and 4.2 at the stations +/-120, which the blank's ends overrun by a few
    # hundredths
    said = " ".join(template_of(prepare_job(job, tmp_path), form=True).message)
    left, low, right = (
        float(figure)
        for figure in re.findall(
            r"(\d+\.\d\d) (?:high )?at "
            r"its",
            said,
        )
    )
    assert (left, low, right) == pytest.approx((49.4, 46.0, 50.2), abs=0.06)
    assert "X+ to the right" in said


def test_no_rocker_no_form(rocker_job, tmp_path):
    with pytest.raises(InputError, match=r"layup\.rocker"):
        template_of(prepare_job(rocker_job(rocker=None), tmp_path), form=True)


def test_another_ending_is_refused(prepared, tmp_path):
    with pytest.raises(InputError, match=r"\.dxf or \.svg"):
        template_files(template_of(prepared), tmp_path / "board.pdf")


def test_files_are_whole_or_not_there(prepared, tmp_path):
    written = write_template(template_of(prepared), tmp_path / "b.svg", "a4")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in written)
    assert written[0] == tmp_path / "b.svg"


@pytest.mark.parametrize("at", [0, 1, 2, 3])
def test_a_failure_half_way_leaves_no_pages_of_two_drawings(
    prepared, tmp_path, monkeypatch, at: int
):
    """Pages were replaced one by one: those of two boards laid edge to edge make a board of
    neither."""
    write_template(template_of(prepared), tmp_path / "b.svg", "a4")
    for path in tmp_path.iterdir():
        path.write_text("earlier")
    step, count = in_place._step, 0

    def failing(there, place, undo):
        nonlocal count
        count += 1
        if count == at + 1:
            raise OSError(5, "Input/output error")
        step(there, place, undo)

    monkeypatch.setattr(in_place, "_step", failing)
    with pytest.raises(OutputError, match="what was there before is as it was"):
        write_template(template_of(prepared), tmp_path / "b.svg", "a4")
    assert {path.read_text() for path in tmp_path.iterdir()} == {"earlier"}
