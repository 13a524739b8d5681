"""Thinning and arc fitting: both ways within the tolerance, few moves, arcs that the output
allows."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString

from corepath.motion.fit import LARGEST_SWEEP, TOLERANCE, fit_arcs, flatten, thin
from corepath.motion.program import Kind, Move

FINE = 1e-5


def flat(start: np.ndarray, moves: list[Move]) -> np.ndarray:
    """(n, 3) points along the moves, chords within 1e-5 mm."""
    here = (float(start[0]), float(start[1]), float(start[2]))
    points = [np.array([here])]
    for move in moves:
        points.append(flatten(here, move, FINE)[1:])
        here = (move.x, move.y, move.z)
    return np.concatenate(points)


def apart(given_points: np.ndarray, moves: list[Move]) -> float:
    """Largest distance in XY between polyline and moves, either way, at their vertices."""
    made = flat(given_points[0], moves)
    there, back = LineString(given_points[:, :2]), LineString(made[:, :2])
    from_given = shapely.distance(shapely.points(given_points[:, :2]), back).max()
    from_made = shapely.distance(shapely.points(made[:, :2]), there).max()
    return float(max(from_given, from_made))


def circle(radius: float, turns: float, n: int, pitch: float = 0.0) -> np.ndarray:
    t = np.linspace(0, 2 * math.pi * turns, n)
    return np.column_stack([radius * np.cos(t), radius * np.sin(t), -pitch * t / (2 * math.pi)])


def test_circle_becomes_few_arcs_on_its_radius() -> None:
    """Arcs beside the circle, or thousands of lines where three arcs do."""
    points = circle(50.0, 1.0, 4000)
    moves = fit_arcs(points, feed=1000)
    assert [move.kind for move in moves] == [Kind.CCW] * 3
    assert all(math.hypot(move.i, move.j) == pytest.approx(50.0, abs=1e-3) for move in moves)
    assert all(move.feed == 1000 for move in moves)
    assert moves[-1][1:4] == pytest.approx(points[-1], abs=1e-12)
    assert [m.kind for m in fit_arcs(points[::-1], feed=1)] == [Kind.CW] * 3


def test_helix_becomes_arcs_of_constant_pitch() -> None:
    """A helix cut as a staircase or with the depth off along it."""
    points = circle(5.0, 10.0, 20001, pitch=0.6)
    moves = fit_arcs(points, feed=1)
    assert all(move.kind is Kind.CCW for move in moves) and len(moves) < 30
    made = flat(points[0], moves)
    turn = np.unwrap(np.arctan2(made[:, 1], made[:, 0]))
    assert np.abs(made[:, 2] + 0.6 * turn / (2 * math.pi)).max() < TOLERANCE


def test_pitch_that_changes_ends_the_arc() -> None:
    """One helix over a kink in depth cuts below the path."""
    level, ramp = circle(20.0, 0.2, 300), circle(20.0, 0.2, 300, pitch=3.0)
    a = 2 * math.pi * 0.2
    ramp[:, :2] = ramp[:, :2] @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    points = np.concatenate([level, ramp[1:]])
    made = flat(points[0], fit_arcs(points, feed=1))
    turn = np.unwrap(np.arctan2(made[:, 1], made[:, 0]))
    wanted = np.where(turn < a, 0.0, -3.0 * (turn - a) / (2 * math.pi))
    assert np.abs(made[:, 2] - wanted).max() < TOLERANCE + 1e-6


def test_corner_is_kept() -> None:
    """A corner cut by an arc."""
    points = np.array([[0, 0, 0], [5, 0, 0], [10, 0, 0], [10, 5, 0], [10, 10, 0]], dtype=float)
    moves = fit_arcs(points, feed=1)
    assert [m[:4] for m in moves] == [(Kind.LINE, 10.0, 0.0, 0.0), (Kind.LINE, 10.0, 10.0, 0.0)]


def test_way_back_on_itself_is_kept() -> None:
    """A to and fro that is thinned away: a stretch not cut, or cut at one height only."""
    points = np.array([[0, 0, 0], [10, 0, 0], [2, 0, 0], [6, 0, 0]], dtype=float)
    assert thin(points).tolist() == points.tolist()


@pytest.mark.whole
@settings(derandomize=True, max_examples=30, deadline=None)
@given(
    st.lists(st.floats(-0.2, 0.2), min_size=3, max_size=8),
    st.floats(3, 700),
    st.sampled_from([0.001, 0.003, 0.02]),
)
def test_fitted_path_within_tolerance_both_ways(
    waves: list[float], size: float, tolerance: float
) -> None:
    """A fitted move that leaves the given points, or points that leave the move, by more than the
    tolerance."""
    t = np.linspace(0, 2 * math.pi, 900)
    r = size * (1 + sum(w / (k + 1) * np.cos((k + 2) * t) for k, w in enumerate(waves)))
    points = np.column_stack([r * np.cos(t), 0.6 * r * np.sin(t), np.zeros_like(t)])
    moves = fit_arcs(points, feed=1, tolerance=tolerance)
    assert apart(points, moves) <= tolerance + 2 * FINE
    assert len(moves) < len(points)
    assert moves[-1][1:4] == tuple(points[-1])
    here = points[0]
    for move in moves:
        if move.kind is not Kind.LINE:
            radius = math.hypot(move.i, move.j)
            end = math.hypot(move.x - here[0] - move.i, move.y - here[1] - move.j)
            assert end == pytest.approx(radius, abs=1e-7)
            way = flatten(tuple(here), move, FINE)
            assert np.hypot(*np.diff(way[:, :2], axis=0).T).sum() <= LARGEST_SWEEP * radius * (
                1 + 1e-9
            )
        here = np.array(move[1:4])


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(st.tuples(*[st.floats(-5, 5)] * 3), min_size=2, max_size=60), st.floats(0.001, 2.0))
def test_thinned_points_keep_all_within_tolerance(
    places: list[tuple[float, float, float]], tolerance: float
) -> None:
    """A dropped point farther from the thinned path than the tolerance."""
    points = np.array(places)
    kept = thin(points, tolerance)
    assert kept[0].tolist() == points[0].tolist()
    assert np.abs(kept[-1] - points[-1]).max() <= 1e-9

    def to_segment(p: np.ndarray, a: np.ndarray, b: np.ndarray) -> float:
        d = b - a
        t = np.clip((p - a) @ d / max(float(d @ d), 1e-300), 0, 1)
        return float(np.linalg.norm(p - a - t * d))

    for p in points:
        pairs = list(itertools.pairwise(kept)) or [(kept[0], kept[0])]
        assert min(to_segment(p, a, b) for a, b in pairs) <= tolerance * (1 + 1e-6) + 2e-9


def test_lines_only_where_arcs_are_not_allowed() -> None:
    """G2 or G3 sent to a control without them, or chords off by more than the tolerance."""
    points = circle(50.0, 1.0, 4000)
    moves = fit_arcs(points, feed=1, arcs=False)
    assert {move.kind for move in moves} == {Kind.LINE}
    assert apart(points, moves) <= TOLERANCE + FINE
    # Ends e outside the circle and middles e inside: (R + e) cos(half a step) = R - e. Greedy ends
    # a tenth later at most, since ends lie beside points.
    half = math.acos((50.0 - TOLERANCE) / (50.0 + TOLERANCE))
    fewest = math.pi / half
    assert fewest <= len(moves) <= 1.1 * fewest


def test_chords_keep_corners_ends_and_a_slope() -> None:
    """A corner moved aside, a straight way broken up, or a height off by more than allowed."""
    square = [[0, 0, 3], [5, 0, 3], [10, 0, 3], [10, 4, 3], [10, 9, 3]]
    moves = fit_arcs(square, feed=1, arcs=False)
    assert [(move.x, move.y, move.z) for move in moves] == [(10, 0, 3), (10, 9, 3)]
    angle = np.linspace(0.0, 4 * math.pi, 1201)
    helix = np.column_stack([2 * np.cos(angle), 2 * np.sin(angle), 9 - 0.2 * angle])
    moves = fit_arcs(helix, feed=1, arcs=False, tolerance=0.002)
    assert apart(helix, moves) <= 0.002 + FINE
    assert (moves[-1].x, moves[-1].y, moves[-1].z) == pytest.approx(helix[-1], abs=1e-12)
    assert len(moves) <= 1.1 * 4 * math.pi / (2 * math.acos(1.998 / 2.002)) + 1


def test_one_point_or_equal_points_give_no_move() -> None:
    """A move that leads nowhere, which a control may take for a full circle."""
    assert fit_arcs([[1.0, 2.0, 3.0]], feed=1) == []
    assert fit_arcs([[1.0, 2.0, 3.0]] * 4, feed=1) == []
    with pytest.raises(ValueError, match=r"\(n, 3\)"):
        fit_arcs([[1.0, 2.0]], feed=1)


def test_flatten_of_a_full_turn_and_of_a_clockwise_quarter() -> None:
    """An arc drawn the wrong way round, or a full turn drawn as nothing (NIST IR 6556, 3.5.3.2)."""
    full = flatten((5.0, 0.0, 0.0), Move(Kind.CCW, 5.0, 0.0, -1.0, 1.0, -5.0, 0.0), 0.001)
    assert np.hypot(*np.diff(full[:, :2], axis=0).T).sum() == pytest.approx(10 * math.pi, rel=1e-3)
    assert full[len(full) // 4, 1] > 4.9
    quarter = flatten((5.0, 0.0, 0.0), Move(Kind.CW, 0.0, -5.0, 0.0, 1.0, -5.0, 0.0), 0.001)
    assert quarter[:, 0].min() > -1e-9 and quarter[:, 1].max() < 1e-9


@pytest.mark.parametrize("kind", [Kind.CW, Kind.CCW])
@pytest.mark.parametrize("off", [0.0, 1e-14, -1e-14])
def test_a_full_turn_goes_its_own_way_round(kind: Kind, off: float) -> None:
    """The end's angle may round to either side of the start: the turn still goes round once, as it
    is called. A quarter of the way on from (1, 0) it is at (0, -1) clockwise."""
    turn = flatten((1.0, 0.0, 0.0), Move(kind, 1.0, off, 0.0, 100.0, -1.0, 0.0), FINE)
    quarter = turn[(len(turn) - 1) // 4]
    ahead = -1.0 if kind is Kind.CW else 1.0
    assert quarter[:2] == pytest.approx((0.0, ahead), abs=0.02)
    length = np.hypot(*np.diff(turn[:, :2], axis=0).T).sum()
    assert length == pytest.approx(2 * math.pi, abs=1e-3)
