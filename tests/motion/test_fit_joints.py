"""How fitted moves join: without a kink where the points run smoothly, with one where the points
have a corner."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from corepath.motion.fit import JOINT, TOLERANCE, fit_arcs
from corepath.motion.program import Kind, Move

Floats = NDArray[np.float64]


def directions(points: Floats, moves: list[Move]) -> list[tuple[float, float]]:
    """(at its start, at its end) of each move, rad in XY."""
    here, found = points[0], []
    for move in moves:
        dx, dy = move.x - here[0], move.y - here[1]
        first = last = math.atan2(dy, dx)
        if move.kind is not Kind.LINE:
            turn = math.pi / 2 if move.kind is Kind.CCW else -math.pi / 2
            first = math.atan2(-move.j, -move.i) + turn
            last = math.atan2(dy - move.j, dx - move.i) + turn
        found.append((first, last))
        here = np.array(move[1:4])
    return found


def kinks(points: Floats, moves: list[Move]) -> list[float]:
    """Change of direction at each joint, rad, 0 to pi."""
    pairs = itertools.pairwise(directions(points, moves))
    return [abs(math.remainder(after[0] - before[1], math.tau)) for before, after in pairs]


def waves(heights: list[float], size: float, n: int) -> Floats:
    t = np.linspace(0, 2 * math.pi, n)
    r = size * (1 + sum(w / (k + 1) ** 2 * np.cos((k + 2) * t) for k, w in enumerate(heights)))
    return np.column_stack([r * np.cos(t), 0.6 * r * np.sin(t), np.zeros_like(t)])


@settings(derandomize=True, max_examples=40, deadline=None)
@given(
    st.lists(st.floats(-0.2, 0.2), min_size=1, max_size=6),
    st.floats(5, 700),
    st.sampled_from([0.002, 0.003, 0.02]),
)
def test_smooth_points_give_no_kink(heights: list[float], size: float, tolerance: float) -> None:
    """A control that keeps to the path slows down at each kink, or marks the wall."""
    points = waves(heights, size, 2500)
    assert max(kinks(points, fit_arcs(points, feed=1, tolerance=tolerance))) <= JOINT + 1e-9


@settings(derandomize=True, max_examples=20, deadline=None)
@given(
    st.lists(st.floats(-0.2, 0.2), min_size=1, max_size=5),
    st.floats(40, 500),
    st.integers(300, 2200),
)
def test_a_curve_fitted_in_two_parts_has_no_kink_between(
    heights: list[float], size: float, cut: int
) -> None:
    """A ramp and the level lap after it are fitted apart; so are start and end of a closed lap."""
    points = waves(heights, size, 2500)
    parts = [fit_arcs(points[: cut + 1], feed=1), fit_arcs(points[cut:], feed=1)]
    end, start = (
        directions(points[:1], parts[0])[-1][1],
        directions(points[cut : cut + 1], parts[1])[0][0],
    )
    assert abs(math.remainder(start - end, math.tau)) <= 1.25 * JOINT
    first, last = (
        directions(points[:1], parts[0])[0][0],
        directions(points[cut : cut + 1], parts[1])[-1][1],
    )
    assert abs(math.remainder(first - last, math.tau)) <= 1.25 * JOINT


def test_line_into_arc_into_line_is_three_moves() -> None:
    """A round corner cut as a row of short arcs, or lines that miss the arc's direction."""
    t = np.linspace(0, math.pi / 2, 60)
    bend = np.column_stack([30 + 4 * np.sin(t), 4 - 4 * np.cos(t), 0 * t])
    points = np.concatenate([[[0, 0, 0]], bend, [[34, 40, 0]]])
    moves = fit_arcs(points, feed=1)
    assert [move.kind for move in moves] == [Kind.LINE, Kind.CCW, Kind.LINE]
    assert math.hypot(moves[1].i, moves[1].j) == pytest.approx(4.0, abs=0.01)
    assert max(kinks(points, moves)) <= JOINT


@pytest.mark.parametrize("turn", [8.0, 30.0, 90.0, 150.0])
def test_a_corner_between_fine_curves_stays_where_it_is(turn: float) -> None:
    """Two arcs of closely spaced points that meet at an angle: no move may pass over the corner."""
    t = np.linspace(0, 0.8, 400)
    one = np.column_stack([20 * np.sin(t), 20 - 20 * np.cos(t)])
    a = 0.8 + math.radians(turn)
    two = one[-1] + np.column_stack(
        [15 * (np.sin(a + t) - math.sin(a)), 15 * (math.cos(a) - np.cos(a + t))]
    )
    points = np.column_stack([np.concatenate([one, two[1:]]), np.zeros(799)])
    moves = fit_arcs(points, feed=1)
    at = [k for k, move in enumerate(moves) if math.dist(move[1:3], one[-1]) < 1e-12]
    assert len(at) == 1
    assert kinks(points, moves)[at[0]] == pytest.approx(math.radians(turn), abs=math.radians(0.5))
    assert len(moves) == 2


def test_noise_within_the_tolerance_does_not_make_many_moves() -> None:
    """Rounded points (0.0005 mm) taken for corners: a circle in hundreds of pieces."""
    rng = np.random.default_rng(3)
    t = np.linspace(0, 2 * math.pi, 1500)
    points = np.column_stack([60 * np.cos(t), 60 * np.sin(t), 0 * t])
    points[:, :2] += rng.uniform(-0.0005, 0.0005, (1500, 2))
    moves = fit_arcs(points, feed=1)
    assert len(moves) <= 4
    assert all(math.hypot(move.i, move.j) == pytest.approx(60, abs=0.02) for move in moves)


def test_ramp_keeps_its_direction_where_its_slope_ends() -> None:
    """Slope and direction are two things: the end of a ramp is a kink in Z alone."""
    t = np.linspace(0, 2 * math.pi, 2001)
    z = np.where(t < math.pi, -2.0 * t / math.pi, -2.0)
    points = np.column_stack([50 * np.cos(t), 30 * np.sin(t), z])
    moves = fit_arcs(points, feed=1, tolerance=TOLERANCE)
    assert max(kinks(points, moves)) <= JOINT + 1e-9
    assert any(
        abs(move.z + 2.0) <= TOLERANCE and abs(move.y) < 1.0 and move.x < 0 for move in moves
    )
    assert len(moves) < 60


def test_straight_up_and_down_among_curves() -> None:
    """A move straight down has no direction in XY; what comes before and after must not hang on
    one."""
    t = np.linspace(0, 2.0, 200)
    bow = np.column_stack([10 * np.cos(t), 10 * np.sin(t), 0 * t])
    down = bow[-1] - np.outer([1.0, 2.0, 3.0], [0.0, 0.0, 1.0])
    points = np.concatenate([bow, down, bow[::-1] - [0, 0, 3.0]])
    moves = fit_arcs(points, feed=1)
    assert [move.kind for move in moves] == [Kind.CCW, Kind.LINE, Kind.CW]
