"""The skin's arithmetic against surfaces whose answer is known in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point

from corepath.job.model import SkinSection
from corepath.skin.bending import bend
from corepath.skin.clamped_plate import clamped
from corepath.skin.membrane import stretch
from corepath.skin.plate import bending_pressure
from corepath.skin.terms import BAR, Laminate, SkinCover, laminate_of


def laminate(**keys: Any) -> Laminate:
    return laminate_of(
        SkinSection(
            **{"thickness": 0.6, "modulus": 20.0, "strain_limit": 0.004, "pressure": 0.8, **keys}
        )
    )


@dataclass(frozen=True)
class Formed:
    """A surface by formulas: height, (h_x, h_y), (h_xx, h_xy, h_yy)."""

    h: Callable[[Any, Any], Any]
    first: Callable[[Any, Any], tuple[Any, Any]] = lambda x, y: (0.0 * x, 0.0 * y)
    second: Callable[[Any, Any], tuple[Any, Any, Any]] = lambda x, y: (0.0 * x, 0.0 * x, 0.0 * x)

    def on_lattice(self, xs: Any, ys: Any, along: int = 0, across: int = 0) -> Any:
        x, y = np.meshgrid(xs, ys, indexing="ij")
        whole = (self.h(x, y), *self.first(x, y), *self.second(x, y))
        orders = ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2))
        return whole[orders.index((along, across))] + 0.0 * x


def parabola(kx: float, ky: float, kxy: float = 0.0) -> Formed:
    return Formed(
        lambda x, y: 0.5 * (kx * x**2 + ky * y**2) + kxy * x * y,
        lambda x, y: (kx * x + kxy * y, ky * y + kxy * x),
        lambda x, y: (kx + 0.0 * x, kxy + 0.0 * x, ky + 0.0 * x),
    )


def test_bending_of_a_sphere_is_the_same_everywhere() -> None:
    """t / 2R whatever the slope: second derivatives alone would be off by a third at 30 degrees."""
    r = 120.0

    def up(x: Any, y: Any) -> Any:
        return np.sqrt(r**2 - x**2 - y**2)

    ball = Formed(
        up,
        lambda x, y: (-x / up(x, y), -y / up(x, y)),
        lambda x, y: (
            -(r**2 - y**2) / up(x, y) ** 3,
            -x * y / up(x, y) ** 3,
            -(r**2 - x**2) / up(x, y) ** 3,
        ),
    )
    found = bend(ball, SkinCover(50.0, 40.0), laminate(), over=0.0)
    np.testing.assert_allclose(found.strains, 0.6 / (2 * r), rtol=1e-6)
    assert found.radius == pytest.approx(r) and not found.hollow
    assert bend(ball, SkinCover(30.0, 30.0), laminate()).radius == pytest.approx(r, rel=0.01)
    assert found.steepest.value == pytest.approx(
        math.hypot(50, 40) / math.sqrt(r**2 - 50**2 - 40**2)
    )


@settings(derandomize=True, max_examples=25)
@given(st.floats(-89.0, 90.0), st.booleans())
def test_direction_and_sign_of_a_cylinder(angle: float, hollow: bool) -> None:
    """Bent across its axis, on either side, with the direction told in the board's frame."""
    k = (1.0 if hollow else -1.0) / 400.0
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    found = bend(parabola(k * c * c, k * s * s, k * c * s), SkinCover(4.0, 4.0), laminate())
    at = found.strain.x**2 + found.strain.y**2
    assert found.hollow is hollow and at < 40
    apart = abs(found.angle - angle) % 180.0
    assert min(apart, 180.0 - apart) < 0.11


def test_level_deck_bends_nothing() -> None:
    found = bend(parabola(0.0, 0.0), SkinCover(20.0, 10.0), laminate())
    assert math.isinf(found.radius) and found.jump.value == 0.0
    pressed = bending_pressure(parabola(0.0, 0.0), SkinCover(20.0, 10.0), laminate())
    assert pressed.most.value == 0.0 and pressed.line is None


