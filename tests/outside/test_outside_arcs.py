"""Arcs fitted to curves that are known exactly: an ellipse and a clothoid.

Sources: Fresnel integrals as `scipy.special.fresnel` has them (definition as in Abramowitz and
Stegun, Handbook of Mathematical Functions, 7.3.1 and 7.3.2: from memory). A curve whose curvature
grows evenly by k' a mm leaves an arc through its ends by at most k' h^3 / (72 sqrt 3) over a length
h (Taylor, worked out here: the cubic s (s - h/2) (s - h) k'/6 has this height), so that no chain of
arcs with its ends on the curve is shorter than the integral of (k' / (72 sqrt 3 e))^(1/3). A biarc
that keeps both tangents leaves it by k' h^3 / 324 (Meek and Walton, Approximating smooth planar
curves by arc splines, J. Comput. Appl. Math. 59, 1995: from memory).
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import trapezoid
from scipy.spatial import cKDTree
from scipy.special import ellipe, ellipeinc, fresnel

from corepath.motion.fit import JOINT, TOLERANCE, fit_arcs, flatten
from corepath.motion.program import Kind, Move

Floats = NDArray[np.float64]


def ellipse(t: Floats) -> Floats:
    """Half axes of 640 and 210 mm."""
    return np.column_stack([640.0 * np.cos(t), 210.0 * np.sin(t), np.zeros_like(t)])


def ellipse_grows(t: Floats) -> tuple[Floats, Floats]:
    """(ds/dt, dk/ds) of the ellipse: k = a b / (a² sin² t + b² cos² t)^(3/2)."""
    q = (640.0 * np.sin(t)) ** 2 + (210.0 * np.cos(t)) ** 2
    way = np.sqrt(q)
    return way, np.abs(-1.5 * 640.0 * 210.0 * q**-2.5 * (640.0**2 - 210.0**2) * np.sin(2 * t)) / way


SCALE = 300.0


def clothoid(t: Floats) -> Floats:
    """Curvature pi t / SCALE at the way SCALE t."""
    s, c = fresnel(t)
    return np.column_stack([SCALE * c, SCALE * s, np.zeros_like(t)])


def clothoid_grows(t: Floats) -> tuple[Floats, Floats]:
    return np.full_like(t, SCALE), np.full_like(t, math.pi / SCALE**2)


CURVES = {
    "ellipse": (ellipse, ellipse_grows, 0.0, 2 * math.pi),
    "clothoid": (clothoid, clothoid_grows, -1.2, 2.0),
}
curves = pytest.mark.parametrize("name", CURVES)


def flat(points: Floats, moves: list[Move]) -> Floats:
    """Points along the moves, chords within 1e-6 mm and at most 0.05 mm long."""
    here = (float(points[0, 0]), float(points[0, 1]), float(points[0, 2]))
    parts = [np.array([here])]
    for move in moves:
        part = flatten(here, move, 1e-6)
        for a, b in itertools.pairwise(part):
            count = max(1, math.ceil(math.dist(a, b) / 0.05))
            parts.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
        here = (move.x, move.y, move.z)
    return np.concatenate(parts)


def farthest(points: Floats, path: Floats) -> float:
    """Largest distance of points from a dense path: to the two pieces at its nearest vertex."""
    near = cKDTree(path[:, :2]).query(points[:, :2])[1]
    best = np.full(len(points), np.inf)
    for a, b in ((np.maximum(near - 1, 0), near), (near, np.minimum(near + 1, len(path) - 1))):
        d = path[b, :2] - path[a, :2]
        square = np.maximum((d**2).sum(axis=1), 1e-300)
        share = np.clip(((points[:, :2] - path[a, :2]) * d).sum(axis=1) / square, 0, 1)
        best = np.minimum(best, np.hypot(*(points[:, :2] - path[a, :2] - d * share[:, None]).T))
    return float(best.max())


def jumps(points: Floats, moves: list[Move]) -> Floats:
    """Angles (rad) by which directions differ at the joints."""
    here, before, found = points[0, :2], None, []
    for move in moves:
        end = np.array([move.x, move.y])
        if move.kind == Kind.LINE:
            first = last = end - here
        else:
            turn = 1.0 if move.kind == Kind.CCW else -1.0
            spokes = -np.array([move.i, move.j]), end - here - np.array([move.i, move.j])
            first, last = (turn * np.array([-spoke[1], spoke[0]]) for spoke in spokes)
        if before is not None:
            found.append(math.atan2(before[0] * first[1] - before[1] * first[0], before @ first))
        here, before = end, last
    return np.abs(np.array(found))


def sampled(name: str) -> tuple[Floats, list[Move]]:
    curve, _, start, end = CURVES[name]
    points = curve(np.linspace(start, end, 6001))
    return points, fit_arcs(points, feed=1000.0)


@curves
def test_within_the_tolerance_of_the_exact_curve(name: str) -> None:
    """Both ways; beside the tolerance only the sagitta of the given chords (8e-5 mm at most)
    counts."""
    points, moves = sampled(name)
    curve, _, start, end = CURVES[name]
    exact = curve(np.linspace(start, end, 60_001))
    made = flat(points, moves)
    assert farthest(made, exact) <= TOLERANCE + 1e-4
    assert farthest(exact, made) <= TOLERANCE + 1e-4


@curves
def test_joints_have_no_kink(name: str) -> None:
    """A kink makes a control slow down, or leaves a mark on the wall."""
    points, moves = sampled(name)
    assert jumps(points, moves).max() <= JOINT + 1e-9


@curves
def test_nearly_as_few_arcs_as_there_can_be(name: str) -> None:
    """At most 15 % over the shortest chain with ends on the curve, and fewer than biarcs."""
    _, moves = sampled(name)
    _, grows, start, end = CURVES[name]
    t = np.linspace(start, end, 20_001)
    way, rate = grows(t)
    fewest = float(trapezoid(way * np.cbrt(rate / (72 * math.sqrt(3) * TOLERANCE)), t))
    biarcs = 2 * float(trapezoid(way * np.cbrt(rate / (324 * TOLERANCE)), t))
    print(f"{name}: {len(moves)} moves, bound {fewest:.1f}, biarcs {biarcs:.1f}")
    assert 0.9 * fewest <= len(moves) <= 1.15 * fewest + 2
    assert len(moves) < biarcs


def test_length_of_the_ellipse() -> None:
    """4 a E(e²), complete elliptic integral of the second kind: a path that doubles back is
    longer."""
    points, moves = sampled("ellipse")
    made = flat(points, moves)
    length = 4 * 640.0 * ellipe(1 - (210.0 / 640.0) ** 2)
    assert length == pytest.approx(
        640.0 * ellipeinc(2 * math.pi, 1 - (210.0 / 640.0) ** 2), rel=1e-12
    )
    assert np.hypot(*np.diff(made[:, :2], axis=0).T).sum() == pytest.approx(length, rel=2e-6)


@curves
def test_lines_alone_are_equally_true(name: str) -> None:
    """Chords of a curve of radius r whose ends lie e outside it and whose middles lie e inside are
    sqrt(16 r e) long (sagitta 2 e): not more than a fifth over that many."""
    curve, _, start, end = CURVES[name]
    t = np.linspace(start, end, 60_001)
    points = curve(t)
    moves = fit_arcs(points, feed=1000.0, arcs=False)
    assert {move.kind for move in moves} == {Kind.LINE}
    made = flat(points, moves)
    assert max(farthest(made, points), farthest(points, made)) <= TOLERANCE + 1e-6
    d1, d2 = (
        np.gradient(points[:, :2], t, axis=0),
        np.gradient(np.gradient(points[:, :2], t, axis=0), t, axis=0),
    )
    way = np.hypot(*d1.T)
    bend = np.abs(d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0]) / way**3
    fewest = float(trapezoid(way * np.sqrt(bend / (16 * TOLERANCE)), t))
    assert 0.95 * fewest <= len(moves) <= 1.2 * fewest + 2
