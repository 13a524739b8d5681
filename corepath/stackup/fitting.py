"""A surface through measured figures, with how far it may be off from place to place.

One or two figures give their mean; three to five, or figures along one line, a plane by least squares (for
a line only the slope along it); more a plane plus a smoothing thin-plate spline, its smoothing chosen by
generalised cross-validation. The uncertainty at a place is the half-width of the plane's 95 % prediction interval there
(Student t), which grows away from the figures, and is never below the error of one figure. Of a spline it
is that of the plane with the spline's own residual scatter, plus what the nearest figures leave unsaid:
the figures' roughness about the plane times the distance to the nearest of them over the mean spacing.

Sources: prediction interval of a linear regression, x0' (X'X)^-1 x0 and Student's t (any textbook of
regression, from memory); thin-plate spline and generalised cross-validation, Wahba 1990 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Fitted", "fit"]

Floats = NDArray[np.float64]

CONFIDENCE = 0.95
PLANE_POINTS = 3
SPLINE_POINTS = 6
OUTLIER = 4.0
"""Scatters (robust) by which a figure must miss what the others say to be named."""

FLAT = 1e-3
"""A spread across the main direction below this share of the one along it counts as a line."""

SMOOTHINGS = np.geomspace(1e-4, 1e4, 33)


@dataclass(frozen=True)
class Fitted:
    """The fitted surface. `residuals` (n,) mm are figure minus surface, `outliers` indices of figures to doubt.

    `kind` tells what was fitted; `rms` is of the residuals, mm.
    """

    kind: Literal["level", "plane", "surface"]
    x: Floats
    y: Floats
    residuals: Floats
    outliers: tuple[int, ...]
    error: float
    _basis: _Basis
    _weights: Floats
    _covariance: Floats
    _half_width: float
    _roughness: float
    _spacing: float

    @property
    def rms(self) -> float:
        return float(np.sqrt(np.mean(self.residuals**2)))

    def value(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """The surface at places (any shape), mm."""
        points, shape = _points(x, y)
        return _chunked(lambda part: self._basis.design(part) @ self._weights, points).reshape(shape)

    def uncertainty(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Half-width (± mm) within which the surface lies at places (any shape)."""
        points, shape = _points(x, y)
        plane = self._basis.plane(points)
        leverage = np.einsum("ij,jk,ik->i", plane, self._covariance, plane)
        width = self._half_width * np.sqrt(1.0 + leverage)
        if self._roughness > 0.0:
            width = width + self._roughness * np.minimum(self._nearest(points) / self._spacing, 4.0)
        return np.maximum(width, self.error).reshape(shape)

    def extrapolated(self, x: ArrayLike, y: ArrayLike, margin: float = 1.0) -> NDArray[np.bool_]:
        """Whether places lie more than `margin` mm outside the figures' convex hull."""
        import shapely

        points, shape = _points(x, y)
        hull = shapely.MultiPoint(np.column_stack([self.x, self.y])).convex_hull.buffer(margin)
        outside: NDArray[np.bool_] = ~shapely.contains_xy(hull, points[:, 0], points[:, 1])
        return outside.reshape(shape)

    def _nearest(self, points: Floats) -> Floats:
        from scipy.spatial import cKDTree

        distance, _ = cKDTree(np.column_stack([self.x, self.y])).query(points)
        return np.asarray(distance, dtype=np.float64)


@dataclass(frozen=True)
class _Basis:
    """Scaled coordinates, plane terms along `axes` (k, 2), and the spline's `knots` (m, 2), which may be none."""

    middle: Floats
    scale: float
    axes: Floats
    knots: Floats

    def plane(self, points: Floats) -> Floats:
        scaled = (points - self.middle) / self.scale
        return np.hstack([np.ones((len(points), 1)), scaled @ self.axes.T])

    def design(self, points: Floats) -> Floats:
        if not len(self.knots):
            return self.plane(points)
        scaled = (points - self.middle) / self.scale
        return np.hstack([self.plane(points), _kernel(scaled, self.knots)])


def _kernel(a: Floats, b: Floats) -> Floats:
    """r² log r of a thin plate."""
    squared = ((a[:, None, :] - b[None, :, :]) ** 2).sum(axis=2)
    return np.asarray(0.5 * squared * np.log(np.where(squared > 0.0, squared, 1.0)))


def _points(x: ArrayLike, y: ArrayLike) -> tuple[Floats, tuple[int, ...]]:
    x, y = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    return np.column_stack([x.ravel(), y.ravel()]), x.shape


def _chunked(function: object, points: Floats, size: int = 20_000) -> Floats:
    assert callable(function)
    return np.concatenate([function(points[k : k + size]) for k in range(0, len(points), size)])


