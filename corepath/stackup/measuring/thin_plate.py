"""Thin-plate smoothing of scattered figures, with its standard deviation, in closed form.

f(x, y) = plane + sum of c_j r_j² log r_j over knots, c free of any plane. The energy is weighed by
one number lambda. As a mixed model, the plane is fixed and the bending a random effect, of which
lambda is the ratio of variances; it comes from restricted maximum likelihood on a fixed ladder of
values, refined once. After one singular value decomposition every lambda costs a sum of n terms.
Coordinates are shifted and scaled inside, mm outside. On a grid laid over the places once, values
are cubic and half-widths linear between nodes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_KNOTS", "ThinPlate", "bent"]

Floats = NDArray[np.float64]

MOST_KNOTS = 160
_NODES = (97, 65)
_BEYOND = 0.12
"""The grid reaches past the places by this share of their extent; what lies farther out is worked
out one by one."""

_FEW = 40
_CHUNK = 4096


@dataclass(frozen=True, slots=True)
class _Bending:
    """The basis: knots in scaled coordinates, and the map from kernel columns to independent
    unit-variance ones."""

    middle: Floats
    scale: float
    knots: Floats
    to_units: Floats

    def columns(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """The plane's columns (n, 3) and bending columns (n, k) at places in mm."""
        row = self.row(x, y)
        return row[:, :3], row[:, 3:] @ self.to_units

    def row(self, x: Floats, y: Floats) -> Floats:
        """(n, 3 + knots): the plane's columns and the kernels at places in mm."""
        places = (np.stack([x, y], axis=1) - self.middle) / self.scale
        return np.hstack([_terms(places), _kernel(places, self.knots)])


@dataclass(frozen=True, slots=True)
class _Surface:
    """Value and half-width at any place, as sums over the plane's terms and the kernels of the
    knots.

    Both take the kernels as they are: the map to unit-variance columns is folded into weights and
    root once, and the root is brought to a square one, so that a place costs one row of kernels
    instead of three products.
    """

    basis: _Bending
    weights: Floats
    """(3 + knots,)"""
    root: Floats
    """(3 + knots, m): variance over sigma² at a place is the square of its row times this"""
    scale: float
    own: float

    def values(self, x: Floats, y: Floats) -> Floats:
        """(n,) z at places, mm."""
        return self._each(x, y, lambda row: row @ self.weights)

    def halves(self, x: Floats, y: Floats) -> Floats:
        """(n,) half-widths at places, mm."""
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
    """A fitted plate: `fitted` and `leverage` (n,) at the places, `sigma` the standard deviation of
    one figure."""

    fitted: Floats
    leverage: Floats
    sigma: float
    quantile: float
    own: float
    """Share of sigma² that is the wood's own scatter, not the gauge's"""
    _surface: _Surface
    _grid: tuple[Floats, Floats, Any, Any] | None
    """None where the places are so few that each value is worked out on its own"""

    def value(self, x: Floats, y: Floats) -> Floats:
        """z at (n,) places, mm."""
        return self._looked_up(x, y, 0)

    def half_width(self, x: Floats, y: Floats) -> Floats:
        """Half-width of the wood's interval at (n,) places, mm: of the surface, and of scatter
        beyond the gauge."""
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
        """Quantile times sigma: the half-width where the surface itself were known."""
        return self.quantile * self.sigma


