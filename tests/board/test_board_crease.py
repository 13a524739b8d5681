"""Creases: rounded to the ball, against the closed form of a ridge; untouched where the ball
fits."""

from __future__ import annotations

import sys
from pathlib import Path

import numba
import numpy as np
import pytest
from shapely import Polygon
from shapely.affinity import rotate

from corepath.board.deck import crease
from corepath.board.deck.crease import round_creases
from corepath.board.deck.distance import OutlineDistance
from corepath.board.deck.form import DeckForm, smoothstep7
from corepath.board.deck.make_deck import build_deck
from corepath.board.outline.make_outline import build_outline

EDGE, FULL, BAND, BLEND = 4.0, 11.0, 14.0, 110.0


def ridge(angle: float, half: float, reach: float = 60.0):
    """A long straight board of the half width `half`, turned by `angle` degrees: form, nodes, raw
    heights, offsets."""
    board = rotate(
        Polygon([(-900, -half), (900, -half), (900, half), (-900, half)]), angle, origin=(0, 0)
    )
    form = DeckForm(OutlineDistance(board), lambda x: np.full(np.shape(x), FULL), EDGE, BAND, BLEND)
    nodes = np.arange(-reach, reach + 1.0)
    across = (
        -np.sin(np.radians(angle)) * nodes[:, None] + np.cos(np.radians(angle)) * nodes[None, :]
    )
    return form, nodes, form.on_grid(nodes, nodes), across


def profile(across, half: float):
    return EDGE + (FULL - EDGE) * smoothstep7((half - np.abs(across) - BAND) / BLEND)


def opened(across, half: float, radius: float):
    """Closed form of a ridge: a circle on its axis, raised until it touches both flanks at +-y."""
    y = np.linspace(0.0, min(radius, half) - 1e-6, 300_001)
    room = profile(y, half) + radius - np.sqrt(radius**2 - y**2)
    touch = y[np.argmin(room)]
    cap = room.min() - radius + np.sqrt(np.maximum(radius**2 - across**2, 0.0))
    return np.where(np.abs(across) < touch, cap, profile(across, half)), touch


@pytest.mark.parametrize(
    ("angle", "half", "radius"), [(0, 90, 150), (17, 90, 150), (45, 90, 60), (31.3, 60, 150)]
)
def test_ridge_is_rounded_as_the_closed_form_says(angle, half, radius):
    """However the ridge lies to the lattice: the lattice must not show."""
    form, nodes, raw, across = ridge(angle, half)
    grid = round_creases(form.edge, nodes, raw, radius)
    exact, touch = opened(across, half, radius)
    inner = np.s_[12:-12, 12:-12]
    assert (raw - grid)[inner].max() > 0.2
    assert np.abs(grid - exact)[inner].max() < 0.0001
    clear = np.abs(across) > touch + 1.5
    assert np.array_equal(grid[inner][clear[inner]], raw[inner][clear[inner]])


def test_nothing_changes_where_the_ball_fits():
    """A board wide enough has no crease: the same array comes back."""
    form, nodes, raw, _ = ridge(20.0, 125.0)
    assert np.array_equal(round_creases(form.edge, nodes, raw, 150.0), raw)


@pytest.fixture(scope="module")
def tip():
    """A board with a tight tip, where the ridge rises from nothing and ends on the level."""
    outline = Polygon([(-150, -60), (60, -70), (140, -8), (140, 8), (60, 70), (-150, 60)])
    form = DeckForm(OutlineDistance(outline), lambda x: 9.0 - 0.006 * x, 4.2, 10.0, 90.0)
    xs, ys = np.arange(-170.0, 171.0), np.arange(-90.0, 91.0)
    raw = form.on_grid(xs, ys)
    return xs, ys, raw, round_creases(form.edge, xs, raw, 120.0)


def test_opening_lies_between_edge_and_form(tip):
    """Never under the edge thickness, never above h."""
    _, _, raw, grid = tip
    assert grid.min() == 4.2
    assert np.all(grid <= raw)
    assert (raw - grid).max() > 0.1


def test_no_place_is_curved_tighter_than_the_ball(tip):
    """A skin laid over the deck must not find a bend tighter than the least radius.

    Second differences along X, Y and both diagonals, over 2 mm; 3 % for the difference of chord and
    curve.
    """
    _, _, _, grid = tip
    for a, b in ((2, 0), (0, 2), (2, 2), (2, -2)):
        middle = grid[4:-4, 4:-4]
        one = grid[4 + a : grid.shape[0] - 4 + a, 4 + b : grid.shape[1] - 4 + b]
        two = grid[4 - a : grid.shape[0] - 4 - a, 4 - b : grid.shape[1] - 4 - b]
        chord = float(a * a + b * b)
        slope = (one - two) / (2.0 * np.sqrt(chord))
        bend = (one + two - 2.0 * middle) / chord / (1.0 + slope**2) ** 1.5
        assert bend.min() >= -1.03 / 120.0


def test_opening_twice_changes_nothing_more(tip):
    """What a ball has rounded, a smaller one cannot round again (Serra, Image Analysis and
    Mathematical Morphology, 1982: openings absorb each other; from memory). 0.005 mm: where a
    crease is so faint that its two contacts lie within a step, the ball stands on the lattice.
    """
    xs, _, _, grid = tip
    form = DeckForm(
        OutlineDistance(Polygon([(0, 0), (1, 0), (0, 1)])), lambda x: x, 4.2, 10.0, 90.0
    )
    assert np.abs(round_creases(form.edge, xs, grid, 110.0) - grid).max() < 0.005


def test_deck_tells_how_far_it_was_rounded(make_job):
    """The report names the largest lowering and its place."""
    job = make_job({"deck.least_radius": 20.0})
    deck = build_deck(job, build_outline(job, Path()))
    sharp = build_deck(make_job({"deck.least_radius": 0.01}), build_outline(job, Path()))
    by = sharp.grid - deck.grid
    assert deck.source.rounded_by.most == pytest.approx(by.max(), abs=1e-9) and by.max() > 0.2
    i, j = (
        np.searchsorted(deck.xs, deck.source.rounded_by.x),
        np.searchsorted(deck.ys, deck.source.rounded_by.y),
    )
    assert by[i, j] == pytest.approx(by.max(), abs=1e-9)
    assert sharp.source.rounded_by.most < 0.001


def test_few_creases_and_many_are_rounded_by_one_arithmetic(monkeypatch):
    """numpy for few, compiled loops for many: a deck must not change at the number in between."""
    star = Polygon(
        [(-80, -6), (-4, -30), (0, -95), (30, -20), (95, 4), (10, 20), (0, 90), (-20, 9)]
    )
    form = DeckForm(OutlineDistance(star), lambda x: 9.0 - 0.006 * x, 4.2, 4.0, 40.0)
    xs, ys = np.arange(-110.0, 111.0), np.arange(-110.0, 111.0)
    raw = form.on_grid(xs, ys)
    asked, small = [], crease.open_small
    monkeypatch.setattr(crease, "open_small", lambda *words: asked.append(1) or small(*words))
    monkeypatch.delitem(sys.modules, "numba", raising=False)
    few = round_creases(4.2, xs, raw, 25.0)
    assert asked
    asked.clear()
    monkeypatch.setitem(sys.modules, "numba", numba)
    many = round_creases(4.2, xs, raw, 25.0)
    assert not asked and np.array_equal(few, many)
    monkeypatch.delitem(sys.modules, "numba")
    monkeypatch.setattr(crease, "_FEW", 0)
    assert np.array_equal(round_creases(4.2, xs, raw, 25.0), few) and not asked
    assert (raw - few).max() > 0.1
