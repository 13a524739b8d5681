"""How the deck bends a skin: principal curvatures, bending strain, steepest slope, jumps of curvature.

Curvatures are those of the surface z = h(x, y) itself, 1/mm, positive where it is hollow seen from above: eigenvalues
of the shape operator, from slopes and second derivatives on a lattice of about 1 mm. The outer fibre of a skin of
thickness t bent to the curvature k is strained by t k / 2. A *jump* is a change of h_xx + h_yy within 2 mm beyond what
it changes by itself on either side: across a line without a kink only the curvature over the line jumps, so the jump
of the sum is the jump of that one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.skin.terms import Cover, Laminate, Place, Surface, largest

__all__ = ["Bending", "bend"]

Floats = NDArray[np.float64]

_STEP = 1.0


@dataclass(frozen=True, slots=True)
class Bending:
    """`strain` is the largest share, `hollow` whether the deck is hollow there, `angle` the direction bent, degrees
    from X towards Y; `along_x` and `across_y` the largest strains in those directions; `steepest` a tangent; `jump`
    1/mm, its place the middle of the step, `jump_sides` h_xx + h_yy before and after it. `strains` (n, m) lie on `xs`
    by `ys`, 0 off the skin."""

    strain: Place
    hollow: bool
    angle: float
    along_x: Place
    across_y: Place
    steepest: Place
    jump: Place
    jump_sides: tuple[float, float]
    thickness: float
    xs: Floats
    ys: Floats
    strains: Floats

    @property
    def radius(self) -> float:
        """The least radius, mm; infinite on a level deck."""
        return self.thickness / (2.0 * self.strain.value) if self.strain.value > 0.0 else math.inf


def bend(deck: Surface, cover: Cover, skin: Laminate, step: float = _STEP) -> Bending:
    """How `deck` bends `skin` over `cover`."""
    xs, ys = cover.lattice(step)
    inside = cover.holds(xs, ys)
    x, y = np.meshgrid(xs, ys, indexing="ij")
    hx, hy = deck.gradient(x, y)
    hxx, hxy, hyy = deck.hessian(x, y)
    half = skin.thickness / 2.0
    one, two, kx, ky = _curvatures(hx, hy, hxx, hxy, hyy)
    kappa = np.where(np.abs(one) >= np.abs(two), one, two)
    strains = half * np.abs(kappa) * inside
    strain = largest(strains, xs, ys)
    i, j = int(np.argmin(np.abs(xs - strain.x))), int(np.argmin(np.abs(ys - strain.y)))
    laplacian = np.where(inside, hxx + hyy, np.nan)
    jump, sides = _jump(laplacian, xs, ys)
    return Bending(
        strain=strain,
        hollow=bool(kappa[i, j] > 0.0),
        angle=_angle(hxx[i, j], hxy[i, j], hyy[i, j], bool(kappa[i, j] > 0.0)),
        along_x=largest(half * np.abs(kx) * inside, xs, ys),
        across_y=largest(half * np.abs(ky) * inside, xs, ys),
        steepest=largest(np.hypot(hx, hy) * inside, xs, ys),
        jump=jump,
        jump_sides=sides,
        thickness=skin.thickness,
        xs=xs,
        ys=ys,
        strains=strains,
    )


def _curvatures(hx: Floats, hy: Floats, hxx: Floats, hxy: Floats, hyy: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Both principal curvatures, and the normal curvatures along X and across Y (any textbook of surfaces)."""
    w = np.sqrt(1.0 + hx**2 + hy**2)
    mean = ((1.0 + hy**2) * hxx - 2.0 * hx * hy * hxy + (1.0 + hx**2) * hyy) / (2.0 * w**3)
    gauss = (hxx * hyy - hxy**2) / w**4
    apart = np.sqrt(np.maximum(mean**2 - gauss, 0.0))
    return mean + apart, mean - apart, hxx / ((1.0 + hx**2) * w), hyy / ((1.0 + hy**2) * w)


def _angle(hxx: float, hxy: float, hyy: float, hollow: bool) -> float:
    """Direction of the larger (hollow) or smaller curvature in plan, -90 < degrees <= 90."""
    angle = 0.5 * math.degrees(math.atan2(2.0 * hxy, hxx - hyy)) + (0.0 if hollow else 90.0)
    return round(angle - 180.0 if angle > 90.0 else angle, 1) + 0.0


def _jump(laplacian: Floats, xs: Floats, ys: Floats) -> tuple[Place, tuple[float, float]]:
    """The largest jump, and the mean curvature on either side of it."""
    found: list[tuple[Place, tuple[float, float]]] = []
    for axis, nodes in ((0, xs), (1, ys)):
        if len(nodes) < 7:
            continue
        a = np.moveaxis(laplacian, axis, 0)
        jump = (a[4:-2] - a[2:-4]) - 0.5 * (a[6:] - a[4:-2] + a[2:-4] - a[:-6])
        jump = np.moveaxis(np.abs(np.nan_to_num(jump)), 0, axis)
        places = (xs[3:-3], ys) if axis == 0 else (xs, ys[3:-3])
        most = largest(jump, *places)
        i, j = int(np.argmin(np.abs(xs - most.x))), int(np.argmin(np.abs(ys - most.y)))
        before, after = (a[i - 1, j], a[i + 1, j]) if axis == 0 else (a[j - 1, i], a[j + 1, i])
        found.append((most, (float(before), float(after))))
    return max(found, key=lambda one: round(one[0].value, 12), default=(Place(0.0, 0.0, 0.0), (0.0, 0.0)))
