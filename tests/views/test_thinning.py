"""What a drawing leaves out of a path: only what would lie under another line or crowd it, and
nothing whole."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corepath.geometry.polylines import length
from corepath.views.drawings.cuts import Bands, banded_paths
from corepath.views.maps.contours import inner_levels
from corepath.views.path_thinning import Cover, apart, straight_pieces


def circle(radius: float, z: float, turns: int = 1, phase: float = 0.0) -> np.ndarray:
    angle = np.linspace(0, 2 * math.pi * turns, 80 * turns + 1) + phase
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), z + 0 * angle], axis=1)


def raster(pitch: float, count: int, *, along_y: bool = False, ends: str = "square") -> np.ndarray:
    """Lines 300 long, back and forth, with square or round turns."""
    points = []
    for k in range(count):
        xs = (0.0, 300.0) if k % 2 == 0 else (300.0, 0.0)
        points += [(x, k * pitch) for x in xs]
        if ends == "round":
            turn = np.linspace(-math.pi / 2, math.pi / 2, 12)[1:-1]
            way = 1 if k % 2 == 0 else -1
            points += [
                (xs[1] + way * pitch / 2 * math.cos(t), (k + 0.5 + math.sin(t) / 2) * pitch)
                for t in turn
            ]
    flat = np.array(points)[:, ::-1] if along_y else np.array(points)
    return np.column_stack([flat, np.full(len(flat), 5.0)])


@settings(derandomize=True, max_examples=12, deadline=None)
@given(st.floats(0.5, 3.0), st.booleans(), st.sampled_from(["square", "round"]))
def test_of_a_raster_every_nth_line_stays_whichever_way_it_runs(
    pitch: float, along_y: bool, ends: str
) -> None:
    """Kept lines keep 6.5 off each other, none is missed for longer than need be, and no stub of a
    turn is left."""
    kept = apart([raster(pitch, 40, along_y=along_y, ends=ends)], 6.5, 20.0)
    across = sorted(float(piece[:, 0 if along_y else 1].mean()) for piece in kept)
    gaps = [b - a for a, b in itertools.pairwise(across)]
    assert across[0] == pytest.approx(0, abs=0.2) and across[-1] > 39 * pitch - 6.5 - 2.2 - pitch
    assert min(gaps) > 6.5 - 2.2 and max(gaps) < 6.5 + 2.2 + pitch
    assert all(length(piece) > 270 for piece in kept)


def test_a_ring_stays_whole_and_its_second_turn_goes() -> None:
    (whole,) = apart([circle(50, 3.0)], 5.0, 10.0)
    assert length(whole) == pytest.approx(2 * math.pi * 50, abs=5.0)
    assert (
        sum(length(piece) for piece in apart([circle(50, 3.0, turns=6)], 5.0, 0.0))
        < 2.1 * math.pi * 50
    )


def test_a_small_round_hole_is_never_left_out() -> None:
    """Shorter than any least length, a helix in a hole is all that shows where it is."""
    kept = Cover((-1, -1, 1, 1), 0.5).keep(circle(0.2, 1.0), least=50.0, start=True)
    assert sum(length(piece) for piece in kept) > 0


def test_the_deepest_turn_of_a_helix_is_drawn_and_those_over_it_are_not() -> None:
    """A helix of ten layers: as large a file as one of its turns, and the deepest shade on top as
    before."""
    bands = Bands((10.0, 5.0, 0.0))
    layers = [circle(30, z, phase=0.3 * z) for z in (8.0, 6.0, 4.0, 2.0)]
    shallow, deep = banded_paths(layers, bands, 1, unit=1.0)
    assert shallow == "" and len(deep) < 1.2 * len(
        banded_paths([layers[-1]], bands, 1, unit=1.0)[1]
    )
    all_shallow, all_deep = banded_paths(layers, bands, 1)
    assert all_shallow and len(all_deep) > 1.8 * len(deep)


def test_what_lies_beside_a_deeper_cut_is_drawn() -> None:
    bands = Bands((10.0, 5.0, 0.0))
    shallow, _ = banded_paths([circle(30, 8.0), circle(29.5, 2.0)], bands, 1, unit=1.0)
    assert shallow.count("M") == 1


@settings(derandomize=True, max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=2, max_size=12),
    st.floats(0.5, 20),
)
def test_pieces_put_together_are_the_run(points: list[tuple[float, float]], reach: float) -> None:
    run = np.column_stack([np.array(points), np.arange(len(points), dtype=float)])
    assert sum(length(piece) for piece in straight_pieces(run, reach)) == pytest.approx(
        length(run), abs=1e-6
    )


def test_no_line_of_equal_height_runs_at_the_level_edge() -> None:
    """The edge band is level but for the surface's error: a line there would be its noise, not a
    height."""
    assert inner_levels(4.2 - 2e-7, 11.0 + 2e-7, 0.2)[0] == 22
    assert inner_levels(4.15, 11.0, 0.2)[0] == 21
