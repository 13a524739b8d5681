"""The deck's form: thickness along the board, smoothstep, distances, spline, extremes, faults of
its keys."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import BSpline, PchipInterpolator
from shapely import Polygon

from corepath.board.deck.distance import OutlineDistance
from corepath.board.deck.form import smoothstep7
from corepath.board.deck.make_deck import build_deck
from corepath.board.deck.thickness import Thickness
from corepath.board.outline.curves import circle_points
from corepath.board.outline.make_outline import build_outline
from corepath.errors import InputError
from corepath.kept import Kept

STATIONS = np.array([[-100, 6.2], [-20, 6.4], [5, 8.0], [88, 7.8]])


@pytest.fixture
def deck(make_job):
    job = make_job()
    return build_deck(job, build_outline(job, Path()))


def test_smoothstep_is_smooth_at_both_ends():
    """A jump in the third derivative is a line load on the skin: value and three derivatives must
    close."""
    step = np.polynomial.Polynomial([0, 0, 0, 0, 35, -84, 70, -20])
    u = np.linspace(0, 1, 101)
    assert np.allclose(smoothstep7(u), step(u), atol=1e-13)
    assert (step(0), step(1)) == (0.0, 1.0)
    for order in (1, 2, 3):
        assert step.deriv(order)(0.0) == 0.0
        assert abs(step.deriv(order)(1.0)) < 1e-11
    assert smoothstep7(np.array([-3.0, 7.0])).tolist() == [0.0, 1.0]


def test_thickness_is_the_average_of_pchip_by_the_cubic_b_spline():
    """Against scipy: PCHIP, the B-spline kernel as a BSpline, and adaptive quadrature."""
    smooth = 60.0
    curve = PchipInterpolator(*STATIONS.T)
    kernel = BSpline.basis_element(np.linspace(-smooth / 2, smooth / 2, 5), extrapolate=False)
    whole = quad(lambda s: float(kernel(s)), -30, 30, points=[-15, 0, 15])[0]
    t = Thickness(STATIONS, smooth)
    for x in (-110.0, -71.3, -20.0, 3.0, 12.5, 87.0, 140.0):
        knots = sorted({-15.0, 0.0, 15.0} | {float(k) for k in STATIONS[:, 0] - x if abs(k) < 30})
        value = quad(
            lambda s, x=x: float(curve(np.clip(x + s, -100, 88)) * kernel(s)),
            -30,
            30,
            points=knots,
            epsabs=1e-12,
        )[0]
        assert float(t(x)) == pytest.approx(value / whole, abs=1e-9)


def test_thickness_without_smoothing_passes_its_stations():
    """smooth = 0 means the stations themselves."""
    assert np.allclose(Thickness(STATIONS, 0.0)(STATIONS[:, 0]), STATIONS[:, 1], atol=1e-12)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(
    heights=st.lists(st.floats(4.0, 15.0), min_size=2, max_size=9),
    gap=st.floats(5.0, 200.0),
    smooth=st.floats(0.0, 300.0),
)
def test_thickness_never_passes_its_stations(heights, gap, smooth):
    """Over the largest station the core would be thicker than the board."""
    stations = np.array([[gap * i, h] for i, h in enumerate(heights)])
    t = Thickness(stations, smooth)(np.linspace(-300, gap * len(heights) + 300, 400))
    assert t.min() >= min(heights) - 1e-9 and t.max() <= max(heights) + 1e-9


def test_distances_are_those_from_the_true_circle():
    """Chords would err by up to 0.0008 mm and print their vertices on the deck."""
    outline = Polygon(circle_points(3.0, -2.0, 150.0))
    xs, ys = np.arange(-160.0, 161.0), np.arange(-160.0, 161.0)
    d = OutlineDistance(outline).on_grid(xs, ys, 90.0)
    exact = np.clip(150.0 - np.hypot(xs[:, None] - 3.0, ys[None, :] + 2.0), 0.0, None)
    near = exact < 90.0
    assert np.abs(d - exact)[near].max() < 1e-6
    assert np.all(d[~near] > 89.9)


def test_distances_agree_with_shapely_on_corners_and_lines():
    """Straight outlines with outward and inward corners, against an independent library."""
    outline = Polygon([(-60, -30), (50, -40), (60, 30), (0, 5), (-50, 35)])
    xs, ys = np.arange(-70.0, 71.0), np.arange(-50.0, 51.0)
    d = OutlineDistance(outline).on_grid(xs, ys, 100.0)
    places = shapely.points(*np.meshgrid(xs, ys, indexing="ij"))
    exact = np.where(
        shapely.contains(outline, places), shapely.distance(places, outline.exterior), 0.0
    )
    assert np.abs(d - exact).max() < 1e-9


def test_distances_kept_for_a_deeper_blend_are_the_same():
    """Asked for a little deeper they are found again, and a blend beyond them gets the same ones as
    far as its outline's own."""
    outline = Polygon([(-60, -30), (50, -40), (60, 30), (0, 5), (-50, 35)])
    xs, ys = np.arange(-80.0, 81.0), np.arange(-50.0, 51.0)
    kept = Kept(4)
    near = OutlineDistance(outline, kept).on_grid(xs, ys, 8.01)
    assert OutlineDistance(outline, kept).on_grid(xs, ys, 10.0) is near
    deep = OutlineDistance(outline, kept).on_grid(xs, ys, 30.0)
    there = near < np.inf
    assert np.array_equal(deep[there], near[there]) and there.sum() < (deep < np.inf).sum()
    with pytest.raises(ValueError, match="read-only"):
        near[0, 0] = 1.0


