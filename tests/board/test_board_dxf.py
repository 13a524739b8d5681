"""Outlines from DXF: every kind of entity, units, pieces in any order; every fault with its place
and handle."""

from __future__ import annotations

import math
import re
import resource
import time
from itertools import pairwise
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corepath.board.outline.dxf import read_outline
from corepath.errors import InputError
from corepath.lengths import INCH, marked

SAMPLES = Path(__file__).parents[2] / "samples"
LAYER = {"layer": "OUTLINE"}


@pytest.fixture
def draw(tmp_path):
    """`draw(lambda space: …, units=4)` writes a DXF and returns its path."""

    def write(add, units=4, version="R2000"):
        document = ezdxf.new(version, setup=False, units=units)
        document.header["$INSUNITS"] = units
        document.layers.add("OUTLINE")
        document.layers.add("Notes")
        add(document.modelspace())
        path = tmp_path / "drawing.dxf"
        document.saveas(path)
        return path

    return write


def read(path, layer="OUTLINE", units=None, join=0.05):
    return read_outline(path, layer, units, join)


def says(path, **options):
    with pytest.raises(InputError) as caught:
        read(path, **options)
    return "\n".join(map(str, caught.value.faults))


def stadium(space, straight=100.0, radius=20.0, flip=(False,) * 4, order=(0, 1, 2, 3)):
    """Two lines and two arcs, each in either direction and in any order."""
    h = straight / 2

    def line(y, turn):
        ends = ((-h, y), (h, y))
        space.add_line(*(ends[::-1] if turn else ends), LAYER)

    def arc(x, start, turn):
        if turn:  # the same half circle as a polyline with a clockwise bulge
            tips = [(x, radius), (x, -radius)] if x > 0 else [(x, -radius), (x, radius)]
            space.add_lwpolyline(
                [(*tips[0], -1.0), (*tips[1], 0.0)], format="xyb", dxfattribs=LAYER
            )
        else:
            space.add_arc((x, 0), radius, start, start + 180, dxfattribs=LAYER)

    makers = [
        lambda t: line(-radius, t),
        lambda t: arc(h, -90, t),
        lambda t: line(radius, t),
        lambda t: arc(-h, 90, t),
    ]
    for i in order:
        makers[i](flip[i])


def is_stadium(outline, straight=100.0, radius=20.0):
    """Every vertex within 1e-6 of the true line, and the area that of a stadium less the chords'
    segments."""
    x, y = shapely.get_coordinates(outline).T
    off = np.hypot(np.maximum(np.abs(x) - straight / 2, 0.0), y) - radius
    area = 2 * radius * straight + math.pi * radius**2
    return np.abs(off).max() < 1e-6 and 0 <= area - outline.area < 2 * math.pi * radius * 0.001


@settings(
    max_examples=30,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(order=st.permutations(range(4)), flip=st.tuples(*[st.booleans()] * 4))
def test_pieces_join_whatever_their_order_and_direction(draw, order, flip):
    """Drawings come jumbled; bulges run either way."""
    outline = read(draw(lambda s: stadium(s, flip=flip, order=order)))
    assert is_stadium(outline) and outline.is_valid and outline.exterior.is_ccw


@pytest.mark.parametrize(("code", "mm"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0)])
def test_header_units_are_honoured(draw, code, mm):
    """$INSUNITS codes of the DXF reference: 1 inch, 2 foot, 4 mm, 5 cm, 6 m (from memory)."""
    outline = read(draw(lambda s: stadium(s, 100.0 / mm, 20.0 / mm), units=code))
    assert is_stadium(outline)


def test_given_units_serve_a_unitless_file(draw):
    """Without units in the header the key says them; without the key it is a fault, never a
    guess."""
    path = draw(lambda s: stadium(s, 10.0, 2.0), units=0)
    assert is_stadium(read(path, units="cm"))
    assert "outline.dxf_units" in says(path) and "mm, cm, m, inch, foot" in says(path)


def test_units_that_contradict_the_header_are_a_fault(draw):
    """Of two statements one is wrong, and only the user knows which."""
    text = says(draw(stadium), units="inch")
    assert "outline.dxf_units" in text and "states mm" in text


