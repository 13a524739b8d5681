"""Thin-plate smoothing of scattered figures, with its standard deviation, in closed form.

f(x, y) = plane + sum of c_j r_j² log r_j over knots j, with c orthogonal to all planes over the
knots. One number lambda weighs the bending energy against the residuals. Read as a mixed model, the
plane is a fixed effect and the bending a random one, and lambda is the ratio of noise variance to
bending variance; it is found by restricted maximum likelihood (REML) on a fixed ladder of values,
refined once. After one singular value decomposition every lambda costs a sum of n terms.
Coordinates are shifted and scaled inside, mm outside. With many places, values and half-widths are
worked out once on a grid and interpolated: values by cubic splines, half-widths linearly.
Source: thin-plate smoothing as a mixed model (Wahba, Spline Models for Observational Data, 1990,
from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_KNOTS", "ThinPlate", "bent"]

Floats = NDArray[np.float64]

# Every place is a knot up to this number. A value costs one kernel for each knot, the decomposition
# grows with their cube: with 5000 places as knots the kernels among them alone would be 200 MB.
MOST_KNOTS = 160
# nodes of the grid along x and y
_NODES = (97, 65)
_BEYOND = 0.12
"""The grid reaches past the places by this share of their extent; values farther out are computed
directly."""

# Up to so many places a value is a short row of kernels and is computed directly.
_FEW = 40
# places computed at once: bounds the matrix of kernels to some 5 MB at 160 knots
_CHUNK = 4096


@dataclass(frozen=True, slots=True)
class _Bending:
    """The basis: `knots` (k, 2) in scaled coordinates, and `to_units`, the matrix from kernel
    columns to columns whose coefficients are independent with unit variance under the prior.

    Scaled coordinates are (place - `middle`) / `scale`, mm outside.
    """

    middle: Floats
    scale: float
    knots: Floats
    to_units: Floats

    def columns(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return the columns of the plane (n, 3) and of the bending (n, k) at places in mm."""
        row = self.row(x, y)
        return row[:, :3], row[:, 3:] @ self.to_units

    def row(self, x: Floats, y: Floats) -> Floats:
        """Return (n, 3 + knots): the columns of the plane and the kernels at places in mm."""
        places = (np.stack([x, y], axis=1) - self.middle) / self.scale
        return np.hstack([_terms(places), _kernel(places, self.knots)])


@dataclass(frozen=True, slots=True)
class _Surface:
    """Gives value and half-width at any place, as sums over the terms of the plane and the kernels.

    Both use the kernels directly: the map to unit-variance columns was multiplied into `weights`
    and `root` once, and the root made square, so that a place costs one row of kernels instead of
    three products. `scale` is quantile times sigma, `own` as in `ThinPlate`.
    """

    basis: _Bending
    weights: Floats
    """(3 + knots,)"""
    root: Floats
    """(3 + knots, m): variance / sigma² at a place is the squared length of its row times this"""
    scale: float
    own: float

    def values(self, x: Floats, y: Floats) -> Floats:
        """Return z at places (n,), mm."""
        return self._each(x, y, lambda row: row @ self.weights)

    def halves(self, x: Floats, y: Floats) -> Floats:
        """Return the half-widths at places (n,), mm."""
        return self._each(
            x, y, lambda row: self.scale * np.sqrt(self.own + ((row @ self.root) ** 2).sum(axis=1))
        )

    def _each(self, x: Floats, y: Floats, of: Callable[[Floats], Floats]) -> Floats:
        out = np.empty(len(x))
        for start in range(0, len(x), _CHUNK):
            some = slice(start, start + _CHUNK)
            out[some] = of(self.basis.row(x[some], y[some]))
        return out


@dataclass(frozen=True, slots=True)
class ThinPlate:
    """A fitted plate: `fitted` (mm) and `leverage` (n,) at the places, `sigma` (mm) the standard
    deviation of one figure, `quantile` of Student's t for its interval."""

    fitted: Floats
    leverage: Floats
    sigma: float
    quantile: float
    own: float
    """Share of sigma² that is roughness of the wood itself, beyond the gauge's error"""
    _surface: _Surface
    _grid: tuple[Floats, Floats, Any, Any] | None
    """None where the places are so few that each value is computed directly"""

    def value(self, x: Floats, y: Floats) -> Floats:
        """Return z at places (n,), mm."""
        return self._looked_up(x, y, 0)

    def half_width(self, x: Floats, y: Floats) -> Floats:
        """Return the half-width at places (n,), mm: of the surface and of the wood's roughness."""
        return self._looked_up(x, y, 1)

    def _looked_up(self, x: Floats, y: Floats, which: int) -> Floats:
        exact = self._surface.halves if which else self._surface.values
        if self._grid is None:
            return exact(x, y)
        xs, ys, *splines = self._grid
        inside = (x >= xs[0]) & (x <= xs[-1]) & (y >= ys[0]) & (y <= ys[-1])
        out = np.empty(len(x))
        out[inside] = splines[which].ev(x[inside], y[inside])
        if not inside.all():
            out[~inside] = exact(x[~inside], y[~inside])
        return out

    @property
    def scale(self) -> float:
        """Quantile times sigma, mm: the half-width of one figure about a surface that is known."""
        return self.quantile * self.sigma