def fit(x: ArrayLike, y: ArrayLike, z: ArrayLike, error: float) -> Fitted:
    """Fit figures `z` (n,) mm at places `x`, `y` (n,) mm, each figure being good to ± `error`.

    Raises ValueError for no figures, arrays of different lengths, or figures that are not finite.
    """
    x, y, z = (np.atleast_1d(np.asarray(part, dtype=np.float64)) for part in (x, y, z))
    if not (len(x) == len(y) == len(z) > 0) or not np.isfinite([x, y, z]).all():
        raise ValueError("a fit needs as many finite figures as places, and at least one")
    points = np.column_stack([x, y])
    middle = points.mean(axis=0)
    scale = float(np.abs(points - middle).max()) or 1.0
    axes = _axes((points - middle) / scale) if len(x) >= PLANE_POINTS else np.empty((0, 2))
    basis = _Basis(middle, scale, axes, np.empty((0, 2)))
    plane = basis.plane(points)
    weights, *_ = np.linalg.lstsq(plane, z, rcond=None)
    covariance = np.linalg.pinv(plane.T @ plane)
    rough = z - plane @ weights
    residuals, roughness, freedom = rough, 0.0, float(len(z) - plane.shape[1])
    doubted = _doubted(rough, plane, covariance, error)
    kind: Literal["level", "plane", "surface"] = "plane" if len(axes) else "level"
    if len(z) >= SPLINE_POINTS and len(axes) == 2:
        kind = "surface"
        basis, weights, residuals, freedom, alone = _spline(basis, points, z)
        doubted = _outliers(alone, error)
        roughness = float(np.sqrt(np.mean(rough**2)))
    return Fitted(
        kind=kind,
        x=x,
        y=y,
        residuals=residuals,
        outliers=doubted,
        error=error,
        _basis=basis,
        _weights=weights,
        _covariance=covariance,
        _half_width=_half_width(rough if kind != "surface" else residuals, freedom, error),
        _roughness=roughness,
        _spacing=_spacing(points),
    )


def _axes(scaled: Floats) -> Floats:
    """Unit directions in which the places spread: both axes, one along a line, or none."""
    _, spread, directions = np.linalg.svd(scaled, full_matrices=False)
    if spread[0] <= 1e-9:
        return np.empty((0, 2))
    return np.eye(2) if spread[1] > FLAT * spread[0] else directions[:1]


def _half_width(residuals: Floats, freedom: float, error: float) -> float:
    """Student's t times the scatter of one figure; with too few figures to tell, the error itself."""
    from scipy.stats import t

    if freedom < 1.0:
        return error
    scatter = float(np.sqrt((residuals**2).sum() / freedom))
    return max(float(t.ppf(0.5 + CONFIDENCE / 2.0, freedom)) * scatter, error)


def _spacing(points: Floats) -> float:
    from scipy.spatial import cKDTree

    if len(points) < 2:
        return 1.0
    distance, _ = cKDTree(points).query(points, k=2)
    return max(float(np.mean(distance[:, 1])), 1e-6)


def _spline(basis: _Basis, points: Floats, z: Floats) -> tuple[_Basis, Floats, Floats, float, Floats]:
    """Smoothing thin-plate spline: weights, residuals, degrees of freedom left, leave-one-out residuals.

    With the plane P projected out by an orthonormal Q2 the influence is I - s Q2 (Q2'KQ2 + s I)^-1 Q2', so that one
    eigendecomposition serves every smoothing s. The score is n RSS / trace(I - influence)^2.
    """
    knots = (points - basis.middle) / basis.scale
    full = _Basis(basis.middle, basis.scale, basis.axes, knots)
    plane = basis.plane(points)
    q, _ = np.linalg.qr(plane, mode="complete")
    q2 = q[:, plane.shape[1] :]
    kernel = _kernel(knots, knots)
    values, vectors = np.linalg.eigh(q2.T @ kernel @ q2)
    values = np.maximum(values, 0.0)
    rotated = q2 @ vectors
    seen = rotated.T @ z
    typical = max(float(np.median(values)), 1e-12)

    def left(smoothing: float) -> Floats:
        return np.asarray(smoothing / (values + smoothing))

    scores = [
        len(z) * float(((left(s) * seen) ** 2).sum()) / float(left(s).sum()) ** 2 for s in SMOOTHINGS * typical
    ]
    smoothing = float(SMOOTHINGS[int(np.argmin(np.round(scores, 12)))] * typical)
    bend = rotated @ (seen / (values + smoothing))
    flat, *_ = np.linalg.lstsq(plane, z - kernel @ bend - smoothing * bend, rcond=None)
    residuals = rotated @ (left(smoothing) * seen)
    share = np.einsum("ij,j,ij->i", rotated, left(smoothing), rotated)
    alone = residuals / np.maximum(share, 1e-9)
    return full, np.concatenate([flat, bend]), residuals, float(left(smoothing).sum()), alone


def _doubted(residuals: Floats, plane: Floats, covariance: Floats, error: float) -> tuple[int, ...]:
    """Outliers about a plane: by what each figure misses when it is left out itself."""
    leverage = np.einsum("ij,jk,ik->i", plane, covariance, plane)
    if len(residuals) <= plane.shape[1] + 1:
        return ()
    return _outliers(residuals / np.maximum(1.0 - leverage, 1e-9), error)


def _outliers(alone: Floats, error: float) -> tuple[int, ...]:
    """Figures that miss what the others say by more than OUTLIER robust scatters and three errors."""
    scatter = 1.4826 * float(np.median(np.abs(alone - np.median(alone))))
    limit = max(OUTLIER * scatter, 3.0 * error)
    return tuple(int(k) for k in np.flatnonzero(np.abs(alone) > limit))


def named(indices: Sequence[int], x: Floats, y: Floats, z: Floats) -> list[str]:
    """Outliers in words."""
    return [f"{z[k]:.2f} at X{x[k]:.0f} Y{y[k]:.0f}" for k in indices]