def test_header_units_unknown_here_are_a_fault(draw):
    """$INSUNITS 3 is miles (from memory): no board is drawn in it."""
    assert "$INSUNITS 3" in says(draw(stadium, units=3))


def test_bulges_of_a_closed_polyline(draw):
    """A positive bulge lies right of the edge's direction in a counter-clockwise ring, that is
    outside."""
    path = draw(
        lambda s: s.add_lwpolyline(
            [(-50, -20, 0), (50, -20, 1), (50, 20, 0), (-50, 20, 1)],
            format="xyb",
            close=True,
            dxfattribs=LAYER,
        )
    )
    assert is_stadium(read(path))


def test_inward_bulges_take_area_away(draw):
    """The sign of a bulge read wrongly would turn hollows into humps."""
    shape = [(-50, -20, 0), (50, -20, -0.5), (50, 20, 0), (-50, 20, 0)]
    path = draw(lambda s: s.add_lwpolyline(shape, format="xyb", close=True, dxfattribs=LAYER))
    # bulge 0.5: sagitta 10, radius 25, sweep 4 atan 0.5; the segment's area is r^2 (sweep - sin
    # sweep) / 2
    sweep = 4 * math.atan(0.5)
    assert read(path).area == pytest.approx(4000 - 25**2 * (sweep - math.sin(sweep)) / 2, abs=0.1)


def test_old_polyline(draw):
    """POLYLINE with bulges, as old files have it."""
    shape = [(-50, -20, 0), (50, -20, 1), (50, 20, 0), (-50, 20, 1)]
    path = draw(
        lambda s: s.add_polyline2d(shape, format="xyb", close=True, dxfattribs=LAYER), version="R12"
    )
    assert is_stadium(read(path, units=None if "states" not in says_or(path) else "mm"))


def says_or(path):
    try:
        read(path)
    except InputError as error:
        return str(error)
    return ""


def test_mirrored_arcs_lie_where_they_are_drawn(draw):
    """An extrusion of -Z mirrors X of the entity's own plane (DXF reference, arbitrary axis
    algorithm; from memory)."""

    def add(space):
        down = {**LAYER, "extrusion": (0, 0, -1)}
        space.add_line((-50, -20), (50, -20), LAYER)
        space.add_line((-50, 20), (50, 20), LAYER)
        # drawn at X = +50, opening to the right
        space.add_arc((-50, 0), 20, 90, 270, dxfattribs=down)
        space.add_lwpolyline([(50, 20, -1), (50, -20, 0)], format="xyb", dxfattribs=down)

    assert is_stadium(read(draw(add)))


def test_circle_ellipse_and_spline(draw):
    """Closed by themselves; areas by closed form: pi r^2, pi a b."""
    circle = read(draw(lambda s: s.add_circle((5, 5), 30, LAYER)))
    assert circle.area == pytest.approx(math.pi * 900, abs=0.2)
    ellipse = read(draw(lambda s: s.add_ellipse((0, 0), (60, 0), 0.5, dxfattribs=LAYER)))
    assert ellipse.area == pytest.approx(math.pi * 1800, abs=0.25)
    half = read(
        draw(
            lambda s: (
                s.add_ellipse((0, 0), (60, 0), 0.5, 0, math.pi, dxfattribs=LAYER),
                s.add_line((60, 0), (-60, 0), LAYER),
            )
        )
    )
    assert half.area == pytest.approx(math.pi * 900, abs=0.15)


def test_spline_keeps_within_a_micrometre_of_its_curve(draw):
    """A cubic Bezier as SPLINE, against its own formula at 5,000 places."""
    control = np.array([[0, 0], [20, 60], [80, 50], [100, 0]], dtype=float)

    def add(space):
        space.add_open_spline([(*p, 0) for p in control], degree=3, dxfattribs=LAYER)
        space.add_line((100, 0), (0, 0), LAYER)

    u = np.linspace(0, 1, 5000)[:, None]
    bezier = (1 - u) ** 3 * control[0] + 3 * u * (1 - u) ** 2 * control[1]
    bezier += 3 * u**2 * (1 - u) * control[2] + u**3 * control[3]
    assert shapely.distance(shapely.points(bezier), read(draw(add)).exterior).max() < 0.001