def test_line_that_runs_into_an_arc_stays_straight():
    """A long line beside short chords must not be bent by them (a parabola through all three
    would)."""
    bow = circle_points(0.0, 0.0, 50.0)
    right = bow[bow[:, 0] >= -1e-9]
    right = right[np.argsort(np.arctan2(right[:, 1], right[:, 0]))]
    outline = Polygon(np.vstack([right, [[-200.0, 50.0], [-200.0, -50.0]]]))
    xs, ys = np.arange(-190.0, 0.0, 0.5), np.arange(-60.0, 60.5, 0.5)
    d = OutlineDistance(outline).on_grid(xs, ys, 20.0)[:, ys == 40.0][:, 0]
    assert np.abs(d - np.minimum(10.0, xs + 200.0)).max() < 0.0005


def test_deck_follows_the_formula_where_nothing_is_rounded(make_job):
    """h = e + (t - e) S((d - edge_band) / blend), with the distance from shapely."""
    job = make_job({"deck.least_radius": 0.01})
    outline = build_outline(job, Path())
    deck = build_deck(job, outline)
    x, y = np.array([-40.0, -12.0, 20.0, 35.0]), np.array([17.0, -20.0, 12.0, -13.0])
    d = shapely.distance(shapely.points(x, y), outline.exterior)
    t = Thickness(np.array(job.deck.stations), 60.0)(x)
    assert np.allclose(
        deck.height(x, y), 5.0 + (t - 5.0) * smoothstep7((d - 10.0) / 16.0), atol=0.0006
    )


def test_deck_is_level_in_the_edge_band_and_beyond(deck):
    """The rectangle outside the outline must stay at the edge thickness, out to any distance."""
    assert np.all(
        deck.height([-100.0, -119.0, 0.0, 5e4, -1e9], [0.0, 44.0, 31.0, 0.0, 1e9])
        == pytest.approx(5.0)
    )
    assert deck.lowest == 5.0 and deck.edge == 5.0


def test_spline_goes_through_its_nodes_and_is_read_only(deck):
    """Heights at nodes are exact; nobody may change a deck that others hold."""
    assert np.abs(deck.height(deck.xs[:, None], deck.ys[None, :]) - deck.grid).max() < 1e-12
    assert 0.0 in deck.xs and 0.0 in deck.ys
    assert deck.xs[0] == -160 and deck.xs[-1] == 160 and deck.ys[-1] == 85
    with pytest.raises(ValueError, match="read-only"):
        deck.grid[0, 0] = 1.0
    with pytest.raises(AttributeError, match="does not change"):
        deck.edge = 3.0