def test_jump_of_curvature_across_a_slanted_line() -> None:
    """A crown of R 100 that begins along a line: its curvature is the jump, however the line
    lies."""
    c, s, k = math.cos(0.6), math.sin(0.6), -1.0 / 100.0

    def over(x: Any, y: Any) -> Any:
        return np.maximum(c * x + s * y - 0.37, 0.0)

    ridge = Formed(
        lambda x, y: 0.5 * k * over(x, y) ** 2,
        lambda x, y: (k * c * over(x, y), k * s * over(x, y)),
        lambda x, y: tuple(k * part * (over(x, y) > 0) for part in (c * c, c * s, s * s)),
    )
    found = bend(ridge, SkinCover(20.0, 15.0), laminate())
    assert found.jump.value == pytest.approx(0.01, rel=1e-3)
    assert sorted(found.jump_sides) == pytest.approx([-0.01, 0.0], abs=1e-5)


@pytest.mark.parametrize("wave", [60.0, 110.0])
def test_pressure_of_waves_both_ways(wave: float) -> None:
    """D ∇⁴h = D (2 k²)² h for cos kx cos ky, less by what the mean over 12 mm takes: sinc⁴(k b / 2)
    each way.

    Hollows must be pressed down, crowns are carried: with the sign wrong the bridge is drawn on the
    hump.
    """
    k, skin = 2 * math.pi / wave, laminate()
    deck = Formed(lambda x, y: np.cos(k * x) * np.cos(k * y))
    found = bending_pressure(deck, SkinCover(wave, wave / 2), skin)
    b = skin.average / 2
    mean = (math.sin(k * b / 2) / (k * b / 2)) ** 8
    full = skin.stiffness * (2 * k * k) ** 2 / BAR
    assert found.most.value == pytest.approx(full * mean, rel=0.01)
    middle = found.need[len(found.xs) // 2, len(found.ys) // 2]
    assert middle == pytest.approx(-full * mean, rel=0.01)
    assert math.cos(k * found.most.x) * math.cos(k * found.most.y) < -0.95


def test_pressure_hardly_moves_when_its_lattice_is_halved() -> None:
    k = 2 * math.pi / 40.0
    deck = Formed(lambda x, y: np.sin(k * x + 0.3) * np.cos(0.7 * k * y))
    one, two = (
        bending_pressure(deck, SkinCover(50.0, 30.0), laminate(), parts).most.value
        for parts in (4, 8)
    )
    assert one == pytest.approx(two, rel=0.02)


@pytest.mark.parametrize("along_x", [True, False])
def test_load_on_a_line(along_x: bool) -> None:
    """Where the third derivative jumps by g, the plate needs D g N/mm, and no kink of curvature is
    told of."""
    g, skin = 3e-4, laminate()
    deck = Formed(lambda x, y: -g * np.abs(x if along_x else y) ** 3 / 12.0)
    found = bending_pressure(deck, SkinCover(30.0, 30.0), skin)
    assert found.line is not None and not found.line.is_moment
    assert found.line.load.value == pytest.approx(skin.stiffness * g, rel=0.02)
    assert abs(found.line.load.x if along_x else found.line.load.y) < 1e-9


def test_jump_of_curvature_is_no_load_on_a_line() -> None:
    """Its load over half the length is four times as much: told as a moment, not as N/mm that hang
    on the length."""
    deck = Formed(lambda x, y: 0.005 * np.maximum(x, 0.0) ** 2)
    found = bending_pressure(deck, SkinCover(30.0, 30.0), laminate())
    assert found.line is not None and found.line.is_moment


def disc(radius: float, k: float, step: float) -> Any:
    return stretch(
        parabola(k, k),
        SkinCover(radius, radius, Point(0, 0).buffer(radius, quad_segs=256)),
        laminate(),
        step,
    )


def test_membrane_of_a_disc_with_a_free_edge() -> None:
    """s_rr = E K (a² - r²) / 16, s_tt = E K (a² - 3 r²) / 16 (derived from compatibility, no source
    opened).

    A round edge is a staircase of nodes: the error falls with the step, and the rim's strain is
    known to a tenth.
    """
    a, radius = 125.0, 2000.0
    big = 1.0 / radius**2
    errors = []
    for step in (5.0, 2.5, 1.25):
        found = disc(a, 1.0 / radius, step)
        middle = len(found.xs) // 2
        r = np.abs(found.xs)
        near, scale = r < 0.9 * a, 20000 * big * a**2 / 16
        off = (
            found.sxx[:, middle] - scale * (1 - (r / a) ** 2),
            found.syy[:, middle] - scale * (1 - 3 * (r / a) ** 2),
        )
        errors.append(max(np.abs(one[near]).max() for one in off) / scale)
        assert found.compression.min() == pytest.approx(-big * a**2 / 8, rel=0.1)
    assert errors[0] < 0.06 and errors[1] < 0.04 and errors[2] < 0.025
    assert found.tension[middle, middle] == pytest.approx(0.7 * big * a**2 / 16, rel=0.01)


def test_membrane_of_a_cylinder_is_nothing() -> None:
    """It rolls up flat; a slanted one as well."""
    for deck in (parabola(0.0, 0.003), parabola(0.001, 0.001, 0.001)):
        found = stretch(deck, SkinCover(200.0, 80.0), laminate(), 10.0)
        assert np.abs(found.tension).max() < 1e-12 and np.abs(found.compression).max() < 1e-12


def test_membrane_of_a_long_strip() -> None:
    """eps = K (b²/6 - y²/2) far from the ends (derived from compatibility, no source opened)."""
    b, kx, ky = 125.0, 1 / 8000, 1 / 2000
    found = stretch(parabola(kx, ky), SkinCover(1000.0, b), laminate(), 5.0)
    middle = len(found.xs) // 2
    strain = (found.sxx[middle] - 0.3 * found.syy[middle]) / 20000
    np.testing.assert_allclose(
        strain, kx * ky * (b**2 / 6 - found.ys**2 / 2), atol=0.01 * kx * ky * b**2
    )


def test_saddle_and_bowl_are_opposite() -> None:
    """The sign of K decides where it is pressed together: a bowl at its edge, a saddle in its
    middle."""
    bowl = stretch(parabola(1e-3, 1e-3), SkinCover(100.0, 100.0), laminate(), 5.0)
    saddle = stretch(parabola(1e-3, -1e-3), SkinCover(100.0, 100.0), laminate(), 5.0)
    np.testing.assert_allclose(bowl.sxx, -saddle.sxx, atol=1e-9)
    i, _ = np.unravel_index(np.argmin(bowl.compression), bowl.compression.shape)
    rim = {0, len(bowl.xs) - 1}
    j = int(np.argmin(bowl.compression) % len(bowl.ys))
    assert i in rim or j in rim
    c = len(saddle.xs) // 2
    assert saddle.compression[c, c] < 0 < bowl.compression[c, c]


def test_edge_of_a_rectangle_pulls_on_nothing() -> None:
    """A free edge bears no stress across it and no shear along it."""
    found = stretch(parabola(1e-3, 1.3e-3), SkinCover(150.0, 60.0), laminate(), 5.0)
    scale = np.abs(found.syy).max()
    for across, shear in ((found.sxx[0], found.sxy[0]), (found.syy[:, -1], found.sxy[:, -1])):
        assert np.abs(across).max() < 1e-9 * scale and np.abs(shear).max() < 1e-9 * scale


def test_clamped_finds_a_polynomial_plate() -> None:
    """w = (x² - 1)² (y² - 1)² is a clamped plate; its load is known, the error falls with the
    square of the step."""
    errors = []
    for n in (20, 40):
        x, h = np.linspace(-1, 1, n + 1), 2.0 / n
        p, p2, p4 = (x**2 - 1) ** 2, 12 * x**2 - 4, 24.0 + 0 * x
        inside = np.zeros((n + 1, n + 1), dtype=bool)
        inside[1:-1, 1:-1] = True
        load = np.outer(p4, p) + 2 * np.outer(p2, p2) + np.outer(p, p4)
        errors.append(np.abs(clamped(inside, h, h, load) - np.outer(p, p)).max())
    assert errors[1] < 0.3 * errors[0] and errors[1] < 0.005


@pytest.mark.parametrize("rows", [24, 25])
def test_a_load_alike_on_both_sides_bends_as_the_difference_of_two_that_are_not(rows: int) -> None:
    """Half of a mirrored plate is solved for. The equation is linear, so even must be what the load
    even + odd does, less what odd alone does; neither of these is folded. With a row of nodes in
    the middle, and without."""
    x, y = np.meshgrid(np.linspace(-1, 1, 40), np.linspace(-1, 1, rows), indexing="ij")
    inside = (x / 0.9) ** 2 + (y / 0.8) ** 2 < 1.0
    even, odd = 1.0 + 0.3 * x + y**2, y * (1.0 + x) + 0.2
    both, less = (clamped(inside, 0.05, 0.08, load) for load in (even + odd, odd))
    found = clamped(inside, 0.05, 0.08, even)
    assert np.abs(found).max() > 1e-3
    np.testing.assert_allclose(found, both - less, atol=1e-9 * np.abs(both).max())
    assert np.abs(both - both[:, ::-1]).max() > 0.01 * np.abs(both).max()


@pytest.mark.parametrize("sizes", [(31, 22), (22, 31), (19, 40)])
def test_a_clamped_plate_answers_the_formula_at_every_node(sizes: tuple[int, int]) -> None:
    """The 13-point formula (Southwell, Relaxation Methods in Theoretical Physics, 1946; from
    memory) written out node by node, and solved by scipy: a plate of two parts with a hole, a load
    on one side, lines along X or along Y."""
    from scipy.sparse import lil_array
    from scipy.sparse.linalg import spsolve

    n, m = sizes
    hx, hy = 0.05, 0.08
    x, y = np.meshgrid(np.linspace(-1, 1, n), np.linspace(-1, 1, m), indexing="ij")
    inside = (np.abs(x) < 0.95) & (np.abs(y) < 0.95) & (np.hypot(x - 0.3, y) > 0.3)
    inside &= np.abs(x + 0.5) > 0.08
    load = 1.0 + 0.4 * x + (y > 0.2)
    number = {tuple(node): k for k, node in enumerate(np.argwhere(inside))}
    formula = {(0, 0): 6 / hx**4 + 6 / hy**4 + 8 / (hx * hy) ** 2}
    for s in (-1, 1):
        formula[s, 0] = -4 / hx**4 - 4 / (hx * hy) ** 2
        formula[0, s] = -4 / hy**4 - 4 / (hx * hy) ** 2
        formula[2 * s, 0], formula[0, 2 * s] = 1 / hx**4, 1 / hy**4
        formula[s, 1] = formula[s, -1] = 2 / (hx * hy) ** 2
    matrix = lil_array((len(number), len(number)))
    for (i, j), k in number.items():
        for (a, b), weight in formula.items():
            # two steps away and over the edge: as far inside again, which is the node itself
            over = max(abs(a), abs(b)) == 2 and (i + a // 2, j + b // 2) not in number
            at = (i, j) if over else (i + a, j + b)
            if at in number:
                matrix[k, number[at]] += weight
    found = spsolve(matrix.tocsr(), load[inside])
    w = clamped(inside, hx, hy, load)
    assert np.abs(found).max() > 1e-4 and not w[~inside].any()
    np.testing.assert_allclose(w[inside], found, atol=1e-9 * np.abs(found).max())


def test_grain_of_a_grid_does_not_bend_a_skin() -> None:
    """Waves of 2 mm and 0.003 mm deep, R 34 mm in their hollows, on a crown of R 400: the skin is
    bent by the crown."""
    crown = parabola(-1 / 400, 0.0)
    rough = Formed(
        crown.h,
        crown.first,
        lambda x, y: (
            -1 / 400 + 0.03 * np.cos(math.pi * x) * np.cos(math.pi * y),
            0.0 * x,
            0.0 * x,
        ),
    )
    assert bend(rough, SkinCover(30.0, 30.0), laminate()).radius == pytest.approx(400.0, rel=0.02)
    assert bend(rough, SkinCover(30.0, 30.0), laminate(), over=0.0).radius < 40