def test_ends_within_the_tolerance_are_joined(draw):
    """0.03 mm is drawn carelessly, 0.2 mm is a gap."""

    def square(gap):
        def add(space):
            corners = [(0, 0), (80, 0), (80, 50), (0, 50)]
            for one, two in pairwise([*corners, (gap, 0.0)]):
                space.add_line(one, two, LAYER)

        return add

    assert read(draw(square(0.03))).area == pytest.approx(4000, abs=2)
    text = says(draw(square(0.2)))
    assert (
        "gap at (0.000, 0.000) mm" in text
        and "0.200 mm off at (0.200, 0.000)" in text
        and "LINE #" in text
    )
    assert read(draw(square(0.2)), join=0.3).is_valid


def _fine_circle(space, step, gap=0.0):
    """A circle of radius 30 in lines of `step` mm, `gap` short of each other."""
    n = round(60.0 * math.pi / step)
    at = [(30.0 * math.cos(a), 30.0 * math.sin(a)) for a in np.arange(n + 1) * 2.0 * math.pi / n]
    for (x, y), (u, v) in pairwise(at):
        share = gap / step
        space.add_line((x, y), (u - share * (u - x), v - share * (v - y)), LAYER)


def test_a_curve_in_lines_shorter_than_the_tolerance_keeps_its_shape(draw):
    """Each end lay within `join` of the next, so the whole curve became one joint."""
    for step in (0.2, 0.03):
        path = draw(lambda space, step=step: _fine_circle(space, step))
        assert read(path).area == pytest.approx(900.0 * math.pi, rel=1e-5)


def test_short_lines_that_do_not_meet_are_a_fault_and_no_corner(draw):
    path = draw(lambda space: _fine_circle(space, 0.1, gap=0.04))
    assert read(path).area == pytest.approx(900.0 * math.pi, rel=1e-3)  # gaps alone are joined
    text = says(draw(lambda space: _fine_circle(space, 0.04, gap=0.01)))
    assert "lie one after another, each within outline.join, 0.05 mm, of the next" in text, text


def test_a_branch_is_named_with_its_place(draw):
    """Three lines at a corner: which two are the outline?"""

    def add(space):
        stadium(space)
        space.add_line((50, 20), (70, 40), LAYER)

    text = says(draw(add))
    assert "branch at (50.000, 20.000) mm: 3 ends" in text and "gap at (70.000, 40.000) mm" in text


def test_coordinates_of_faults_are_in_the_jobs_units(draw):
    """The user's ruler is that of the job, whatever the drawing is in: mm, or 10 inches."""

    def add(space):
        space.add_line((0, 0), (10, 0), LAYER)

    drawing = draw(add, units=1)
    assert "gap at (254.000, 0.000) mm" in says(drawing)
    with pytest.raises(InputError) as caught:
        read(drawing)
    inches = " ".join(INCH.text(marked(fault.message)) for fault in caught.value.faults)
    assert "gap at (10.0000, 0.0000) in" in inches and "mm" not in inches
    assert {INCH.text(marked(fault.allowed)) for fault in caught.value.faults} == {
        "ends within outline.join 0.002 in"
    }


def test_a_crossing_is_named_with_its_place(draw):
    """y = x/2 meets y = 20 - x/2 at (20, 10)."""
    shape = [(0, 0), (40, 20), (40, 0), (0, 20)]
    text = says(draw(lambda s: s.add_lwpolyline(shape, close=True, dxfattribs=LAYER)))
    assert "(20.000, 10.000) mm" in text and "LWPOLYLINE #" in text


def test_two_loops_are_a_fault(draw):
    """A hole or a second board: only one outline is wanted."""
    text = says(draw(lambda s: (stadium(s), s.add_circle((0, 0), 5, LAYER))))
    assert "2 closed loops" in text and "X -5.00 to 5.00" in text


def test_a_line_drawn_twice_is_named(draw):
    """A common slip, invisible on the screen."""
    assert "drawn twice" in says(
        draw(lambda s: (stadium(s), s.add_line((50, -20), (-50, -20), LAYER)))
    )


