"""Moves made ready for drawing: flattening, depth bands, thinning, arrows, contours."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.motion.program import Pass, arc, line, rapid
from corepath.views.drawings.cuts import (
    TOLERANCE,
    Bands,
    arrows,
    banded_paths,
    entries,
    nice_step,
    strokes,
    within,
)
from corepath.views.drawings.section import spread_out
from corepath.views.maps.contours import contour


def test_a_full_circle_is_drawn_all_round() -> None:
    drawn = strokes(
        [Pass.of([rapid(5, 0, 10), line(5, 0, 1, 100), arc(False, (5, 0, 1), (-5, 0), 900)])]
    )
    ring = drawn.runs[0][1:, :2]
    assert np.hypot(ring[:, 0], ring[:, 1]) == pytest.approx(5.0)
    middles = (ring[1:] + ring[:-1]) / 2
    assert 5.0 - np.hypot(middles[:, 0], middles[:, 1]).min() <= TOLERANCE
    assert np.hypot(*np.diff(ring, axis=0).T).sum() == pytest.approx(2 * math.pi * 5, rel=0.02)


@pytest.mark.parametrize(("clockwise", "side"), [(True, 1.0), (False, -1.0)])
def test_half_circles_bulge_to_the_right_side(clockwise: bool, side: float) -> None:
    """From (-1, 0) to (1, 0) about the origin: clockwise goes over the top (RS-274: seen from
    above)."""
    drawn = strokes(
        [Pass.of([rapid(-1, 0, 5), line(-1, 0, 0, 9), arc(clockwise, (1, 0, 0), (1, 0), 9)])]
    )
    assert drawn.runs[0][:, 1].max() * side == pytest.approx(max(side, 0.0), abs=0.05)
    assert np.abs(drawn.runs[0][:, 1]).max() == pytest.approx(1.0, abs=TOLERANCE)


def test_rapids_are_apart_from_cuts_and_only_those_that_move_sideways() -> None:
    drawn = strokes(
        [
            Pass.of(
                [
                    rapid(0, 0, 9),
                    line(0, 0, 1, 9),
                    line(8, 0, 1, 9),
                    rapid(8, 0, 9),
                    rapid(20, 5, 9),
                ]
            )
        ]
    )
    assert len(drawn.rapids) == 1 and drawn.rapids[0][1].tolist() == [20, 5, 9]
    assert len(drawn.runs) == 1 and drawn.runs[0][-1].tolist() == [8, 0, 1]


@settings(derandomize=True, max_examples=80)
@given(st.floats(0.5, 40), st.floats(0.01, 1))
def test_bands_cover_the_depth_in_few_steps(top: float, share: float) -> None:
    low = top * (1 - share)
    bands = Bands.between(top, low)
    assert bands.bounds[0] == top and bands.bounds[-1] == low
    assert all(a > b for a, b in zip(bands.bounds, bands.bounds[1:], strict=False))
    assert 1 <= bands.count <= 8


def test_each_height_falls_into_the_band_that_its_figures_name() -> None:
    bands = Bands((13.6, 10.0, 5.0, 1.2))
    heights = np.array([20.0, 13.6, 10.1, 9.9, 5.1, 4.9, 1.2, 0.0])
    assert bands.of(heights).tolist() == [0, 0, 0, 1, 1, 2, 2, 2]


def test_a_ramp_is_split_where_it_passes_a_band() -> None:
    bands = Bands((10.0, 5.0, 0.0))
    shallow, deep = banded_paths([np.array([[0.0, 0.0, 10.0], [100.0, 0.0, 0.0]])], bands, 1)
    assert shallow == "M0 0l50 0" and deep == "M50 0l50 0"


@pytest.mark.parametrize(("value", "step"), [(0.3, 0.5), (1.0, 1.0), (1.2, 2.0), (7.0, 10.0)])
def test_steps_are_round(value: float, step: float) -> None:
    assert nice_step(value) == pytest.approx(step)


def test_the_window_keeps_what_comes_near_it() -> None:
    run = np.array([[float(x), 0.0, 1.0] for x in range(101)])
    (piece,) = within([run], 40.2, -1, 50.2, 1)
    assert piece[0, 0] == 40.0 and piece[-1, 0] == 51.0


def test_arrows_point_along_the_cut_and_keep_apart() -> None:
    run = np.array([[0.0, 0.0, 1.0], [0.0, 500.0, 1.0]])
    found = arrows([run], 40.0, 6)
    assert 3 <= len(found) <= 6
    assert all(angle == pytest.approx(math.pi / 2) and x == 0 for x, _, angle in found)
    ys = sorted(y for _, y, _ in found)
    assert min(np.diff(ys)) >= 40.0
    assert arrows([], 1.0, 5) == []


def test_entries_are_the_first_places_of_runs() -> None:
    runs = [np.array([[x, 0.0, 1.0], [x + 1, 0.0, 1.0]]) for x in (0.0, 0.5, 30.0)]
    assert entries(runs, 5.0, 9) == [(0.0, 0.0), (30.0, 0.0)]


def test_contours_of_a_cone_are_circles() -> None:
    """h = 10 - r: the line at 4 is the circle of radius 6 (closed form)."""
    xs = ys = np.arange(-12.0, 12.1, 0.5)
    grid = 10.0 - np.hypot(*np.meshgrid(xs, ys, indexing="ij"))
    (ring,) = contour(xs, ys, grid, 4.0)
    assert ring[0].tolist() == ring[-1].tolist()
    assert np.hypot(ring[:, 0], ring[:, 1]) == pytest.approx(6.0, abs=0.02)
    assert contour(xs, ys, grid, 99.0) == []


@settings(derandomize=True, max_examples=60)
@given(st.lists(st.floats(0, 60), min_size=1, max_size=12))
def test_labels_are_spread_in_order_and_inside(wanted: list[float]) -> None:
    places = spread_out(sorted(wanted), 4.4, 0.0, 60.0)
    assert all(b - a >= 4.4 - 1e-9 for a, b in itertools.pairwise(places))
    assert places[0] >= -1e-9 and places[-1] <= 60.0 + 1e-9