def test_slopes_and_bends_are_the_derivatives_of_the_height(deck):
    """Against central differences of the next lower derivative."""
    rng = np.random.default_rng(4)
    x, y, s = rng.uniform(-110, 100, 300), rng.uniform(-40, 40, 300), 1e-4
    hx, hy = deck.gradient(x, y)
    assert np.allclose(hx, (deck.height(x + s, y) - deck.height(x - s, y)) / (2 * s), atol=1e-7)
    assert np.allclose(hy, (deck.height(x, y + s) - deck.height(x, y - s)) / (2 * s), atol=1e-7)
    hxx, hxy, hyy = deck.hessian(x, y)
    assert np.allclose(
        hxx, (deck.gradient(x + s, y)[0] - deck.gradient(x - s, y)[0]) / (2 * s), atol=1e-5
    )
    assert np.allclose(
        hxy, (deck.gradient(x, y + s)[0] - deck.gradient(x, y - s)[0]) / (2 * s), atol=1e-5
    )
    assert np.allclose(
        hyy, (deck.gradient(x, y + s)[1] - deck.gradient(x, y - s)[1]) / (2 * s), atol=1e-5
    )


@pytest.mark.parametrize(
    ("x", "y", "radius"), [(30.3, -9.2, 7.6), (-60.0, 12.0, 0.4), (-90.0, 0.0, 25.0)]
)
def test_extremes_over_a_disc_are_those_of_dense_samples(deck, x, y, radius):
    """Too high a value by a sample missed would pass a check that fails in the wood."""
    disc = Polygon(circle_points(x, y, radius))
    u, v = np.meshgrid(np.linspace(-radius, radius, 801), np.linspace(-radius, radius, 801))
    inside = np.hypot(u, v) <= radius
    h = deck.height(x + u[inside], y + v[inside])
    high, low = deck.highest_over(disc), deck.lowest_over(disc)
    assert high[0] == pytest.approx(h.max(), abs=0.001) and low[0] == pytest.approx(
        h.min(), abs=0.001
    )
    assert float(deck.height(high[1], high[2])) == pytest.approx(high[0], abs=1e-12)
    assert disc.buffer(1e-6).contains(shapely.Point(low[1], low[2]))


def test_deck_is_the_same_each_time(make_job, deck):
    """Same job, same bytes."""
    again = build_deck(make_job(), build_outline(make_job(), Path()))
    assert again.grid.tobytes() == deck.grid.tobytes()


@pytest.mark.parametrize(
    ("changes", "key", "message"),
    [
        ({"deck.mesh": "deck.stl"}, "deck.mesh", "more than once"),
        ({"deck.stations": None}, "deck.stations", "missing key"),
        ({"deck.stations": [[0, 8.0], [0, 7.0]]}, "deck.stations[2]", "same x"),
        ({"deck.stations": [[0, 8.0], [-5, 7.0]]}, "deck.stations[2]", "ascend"),
        ({"board.thickness": 8.5}, "board.thickness", "contradicts"),
        (
            {"deck.stations": [[0, 8.0], [9, 4.0]]},
            "deck.stations[2]",
            "thinner than board.edge_thickness",
        ),
        ({"board.edge_thickness": 9.0}, "board.edge_thickness", "thicker than the board"),
        ({"blank.length": 9e6}, "blank", "larger"),
    ],
)
def test_deck_faults(make_job, changes, key, message):
    """Each contradiction of the deck's keys is named."""
    with pytest.raises(InputError) as caught:
        build_deck(make_job(changes), Polygon(circle_points(0, 0, 20)))
    assert message in {fault.key: fault.message for fault in caught.value.faults}[key]
