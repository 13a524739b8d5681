"""What double curvature does to a skin: the strain in its plane, by the stress function of a
shallow shell.

A flat skin cannot lie on ground of Gaussian curvature K without stretching somewhere and being
compressed elsewhere. With the stress function phi (stresses s_xx = phi_yy, s_yy = phi_xx, s_xy =
-phi_xy, N/mm²) compatibility asks for

    ∇⁴phi = -E K      (Föppl 1907, von Kármán 1910; small slopes; K = h_xx h_yy - h_xy²)

and an edge on which nothing pulls asks for phi = 0 and dphi/dn = 0. That is the equation of a
clamped plate (`corepath.skin.clamped_plate`), solved on a lattice. K is the mean over each cell.
Nodes that are not *inside* have phi = 0; where the formula reaches over the edge it takes the value
of the node that lies as far inside (dphi/dn = 0).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corepath.board.deck.surface import DeckSurface
from corepath.skin.clamped_plate import clamped
from corepath.skin.terms import Laminate, SkinCover

__all__ = ["Membrane", "stresses", "stretch"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

_NODES = 27_000  # about so many on the whole lattice: bounds time and memory of the solver
_LEAST_STEP = 2.0  # mm
_SAMPLES = 4  # places along X and Y in each cell for its mean


@dataclass(frozen=True, slots=True)
class Membrane:
    """What double curvature does to a skin, on `xs` (n,) by `ys` (m,), mm, all (n, m) and 0 where
    not `there`: stresses `sxx`, `syy`, `sxy` N/mm², `tension` and `compression` the largest and the
    least principal strain (compression negative where the skin is pressed together), `pulls` the
    pressure, N/mm², with which the stressed skin pushes off the deck (negative: it presses on by
    itself)."""

    xs: Floats
    ys: Floats
    there: Mask
    sxx: Floats
    syy: Floats
    sxy: Floats
    tension: Floats
    compression: Floats
    pulls: Floats


def stretch(
    deck: DeckSurface, cover: SkinCover, skin: Laminate, step: float | None = None
) -> Membrane:
    """Returns the membrane stresses and strains of `skin` on `deck`, its edge free all round
    `cover`, on a lattice of about `step` mm; from the size of the cover if None."""
    if step is None:
        step = max((4.0 * cover.half_x * cover.half_y / _NODES) ** 0.5, _LEAST_STEP)
    xs, ys = cover.lattice(step)
    inside = cover.holds(xs, ys)
    # the rim of the lattice is the skin's edge, where phi is 0, and `clamped` needs it free
    inside[[0, -1], :] = inside[:, [0, -1]] = False
    hxx, hxy, hyy, gauss = _cell_means(deck, xs, ys)
    phi = clamped(inside, float(xs[1] - xs[0]), float(ys[1] - ys[0]), -skin.modulus * gauss)
    there, sxx, syy, sxy = stresses(phi, inside, float(xs[1] - xs[0]), float(ys[1] - ys[0]))
    if cover.edge is not None:
        # A round edge is a staircase of nodes, and stresses on it are those of its steps. The
        # outermost nodes inside are taken in its place.
        there = inside
        sxx, syy, sxy = (np.where(inside, part, 0.0) for part in (sxx, syy, sxy))
    mean, apart = 0.5 * (sxx + syy), np.hypot(0.5 * (sxx - syy), sxy)
    nu, modulus = skin.poisson, skin.modulus
    # principal stresses mean ± apart (Mohr's circle), strains by Hooke's law in the plane
    tension = ((mean + apart) - nu * (mean - apart)) / modulus
    compression = ((mean - apart) - nu * (mean + apart)) / modulus
    pulls = skin.thickness * (sxx * hxx + syy * hyy + 2.0 * sxy * hxy)
    return Membrane(xs, ys, there, sxx, syy, sxy, tension, compression, pulls)


def _cell_means(deck: DeckSurface, xs: Floats, ys: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Returns means over the cell of each node (n, m) of h_xx, h_xy, h_yy (1/mm) and of K (1/mm²),
    from 4 by 4 places. A single value would miss or overrate a crease narrower than the cell."""
    shares = (np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5
    fine_x, fine_y = (
        (nodes[:, None] + shares * (nodes[1] - nodes[0])).ravel() for nodes in (xs, ys)
    )
    hxx, hxy, hyy = (
        deck.on_lattice(fine_x, fine_y, *orders) for orders in ((2, 0), (1, 1), (0, 2))
    )

    def mean(values: Floats) -> Floats:
        # summed along X first, in this order: numpy's own order hangs on how the values lie
        cells = values.reshape(len(xs), _SAMPLES, len(ys), _SAMPLES)
        rows = reduce(np.add, (cells[:, k] for k in range(_SAMPLES)))
        total: Floats = reduce(np.add, (rows[..., k] for k in range(_SAMPLES)))
        return total / _SAMPLES**2

    return mean(hxx), mean(hxy), mean(hyy), mean(hxx * hyy - hxy**2)


def stresses(
    phi: Floats, inside: Mask, hx: float, hy: float
) -> tuple[Mask, Floats, Floats, Floats]:
    """Returns where there is a stress (inside and on the rim), and s_xx, s_yy, s_xy there, all
    (n, m), from the stress function `phi` (n, m).

    On the rim, where phi and its slope are 0, the value that lies over the edge is that of the node
    opposite.
    """
    value, held = np.pad(phi, 1), np.pad(inside, 1)

    def pair(a: int, b: int) -> tuple[Floats, Floats]:
        """phi at (i + a, j + b) and at (i - a, j - b)."""
        one, two = _shifted(value, a, b), _shifted(value, -a, -b)
        here, there = _shifted(held, a, b), _shifted(held, -a, -b)
        return np.where(here | inside, one, two), np.where(there | inside, two, one)

    east, west = pair(1, 0)
    north, south = pair(0, 1)
    ne, sw = pair(1, 1)
    nw, se = pair(-1, 1)
    near = inside.copy()
    for a in (-1, 0, 1):
        for b in (-1, 0, 1):
            near |= _shifted(held, a, b)
    syy = np.where(near, (east - 2.0 * phi + west) / hx**2, 0.0)
    sxx = np.where(near, (north - 2.0 * phi + south) / hy**2, 0.0)
    # along a straight piece of rim there is no shear; on a slanted one both neighbours are inside
    slanted = (_shifted(held, 1, 0) | _shifted(held, -1, 0)) & (
        _shifted(held, 0, 1) | _shifted(held, 0, -1)
    )
    sxy = np.where(inside | slanted, -(ne + sw - nw - se) / (4.0 * hx * hy), 0.0)
    return near, sxx, syy, sxy


def _shifted(padded: NDArray[Any], a: int, b: int) -> NDArray[Any]:
    return padded[1 + a : padded.shape[0] - 1 + a, 1 + b : padded.shape[1] - 1 + b]
