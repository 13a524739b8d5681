"""How the deck bends a skin: principal curvatures, bending strain, steepest slope, jumps of
curvature.

Curvatures are those of the surface z = h(x, y) itself, 1/mm, positive where it is hollow seen from
above: eigenvalues of the shape operator, from slopes and second derivatives on a lattice of about 1
mm. The outer fibre of a skin of thickness t bent to the curvature k is strained by t k / 2. Second
derivatives are means over 5 thicknesses: a plate does not follow what is finer, such as the grain
of a grid where a crease was rounded (common practice, no source).

A *jump* is a change of h_xx + h_yy beyond what it changes by itself on either side, between places
so far apart that the mean does not blur it: across a line without a kink only the curvature over
the line jumps, so the jump of the sum is the jump of that one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.geometry.correlation import correlated
from corepath.skin.terms import Laminate, PlacedFigure, SkinCover, largest

__all__ = ["SkinBending", "bend"]

Floats = NDArray[np.float64]

_STEP = 1.0  # mm: the grain of the deck's grid
_THICKNESSES = 5.0
_LINES = 32  # lines of the lattice worked out at once: what belongs to them stays in the cache


@dataclass(frozen=True, slots=True)
class SkinBending:
    """How a deck bends a skin. `strain` is the largest share, `hollow` whether the deck is hollow
    there, `angle` the direction bent, degrees from X towards Y; `along_x` and `across_y` the
    largest strains in those directions; `steepest` a tangent; `jump` 1/mm, its place the middle of
    the step, `jump_sides` h_xx + h_yy before and after it, `jump_within` mm. `strains` (n, m) lie
    on `xs` by `ys`, 0 off the skin."""

    strain: PlacedFigure
    hollow: bool
    angle: float
    along_x: PlacedFigure
    across_y: PlacedFigure
    steepest: PlacedFigure
    jump: PlacedFigure
    jump_sides: tuple[float, float]
    jump_within: float
    thickness: float
    xs: Floats
    ys: Floats
    strains: Floats

    @property
    def radius(self) -> float:
        """The least radius, mm; infinite on a level deck."""
        return self.thickness / (2.0 * self.strain.value) if self.strain.value > 0.0 else math.inf


def bend(
    deck: DeckSurface,
    cover: SkinCover,
    skin: Laminate,
    step: float = _STEP,
    over: float | None = None,
) -> SkinBending:
    """Returns how `deck` bends `skin` over `cover`, on a lattice of about `step` mm; curvatures are
    means over the length `over` (mm), 5 thicknesses if None."""
    over = _THICKNESSES * skin.thickness if over is None else over
    xs, ys = cover.lattice(step)
    inside = cover.holds(xs, ys)
    hx, hy = deck.on_lattice(xs, ys, 1, 0), deck.on_lattice(xs, ys, 0, 1)
    steps = float(xs[1] - xs[0]), float(ys[1] - ys[0])
    hxx, hxy, hyy = (
        _mean(deck.on_lattice(xs, ys, *orders), over, steps) for orders in ((2, 0), (1, 1), (0, 2))
    )
    half = skin.thickness / 2.0
    one, two, kx, ky = _curvatures(hx, hy, hxx, hxy, hyy)
    kappa = np.where(np.abs(one) >= np.abs(two), one, two)
    strains = half * np.abs(kappa) * inside
    strain = largest(strains, xs, ys)
    i, j = int(np.argmin(np.abs(xs - strain.x))), int(np.argmin(np.abs(ys - strain.y)))
    # off the skin no change counts: NaN makes every difference that touches it NaN
    laplacian = np.where(inside, hxx + hyy, np.nan)
    apart = max(1, math.ceil(over / min(steps)))
    jump, sides = _jump(laplacian, xs, ys, apart)
    return SkinBending(
        strain=strain,
        hollow=bool(kappa[i, j] > 0.0),
        angle=_angle(hxx[i, j], hxy[i, j], hyy[i, j], bool(kappa[i, j] > 0.0)),
        along_x=largest(half * np.abs(kx) * inside, xs, ys),
        across_y=largest(half * np.abs(ky) * inside, xs, ys),
        steepest=largest(np.hypot(hx, hy) * inside, xs, ys),
        jump=jump,
        jump_sides=sides,
        jump_within=2.0 * apart * max(steps),
        thickness=skin.thickness,
        xs=xs,
        ys=ys,
        strains=strains,
    )


def _curvatures(
    hx: Floats, hy: Floats, hxx: Floats, hxy: Floats, hyy: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Both principal curvatures, and the normal curvatures along X and across Y, each (n, m)."""
    found = tuple(np.empty_like(hx) for _ in range(4))
    for first in range(0, len(hx), _LINES):
        part = slice(first, first + _LINES)
        some = _curvatures_of(hx[part], hy[part], hxx[part], hxy[part], hyy[part])
        for whole, values in zip(found, some, strict=True):
            whole[part] = values
    return found  # type: ignore[return-value]