def test_other_entities(draw):
    """Notes do no harm; blocks and hatches are named instead of being passed over."""
    assert is_stadium(
        read(
            draw(lambda s: (stadium(s), s.add_text("port", dxfattribs=LAYER), s.add_point((1, 1))))
        )
    )
    text = says(
        draw(
            lambda s: (
                stadium(s),
                s.add_blockref("X", (0, 0), dxfattribs=LAYER),
                s.add_hatch(dxfattribs=LAYER),
            )
        )
    )
    assert "1 HATCH, 1 INSERT" in text
    assert "only 1 TEXT" in says(draw(lambda s: s.add_text("port", dxfattribs=LAYER)))


def test_tilted_and_far_entities_are_refused(draw):
    """A tilted arc is no plane outline; kilometres are wrong units."""
    assert "tilted" in says(
        draw(lambda s: s.add_circle((0, 0), 5, dxfattribs={**LAYER, "extrusion": (1, 0, 1)}))
    )
    assert "too far for a board" in says(draw(lambda s: s.add_circle((0, 0), 5e6, LAYER)))


def test_missing_layer_lists_those_there_are(draw):
    """The user picks from what is there."""
    text = says(draw(stadium), layer="EDGE")
    assert "outline.layer" in text and "0, " in text and "Notes, OUTLINE" in text
    assert is_stadium(read(draw(stadium), layer="outline")) and is_stadium(
        read(draw(stadium), layer=None)
    )


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (b"\x7fELF\0\0\0\0", "binary"),
        (b"not a drawing at all", "not a DXF"),
        (b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n 10\nx\n", "drawing.dxf"),
        (b"0\nSECTION\n2\nENTITIES\n0\nENDSEC\n0\nEOF\n", "drawing.dxf"),
        (bytes(range(1, 256)) * 20, "not a DXF"),
    ],
)
def test_bad_bytes_are_faults(tmp_path, data, expected):
    """Whatever lies there, a sentence and no traceback."""
    path = tmp_path / "drawing.dxf"
    path.write_bytes(data)
    assert expected in says(path, layer=None)