def bent(xs: Floats, ys: Floats, zs: Floats, least_sigma: float, confidence: float) -> ThinPlate:
    """The plate through figures `zs` at places that do not lie on a line; noise at least
    `least_sigma` (mm) each."""
    from scipy.stats import t as student

    basis = _basis(xs, ys)
    plane, bends = basis.columns(xs, ys)
    q, r = np.linalg.qr(plane)
    inner, sizes, turned = np.linalg.svd(bends - q @ (q.T @ bends), full_matrices=False)
    keep = sizes > 1e-9 * max(float(sizes[0]), 1e-30)
    inner, sizes, turned = inner[:, keep], sizes[keep], turned[keep]
    on_plane, on_bends = q.T @ zs, inner.T @ zs
    beyond = max(float(zs @ zs - on_plane @ on_plane - on_bends @ on_bends), 0.0)
    weight = _weight(sizes, on_bends, beyond, len(zs) - plane.shape[1], least_sigma)
    kept = sizes**2 / (sizes**2 + weight)
    freedom = max(len(zs) - plane.shape[1] - float(kept.sum()), 1.0)
    rough = beyond + float((((1 - kept) * on_bends) ** 2).sum())
    sigma = max(np.sqrt(rough / freedom), least_sigma, 1e-9)
    shares = turned.T @ (sizes / (sizes**2 + weight) * on_bends)
    back = np.linalg.solve(r, q.T @ bends)
    coefficients = np.concatenate([np.linalg.solve(r, on_plane) - back @ shares, shares])
    root = _root(r, back, sizes, turned, weight)
    quantile = float(student.ppf((1 + confidence) / 2, freedom))
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
    """r² log r between all pairs, 0 where they meet."""
    squared = (places[:, None, 0] - knots[:, 0]) ** 2
    squared += (places[:, None, 1] - knots[:, 1]) ** 2
    logs = np.log(np.maximum(squared, 1e-300))
    squared *= 0.5
    squared *= logs
    return np.asarray(squared)


def _terms(places: Floats) -> Floats:
    """Columns of a plane at scaled places (n, 2)."""
    return np.column_stack([np.ones(len(places)), places])


def _basis(xs: Floats, ys: Floats) -> _Bending:
    places = np.stack([xs, ys], axis=1)
    middle = places.mean(axis=0)
    scale = float(np.abs(places - middle).max())
    places = (places - middle) / scale
    knots = _spread_out(places)
    terms = _terms(knots)
    free = np.linalg.qr(terms, mode="complete")[0][:, terms.shape[1] :]
    energy, turned = np.linalg.eigh(free.T @ _kernel(knots, knots) @ free)
    keep = energy > 1e-10 * float(energy.max())
    return _Bending(middle, scale, knots, free @ (turned[:, keep] / np.sqrt(energy[keep])))


def _spread_out(places: Floats) -> Floats:
    """At most `MOST_KNOTS` of the places, each as far from those before it as can be."""
    if len(places) <= MOST_KNOTS:
        return places
    chosen = [int(np.argmax(np.round((places**2).sum(axis=1), 9)))]
    off = ((places - places[chosen[0]]) ** 2).sum(axis=1)
    while len(chosen) < MOST_KNOTS:
        chosen.append(int(np.argmax(np.round(off, 9))))
        off = np.minimum(off, ((places - places[chosen[-1]]) ** 2).sum(axis=1))
    return places[chosen]


def _weight(
    sizes: Floats, on_bends: Floats, beyond: float, freedom: int, least_sigma: float
) -> float:
    """lambda by restricted maximum likelihood, from nearly free bending to none; `freedom` is left
    by the trend."""

    def cost(weights: Floats) -> Floats:
        share = weights[:, None] / (sizes**2 + weights[:, None])
        rough = beyond + (share * on_bends**2).sum(axis=1)
        variance = np.maximum(rough / freedom, max(least_sigma, 1e-9) ** 2)
        return np.asarray(freedom * np.log(variance) + rough / variance - np.log(share).sum(axis=1))

    top = float(sizes[0]) ** 2
    ladder = top * np.logspace(-8.0, 6.0, 113)
    best = int(np.argmin(np.round(cost(ladder), 9)))
    low, high = ladder[max(best - 1, 0)], ladder[min(best + 1, len(ladder) - 1)]
    fine = np.geomspace(low, high, 33)
    return float(fine[int(np.argmin(np.round(cost(fine), 9)))])


def _root(r: Floats, back: Floats, sizes: Floats, turned: Floats, weight: float) -> Floats:
    """A root of the coefficients' covariance: of bending 1/(d² + lambda) where places see it, else
    1/lambda."""
    count = turned.shape[1]
    seen = turned.T * (1.0 / np.sqrt(sizes**2 + weight))
    unseen = np.eye(count) - turned.T @ turned
    bends = np.hstack([seen, unseen / np.sqrt(weight)])
    trend = np.hstack([np.linalg.inv(r), -back @ bends])
    return np.vstack([trend, np.hstack([np.zeros((count, len(r))), bends])])


def _surface(
    basis: _Bending, coefficients: Floats, root: Floats, scale: float, own: float
) -> _Surface:
    """From coefficients of the columns and a root of their covariance, (3 + k, m)."""
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
