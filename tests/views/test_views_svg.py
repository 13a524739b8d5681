"""The document builder: numbers, paths, text boxes, wrapping."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point
from shapely.geometry import box

from corepath.lengths import INCH, MM, mm
from corepath.views.deck.deck_sections import below_peak
from corepath.views.drawing_sheet import SIDE
from corepath.views.drawings.cuts import Bands
from corepath.views.drawings.legend import DepthDatum, depth_legend
from corepath.views.svg import (
    WIDER,
    Box,
    Document,
    number,
    polygon_path,
    polyline_path,
    text_box,
    text_width,
    upward_box,
    wrapped,
)


def steps(data: str) -> list[tuple[float, float]]:
    """Points of `M x y l dx dy …` path data."""
    head, _, rest = data.rstrip("z")[1:].partition("l")
    values = [float(v) for v in rest.split()]
    points = [tuple(float(v) for v in head.split())]
    for dx, dy in zip(values[::2], values[1::2], strict=True):
        points.append((points[-1][0] + dx, points[-1][1] + dy))
    return points


@pytest.mark.parametrize(
    ("value", "text"), [(-0.0, "0"), (-0.001, "0"), (1.0, "1"), (100.0, "100"), (2.346, "2.35")]
)
def test_numbers_have_no_minus_zero_and_no_trailing_zeros(value: float, text: str) -> None:
    assert number(value) == text


@settings(derandomize=True, max_examples=60)
@given(st.lists(st.tuples(st.floats(-900, 900), st.floats(-300, 300)), min_size=2, max_size=60))
def test_relative_steps_do_not_add_up_rounding(points: list[tuple[float, float]]) -> None:
    data = polyline_path(np.array(points), 1)
    if not data:
        assert np.ptp(np.rint(np.array(points) * 10), axis=0).max() == 0
        return
    drawn = steps(data)
    assert max(min(np.hypot(x - a, y - b) for x, y in drawn) for a, b in points) <= 0.0708
    assert np.hypot(drawn[-1][0] - points[-1][0], drawn[-1][1] - points[-1][1]) <= 0.0708


def test_a_path_of_one_place_is_left_out() -> None:
    assert polyline_path([(1.0, 1.0), (1.0, 1.0)]) == ""


def test_a_polygon_keeps_its_holes() -> None:
    ring = box(0, 0, 10, 10).difference(box(4, 4, 6, 6))
    assert polygon_path(ring).count("M") == 2
    assert (
        polygon_path(MultiPolygon([Point(0, 0).buffer(1), Point(9, 0).buffer(1)])).count("z") == 2
    )


def test_text_is_escaped_and_the_print_size_is_in_mm() -> None:
    svg = Document(420, 297, "a <b> & c", "", "")
    svg.text(10, 10, '<&>"')
    root = ET.fromstring(svg.render())
    assert root.get("width") == "420mm" and root.get("viewBox") == "0 0 420 297"
    assert root.find("{http://www.w3.org/2000/svg}title").text == "a <b> & c"
    assert root.find("{http://www.w3.org/2000/svg}text").text == '<&>"'


def test_a_marked_figure_is_as_wide_as_it_reads_and_never_cut() -> None:
    """Half a mark is no figure: the whole plan ended with an error where a label was narrow."""
    lines = wrapped(
        f"{mm(0.7177441463296734):.2f} above the bed, {mm(8.1823):.2f~} below", 3.2, 24.0
    )
    assert " ".join(MM.text(line) for line in lines) == "0.72 above the bed, 8.18 mm below"
    assert all(text_width(MM.text(line), 3.2) <= 24.0 for line in lines)


def test_wrapped_lines_fit_and_lose_no_word() -> None:
    text = "the raw bottom at X20 Y-6 from the middle, before the first pass " + "x" * 90
    lines = wrapped(text, 3.2, 50.0)
    assert all(text_width(line, 3.2) <= 50.0 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_text_boxes_follow_the_anchor_and_the_turn() -> None:
    width = text_width("1400", 3.6)
    middle = text_box(100, 50, "1400", size=3.6, anchor="middle")
    assert (middle.x0, middle.x1) == pytest.approx((100 - width / 2, 100 + width / 2))
    turned = upward_box(100, 50, "1400", size=3.6, anchor="middle")
    assert turned.height == pytest.approx(width) and turned.x1 - 100 < 100 - turned.x0


def test_boxes_that_touch_do_not_meet() -> None:
    assert not Box(0, 0, 1, 1).meets(Box(1, 0, 2, 1))
    assert Box(0, 0, 1, 1).meets(Box(0.9, 0.9, 2, 2))


def test_room_is_left_for_the_longer_of_mm_and_inches() -> None:
    """12.00 is 0.4724 in an inch job: laid out for mm its figures ran into each other and over the
    frame."""
    assert (
        text_width(f"{mm(12.0):.2f}", 3.2) == text_width("0.4724", 3.2) > text_width("12.00", 3.2)
    )
    assert text_width(f"{mm(1234.5):.2f}", 3.2) == max(
        text_width("1234.50", 3.2), text_width("48.6024", 3.2)
    )
    size = " x ".join(f"{mm(side):g}" for side in (480, 220, 10.4))
    lines = wrapped(size, 3.2, 40.0)
    assert len(lines) > 1 and all(
        WIDER * text_width(INCH.text(line), 3.2) <= 40.0 for line in lines
    )


def test_columns_of_a_legend_do_not_meet_in_inches() -> None:
    svg = Document(420.0, 297.0, "t", "", "")
    depth_legend(
        svg, SIDE, SIDE.y0, Bands((14.0, 8.0, 2.0, -7.0)), DepthDatum("the raw bottom", 14.0)
    )
    drawn = ET.fromstring(INCH.text(svg.render()))
    rows: dict[str, list[tuple[float, float]]] = {}
    for one in drawn.iter("{http://www.w3.org/2000/svg}text"):
        x = float(one.attrib["x"])
        wide = WIDER * text_width(one.text or "", float(one.attrib["font-size"]))
        x -= wide if one.get("text-anchor") == "end" else 0.0
        rows.setdefault(one.attrib["y"], []).append((x, x + wide))
    assert len(rows) == 5
    for row in rows.values():
        assert (
            all(end < start for (_, end), (start, _) in itertools.pairwise(row))
            and row[-1][1] < SIDE.x1
        )


def test_a_figure_lies_where_its_hump_is_wide_enough() -> None:
    """A hump that falls by 1 a node, 8 nodes wide: 4 nodes aside it is 4 lower; on level ground
    nothing moves."""
    hump = 10.0 - np.abs(np.arange(21.0) - 10.0)
    assert below_peak(hump, 10, 8.0) == 4.0
    assert below_peak(np.full(21, 5.0), 10, 8.0) == 0.0


def test_a_figure_of_nothing_has_no_sign() -> None:
    """ "-0.00" in a column of worst cases read like a check that had failed by a hair."""
    text = f"{mm(-0.0049):.2f}, {mm(-0.0051):.2f}, {mm(-0.4):.0f}"
    assert MM.text(text) == "0.00, -0.01, 0"
    assert INCH.text(f"{mm(-0.001):.2f}") == "0.0000"