@settings(
    max_examples=60,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(cut=st.floats(0.0, 1.0), spoil=st.binary(min_size=1, max_size=12), at=st.floats(0.0, 1.0))
def test_damaged_files_are_faults_or_sound(tmp_path, cut, spoil, at):
    """A file cut short or overwritten anywhere gives a polygon or a fault, nothing else."""
    data = (SAMPLES / "balance-740.dxf").read_bytes()
    place = int(at * len(data))
    data = (data[:place] + spoil + data[place + len(spoil) :])[: int(cut * 1.5 * len(data))]
    path = tmp_path / "drawing.dxf"
    path.write_bytes(data)
    try:
        outline = read(path)
    except InputError as error:
        assert error.faults
    else:
        assert outline.is_valid


def test_missing_file_and_folder(tmp_path):
    """Named with the place where it was looked for."""
    assert "no such file" in says(tmp_path / "none.dxf")
    assert "a folder" in says(tmp_path)


def test_jumbled_lines_become_one_outline(draw):
    """4,000 lines in any order: all are joined, none is lost or used twice."""
    count = 4_000
    angle = 2 * np.pi * np.arange(count) / count
    ring = np.column_stack([600 * np.cos(angle), 200 * np.sin(angle)])

    def add(space):
        for i in np.random.default_rng(1).permutation(count):
            space.add_line(ring[i], ring[(i + 1) % count], LAYER)

    outline = read(draw(add))
    assert len(outline.exterior.coords) == count + 1


def test_balance_sample_is_740_by_290():
    """The sample's drawing in inches: its size in mm within the chords' tolerance, and not
    symmetric in X."""
    outline = read(SAMPLES / "balance-740.dxf")
    assert np.allclose(outline.bounds, (-370, -145, 370, 145), atol=0.001)
    assert abs(outline.centroid.x) > 5 and abs(outline.centroid.y) < 0.001


def _lines(count: int, x: float = 0.0) -> bytes:
    """A DXF of separate lines, in the plainest form that the format knows."""
    tags = [
        "0",
        "SECTION",
        "2",
        "HEADER",
        "9",
        "$INSUNITS",
        "70",
        "4",
        "0",
        "ENDSEC",
        "0",
        "SECTION",
        "2",
        "ENTITIES",
    ]
    for k in range(count):
        tags += [
            "0",
            "LINE",
            "8",
            "OUTLINE",
            "10",
            f"{k * x:.7f}",
            "20",
            "0",
            "11",
            "100",
            "21",
            f"{k * x:.7f}",
        ]
    return "\n".join([*tags, "0", "ENDSEC", "0", "EOF", ""]).encode()


def test_two_hundred_thousand_lines_are_refused_within_a_second(tmp_path):
    """They took 23 s and 3 GB, in a file far below the limit of its size."""
    path = tmp_path / "many.dxf"
    path.write_bytes(_lines(200_000, 1e-3))
    read(SAMPLES / "balance-740.dxf")  # the library is loaded
    start = time.process_time()
    text = says(path)
    assert time.process_time() - start < 1.0
    # four or five more by their group code 0: sections, their ends and the end of the file
    assert re.search(r"too many entities \(got 20000[45]\); allowed: 50000 at most", text), text


def test_as_many_lines_as_are_read_take_seconds_and_little_memory(tmp_path):
    """Lines within the tolerance of each other: each of a thousand million pairs of ends would be
    looked at."""
    path = tmp_path / "dense.dxf"
    path.write_bytes(_lines(12_000, 1e-7))
    peak, start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    assert "most of its ends lie within outline.join, 0.05 mm, of many others" in says(path)
    assert time.process_time() - start < 6.0
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak < 200 * 1024


def test_a_curve_of_too_many_points_is_refused(draw):
    """A million corners kept the checks busy for minutes.

    The corners are put in as text: the library takes ten seconds to write them.
    """
    path = draw(lambda space: space.add_lwpolyline([(0, 0), (9, 0), (9, 9)], dxfattribs=LAYER))
    count = 100_001
    tags = ["AcDbPolyline", "90", str(count), "70", "1"]
    for k in range(count):
        x, y = 100.0 * math.cos(k / 15915.5), 50.0 * math.sin(k / 15915.5)
        tags += ["10", f"{x:.6f}", "20", f"{y:.6f}"]
    few = path.read_text()
    many, found = re.subn(r"AcDbPolyline\n.*?(?=\n  0\n)", "\n".join(tags), few, flags=re.DOTALL)
    assert found == 1
    path.write_text(many)
    text = says(path)
    assert "too many points" in text and "got 100001" in text and "100000 at most" in text


@pytest.mark.parametrize(
    ("bulge", "text"), [(math.nan, "nan"), (1e300, "1e+300"), (-math.inf, "-inf")]
)
def test_a_bulge_that_is_no_arc_is_refused(draw, bulge, text, recwarn):
    """NaN passed for a straight edge; 1e300 warned with the path of a package."""
    corners = [(0, 0, bulge), (50, 0, 0), (50, 30, 0), (0, 30, 0)]
    path = draw(
        lambda space: space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=LAYER)
    )
    assert f"has an edge with the bulge {text}, which is no arc" in says(path)
    assert not [one for one in recwarn if issubclass(one.category, RuntimeWarning)]


def test_a_bulge_flatter_than_any_cutter_sees_is_a_straight_edge(draw, recwarn):
    """Its radius would overflow."""
    corners = [(0, 0, 1e-300), (50, 0, 0), (50, 30, 0), (0, 30, 0)]
    path = draw(
        lambda space: space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=LAYER)
    )
    assert read(path).area == pytest.approx(1500.0, abs=1e-9)
    assert not [one for one in recwarn if issubclass(one.category, RuntimeWarning)]


def test_a_name_of_five_thousand_letters_is_a_fault_of_its_key(tmp_path):
    """It ended in the system's own words, without key, and filled the screen."""
    text = says(tmp_path / ("x" * 5000))
    assert (
        text.startswith("outline.dxf: xxx") and len(text.partition(":")[2].partition(":")[0]) < 70
    )