def _curvatures_of(
    hx: Floats, hy: Floats, hxx: Floats, hxy: Floats, hyy: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """The same of some lines (any textbook of surfaces)."""
    w = np.sqrt(1.0 + hx**2 + hy**2)
    mean = ((1.0 + hy**2) * hxx - 2.0 * hx * hy * hxy + (1.0 + hx**2) * hyy) / (2.0 * w**3)
    gauss = (hxx * hyy - hxy**2) / w**4
    # where both curvatures are equal, rounding may leave the difference just below 0
    apart = np.sqrt(np.maximum(mean**2 - gauss, 0.0))
    return mean + apart, mean - apart, hxx / ((1.0 + hx**2) * w), hyy / ((1.0 + hy**2) * w)


def _angle(hxx: float, hxy: float, hyy: float, hollow: bool) -> float:
    """Direction of the larger (hollow) or smaller curvature in plan, -90 < degrees <= 90."""
    angle = 0.5 * math.degrees(math.atan2(2.0 * hxy, hxx - hyy)) + (0.0 if hollow else 90.0)
    return round(angle - 180.0 if angle > 90.0 else angle, 1) + 0.0


def _mean(values: Floats, over: float, steps: tuple[float, float]) -> Floats:
    """Means weighed by cubic B-splines of width 2 `over`, which spread as a plain mean over `over`
    does."""
    for axis, step in enumerate(steps):
        reach = math.ceil(over / step)
        if over <= step:
            continue
        u = np.abs(np.arange(-reach, reach + 1) * step / (over / 2.0))
        weights = np.where(
            u < 1.0, 2.0 / 3.0 - u**2 + u**3 / 2.0, np.clip(2.0 - u, 0.0, None) ** 3 / 6.0
        )
        values = correlated(values, weights / weights.sum(), axis, "reflect")
    return values


def _jump(
    laplacian: Floats, xs: Floats, ys: Floats, m: int
) -> tuple[PlacedFigure, tuple[float, float]]:
    """The largest jump between nodes 2 `m` apart, and h_xx + h_yy on either side of it."""
    found: list[tuple[PlacedFigure, tuple[float, float]]] = []
    for axis, nodes in ((0, xs), (1, ys)):
        # too short for a change and its two neighbours of the same length
        if len(nodes) < 6 * m + 1:
            continue
        a = np.moveaxis(laplacian, axis, 0)
        inner, outer = a[4 * m : -2 * m] - a[2 * m : -4 * m], a[6 * m :] - a[: -6 * m]
        # what it changes by itself: half of the changes over the same length on either side
        outer -= inner
        outer *= 0.5
        inner -= outer
        np.abs(inner, out=inner)
        inner[np.isnan(inner)] = 0.0
        jump = np.moveaxis(inner, 0, axis)
        places = (xs[3 * m : -3 * m], ys) if axis == 0 else (xs, ys[3 * m : -3 * m])
        most = largest(jump, *places)
        i, j = int(np.argmin(np.abs(xs - most.x))), int(np.argmin(np.abs(ys - most.y)))
        before, after = (a[i - m, j], a[i + m, j]) if axis == 0 else (a[j - m, i], a[j + m, i])
        found.append((most, (float(before), float(after))))
    return max(
        found,
        key=lambda one: round(one[0].value, 12),
        default=(PlacedFigure(0.0, 0.0, 0.0), (0.0, 0.0)),
    )