def bent(xs: Floats, ys: Floats, zs: Floats, least_sigma: float, confidence: float) -> ThinPlate:
    """Fit the plate through figures `zs` (n,) at places `xs`, `ys` (n,) that are not on one line.

    `least_sigma` (mm) is the least noise to assume in a figure, `confidence` the level of the
    interval, 0 to 1.
    """
    from scipy.special import stdtrit

    basis = _basis(xs, ys)
    plane, bends = basis.columns(xs, ys)
    # The plane is free, so take it out of the bending columns (QR) and diagonalise what is left
    # (SVD): in these coordinates smoothing with any lambda is one factor for each singular value.
    q, r = np.linalg.qr(plane)
    inner, sizes, turned = np.linalg.svd(bends - q @ (q.T @ bends), full_matrices=False)
    # Bends that the places cannot tell from a plane or from each other come out as noise of the
    # decomposition, 1e-16 of the largest; 1e-9 parts them from it. 1e-30 guards all zeros.
    keep = sizes > 1e-9 * max(float(sizes[0]), 1e-30)
    inner, sizes, turned = inner[:, keep], sizes[keep], turned[keep]
    on_plane, on_bends = q.T @ zs, inner.T @ zs
    # residual sum of squares that no bending can explain (more places than knots)
    beyond = max(float(zs @ zs - on_plane @ on_plane - on_bends @ on_bends), 0.0)
    weight = _weight(sizes, on_bends, beyond, len(zs) - plane.shape[1], least_sigma)
    kept = sizes**2 / (sizes**2 + weight)
    freedom = max(len(zs) - plane.shape[1] - float(kept.sum()), 1.0)
    rough = beyond + float((((1 - kept) * on_bends) ** 2).sum())
    # 1e-9: figures that fit without rest still get a spread to divide by.
    sigma = max(np.sqrt(rough / freedom), least_sigma, 1e-9)
    # back to coefficients of plane and bending; the plane gives up what the bending holds of one
    shares = turned.T @ (sizes / (sizes**2 + weight) * on_bends)
    back = np.linalg.solve(r, q.T @ bends)
    coefficients = np.concatenate([np.linalg.solve(r, on_plane) - back @ shares, shares])
    root = _root(r, back, sizes, turned, weight)
    quantile = float(stdtrit(freedom, (1 + confidence) / 2))
    own = 1.0 - (least_sigma / sigma) ** 2
    surface = _surface(basis, coefficients, root, quantile * float(sigma), own)
    return ThinPlate(
        fitted=q @ on_plane + inner @ (kept * on_bends),
        leverage=(q**2).sum(axis=1) + (inner**2) @ kept,
        sigma=float(sigma),
        quantile=quantile,
        own=own,
        _surface=surface,
        _grid=None if len(xs) <= _FEW else _on_grid(surface, xs, ys),
    )


def _kernel(places: Floats, knots: Floats) -> Floats:
    """Return (n, k): r² log r between all places and knots, 0 where they coincide."""
    # r² log r = 0.5 r² log r², without a square root; in place, since this is the largest array.
    # 1e-300 keeps log finite at r = 0, where the product is 0 all the same.
    squared = (places[:, None, 0] - knots[:, 0]) ** 2
    squared += (places[:, None, 1] - knots[:, 1]) ** 2
    logs = np.log(np.maximum(squared, 1e-300))
    squared *= 0.5
    squared *= logs
    return np.asarray(squared)


def _terms(places: Floats) -> Floats:
    """Return the columns (n, 3) of a plane at scaled places (n, 2)."""
    return np.column_stack([np.ones(len(places)), places])


def _basis(xs: Floats, ys: Floats) -> _Bending:
    places = np.stack([xs, ys], axis=1)
    middle = places.mean(axis=0)
    scale = float(np.abs(places - middle).max())
    places = (places - middle) / scale
    knots = _spread_out(places)
    terms = _terms(knots)
    # Coefficients orthogonal to all planes over the knots: on these the kernel is positive
    # definite, its quadratic form the bending energy. Dividing by the root of the eigenvalues gives
    # all coefficients the same prior variance. Eigenvalues below 1e-10 of the largest are rounding
    # noise, which the division would blow up; they come from knots that nearly coincide.
    free = np.linalg.qr(terms, mode="complete")[0][:, terms.shape[1] :]
    energy, turned = np.linalg.eigh(free.T @ _kernel(knots, knots) @ free)
    keep = energy > 1e-10 * float(energy.max())
    return _Bending(middle, scale, knots, free @ (turned[:, keep] / np.sqrt(energy[keep])))


def _spread_out(places: Floats) -> Floats:
    """Return at most `MOST_KNOTS` of the places (n, 2), each as far as possible from those before
    it."""
    if len(places) <= MOST_KNOTS:
        return places
    # Farthest-point sampling, from the place farthest out. Rounded, so that float noise does not
    # choose between places of a regular grid.
    chosen = [int(np.argmax(np.round((places**2).sum(axis=1), 9)))]
    off = ((places - places[chosen[0]]) ** 2).sum(axis=1)
    while len(chosen) < MOST_KNOTS:
        chosen.append(int(np.argmax(np.round(off, 9))))
        off = np.minimum(off, ((places - places[chosen[-1]]) ** 2).sum(axis=1))
    return places[chosen]


def _weight(
    sizes: Floats, on_bends: Floats, beyond: float, freedom: int, least_sigma: float
) -> float:
    """Return lambda by restricted maximum likelihood; `freedom` is what the plane leaves."""

    def cost(weights: Floats) -> Floats:
        # Minus twice the log likelihood but for a constant, with the noise at its best value.
        share = weights[:, None] / (sizes**2 + weights[:, None])
        rough = beyond + (share * on_bends**2).sum(axis=1)
        variance = np.maximum(rough / freedom, max(least_sigma, 1e-9) ** 2)
        return np.asarray(freedom * np.log(variance) + rough / variance - np.log(share).sum(axis=1))

    # From 1e-8 (the bending follows every figure) to 1e6 (no bending) of the largest singular value
    # squared, eight values a decade; then 33 between the neighbours of the best. A fixed ladder
    # instead of an optimiser, so that the result does not depend on the optimiser's path.
    top = float(sizes[0]) ** 2
    ladder = top * np.logspace(-8.0, 6.0, 113)
    best = int(np.argmin(np.round(cost(ladder), 9)))
    low, high = ladder[max(best - 1, 0)], ladder[min(best + 1, len(ladder) - 1)]
    fine = np.geomspace(low, high, 33)
    return float(fine[int(np.argmin(np.round(cost(fine), 9)))])


def _root(r: Floats, back: Floats, sizes: Floats, turned: Floats, weight: float) -> Floats:
    """Return a square root of the coefficients' covariance, over sigma²: (3 + k, m).

    Bending that the places see has variance 1 / (d² + lambda), d its singular value; bending that
    they do not see keeps the prior's, 1 / lambda.
    """
    count = turned.shape[1]
    seen = turned.T * (1.0 / np.sqrt(sizes**2 + weight))
    unseen = np.eye(count) - turned.T @ turned
    bends = np.hstack([seen, unseen / np.sqrt(weight)])
    trend = np.hstack([np.linalg.inv(r), -back @ bends])
    return np.vstack([trend, np.hstack([np.zeros((count, len(r))), bends])])


def _surface(
    basis: _Bending, coefficients: Floats, root: Floats, scale: float, own: float
) -> _Surface:
    """Return the surface from coefficients (3 + k,) and a root of their covariance (3 + k, m)."""
    # Any root with the same product gives the same variance: the QR of the transpose gives one with
    # as few columns as rows.
    square = np.asarray(np.linalg.qr(root.T, mode="r")).T
    turned = np.vstack([square[:3], basis.to_units @ square[3:]])
    weights = np.concatenate([coefficients[:3], basis.to_units @ coefficients[3:]])
    return _Surface(basis, weights, turned, scale, own)


def _on_grid(surface: _Surface, x: Floats, y: Floats) -> tuple[Floats, Floats, Any, Any]:
    from scipy.interpolate import RectBivariateSpline

    lines = []
    for values, count in ((x, _NODES[0]), (y, _NODES[1])):
        beyond = _BEYOND * float(np.ptp(values)) + 1.0
        lines.append(np.linspace(values.min() - beyond, values.max() + beyond, count))
    xs, ys = lines
    gx, gy = (part.ravel() for part in np.meshgrid(xs, ys, indexing="ij"))
    values, halves = (
        part.reshape(len(xs), len(ys)) for part in (surface.values(gx, gy), surface.halves(gx, gy))
    )
    return (
        xs,
        ys,
        RectBivariateSpline(xs, ys, values),
        RectBivariateSpline(xs, ys, halves, kx=1, ky=1),
    )
