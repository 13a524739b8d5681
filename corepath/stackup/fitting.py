"""A smooth surface through measured figures, with what is not known about it.

z(x, y) is fitted by as much as the places can say: a *constant* for one or two places, a *line* (level across it)
where they lie on a line, a *plane* by least squares for three to five, a smooth *surface* for more. The surface is a
plane plus thin plates bent over at most `MOST_KNOTS` of the places, with the bending energy weighed against the
residuals by restricted maximum likelihood: straight data give the plane, and noise is not followed. Lengths in mm.

The *uncertainty* is a half-width: a further figure measured at (x, y) lies within it 95 times of 100. It is the
largest of the error of one figure, the prediction interval of the plane through the same places (Student's t) and the
surface's own; so bending that a plane does not explain counts as not known, and it grows away from the places. The
error of one figure is a limit, three standard deviations (common practice, no source).

Sources: prediction interval of a linear regression and studentized residuals as in any textbook of it (Draper and
Smith, Applied Regression Analysis, from memory); thin-plate smoothing as a mixed model (Wahba, Spline Models for
Observational Data, 1990, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.stackup.thin_plate import ThinPlate, bent

__all__ = ["CONFIDENCE", "OUTSIDE", "Fitted", "Kind", "fit"]

Floats = NDArray[np.float64]
Kind = Literal["constant", "line", "plane", "surface"]

CONFIDENCE = 0.95
OUTSIDE = 30.0
"""mm beyond the places' hull from which a value counts as extrapolated."""

SLOPE = 0.2 / 1000.0
"""A blank's thickness may run off by so much, mm a mm, in a direction that nothing was measured in (0.2 mm a metre;
common practice, no source)."""

LIMIT_SIGMAS = 3.0
_PLANE_MOST = 5
_THIN = 0.02
"""Places whose spread across is less than this share of their spread along lie on a line."""

_DOUBT = 0.01
"""Chance, over all places, that a sound figure is named an outlier."""

_ENOUGH_FOR_SMOOTH = 30
_ENOUGH_FOR_QUADRATIC = 10


class _Trend(Protocol):
    def value(self, x: Floats, y: Floats) -> Floats: ...
    def half_width(self, x: Floats, y: Floats) -> Floats: ...


@dataclass(frozen=True, slots=True)
class _Plane:
    """A polynomial of degree 0 or 1 in shifted, turned and scaled coordinates, by least squares."""

    middle: Floats
    axes: Floats
    """(directions, 2): what the plane may lean along, in units of the places' spread there"""
    loose: Floats
    """(directions, 2): unit vectors along which nothing is known"""
    coefficients: Floats
    inverse: Floats
    """of the normal matrix"""
    spread: float
    """Student's t times the residual standard deviation; 0 where there is none"""
    error: float
    residual_sd: float
    fitted: Floats
    leverage: Floats

    def _design(self, x: Floats, y: Floats) -> Floats:
        moved = np.stack([x - self.middle[0], y - self.middle[1]], axis=1)
        return np.column_stack([np.ones(len(x)), moved @ self.axes.T])

    def value(self, x: Floats, y: Floats) -> Floats:
        return np.asarray(self._design(x, y) @ self.coefficients)

    def half_width(self, x: Floats, y: Floats) -> Floats:
        design = self._design(x, y)
        grown = np.sqrt(1.0 + np.einsum("ij,jk,ik->i", design, self.inverse, design))
        half = max(self.spread, self.error) * grown
        if len(self.loose):
            moved = np.stack([x - self.middle[0], y - self.middle[1]], axis=1)
            off = np.linalg.norm(moved @ self.loose.T, axis=1)
            half = np.hypot(half, SLOPE * off)
        return np.asarray(half)


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fitted surface. `residuals` (n,) are figure less fit; `outliers` index places that the others contradict.

    `missed` (n,) is how far each figure lies from what the other places say of it. `freedom` is the number of
    places less what the fit took up; `residual_sd` is that of the fit, nan where no freedom is left.
    """

    kind: Kind
    x: Floats
    y: Floats
    z: Floats
    error: float
    residuals: Floats
    missed: Floats
    outliers: tuple[int, ...]
    freedom: float
    residual_sd: float
    hull: Floats
    _plane: _Plane
    _plate: ThinPlate | None

    @property
    def rms(self) -> float:
        """Root mean square of the residuals."""
        return float(np.sqrt(np.mean(self.residuals**2)))

    def value(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """z (mm) at `x`, `y` (mm), broadcast together; the result has their shape."""
        fx, fy, shape = _flat(x, y)
        trend: _Trend = self._plane if self._plate is None else self._plate
        return trend.value(fx, fy).reshape(shape)

    def uncertainty(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Half-width (mm) at `x`, `y`: what a further figure there may differ by; never below `error`."""
        fx, fy, shape = _flat(x, y)
        half = np.maximum(self._plane.half_width(fx, fy), self.error)
        if self._plate is not None:
            half = np.maximum(half, self._plate.half_width(fx, fy))
        return half.reshape(shape)

    def own_uncertainty(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """As `uncertainty`, but of the surface alone, without regard to what a plane leaves unexplained."""
        fx, fy, shape = _flat(x, y)
        trend: _Trend = self._plane if self._plate is None else self._plate
        return np.maximum(trend.half_width(fx, fy), self.error).reshape(shape)

    def extrapolated(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether `x`, `y` lies more than `OUTSIDE` beyond the hull of the places."""
        import shapely

        fx, fy, shape = _flat(x, y)
        hull = shapely.convex_hull(shapely.multipoints(self.hull))
        shapely.prepare(hull)
        off = shapely.distance(hull, shapely.points(fx, fy))
        return np.asarray(off > OUTSIDE).reshape(shape)


def _flat(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats, tuple[int, ...]]:
    bx, by = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    return bx.ravel(), by.ravel(), bx.shape


def fit(x: ArrayLike, y: ArrayLike, z: ArrayLike, error: float) -> Fitted:
    """Fit the figures `z` (n,) at `x`, `y` (n,), each within ± `error`, all mm.

    Raises ValueError where there is no place, the lengths differ or a figure is not finite.
    """
    xs, ys, zs = (np.array(values, dtype=float).ravel() for values in (x, y, z))
    if not len(xs) or not len(xs) == len(ys) == len(zs):
        raise ValueError(f"a fit needs as many x, y and z, at least one: got {len(xs)}, {len(ys)}, {len(zs)}")
    if not (np.isfinite(xs).all() and np.isfinite(ys).all() and np.isfinite(zs).all()) or not error >= 0:
        raise ValueError("a fit needs finite figures and an error of at least 0")
    directions = _directions(xs, ys)
    plane = _least_squares(xs, ys, zs, error, directions)
    kinds: tuple[Kind, ...] = ("constant", "line", "plane")
    kind = kinds[directions]
    plate = None
    if directions == 2 and len(xs) > _PLANE_MOST:
        kind = "surface"
        plate = bent(xs, ys, zs, error / LIMIT_SIGMAS, CONFIDENCE)
    fitted, leverage = (plane.fitted, plane.leverage) if plate is None else (plate.fitted, plate.leverage)
    residuals = zs - fitted
    freedom = len(xs) - float(leverage.sum())
    return Fitted(
        kind=kind,
        x=xs,
        y=ys,
        z=zs,
        error=error,
        residuals=residuals,
        missed=residuals / np.maximum(1.0 - leverage, 1e-9) if freedom > 1e-6 else np.zeros(len(xs)),
        outliers=_outliers(xs, ys, zs, error, directions, plate),
        freedom=freedom,
        residual_sd=plane.residual_sd if plate is None else plate.sigma,
        hull=np.stack([xs, ys], axis=1),
        _plane=plane,
        _plate=plate,
    )


def _directions(xs: Floats, ys: Floats) -> int:
    """In how many directions the places can say something: 0, 1 or 2."""
    if len(xs) <= 2:
        return 0
    spread = np.linalg.svd(np.stack([xs - xs.mean(), ys - ys.mean()], axis=1), compute_uv=False)
    if spread[0] < 1.0:
        return 0
    return 1 if spread[1] < _THIN * spread[0] else 2


def _least_squares(xs: Floats, ys: Floats, zs: Floats, error: float, directions: int) -> _Plane:
    from scipy.stats import t as student

    middle = np.array([xs.mean(), ys.mean()])
    moved = np.stack([xs, ys], axis=1) - middle
    _, spread, turned = np.linalg.svd(moved, full_matrices=True)
    axes = turned[:directions] / np.array([max(s, 1e-12) for s in spread[:directions]])[:, None]
    design = np.column_stack([np.ones(len(xs)), moved @ axes.T])
    inverse = np.linalg.inv(design.T @ design)
    coefficients = inverse @ design.T @ zs
    fitted = design @ coefficients
    freedom = len(xs) - 1 - directions
    sd = math.sqrt(float(((zs - fitted) ** 2).sum()) / freedom) if freedom > 0 else math.nan
    spread_of_one = float(student.ppf((1 + CONFIDENCE) / 2, freedom)) * sd if freedom > 0 else 0.0
    return _Plane(
        middle=middle,
        axes=axes,
        loose=turned[directions:],
        coefficients=coefficients,
        inverse=inverse,
        spread=spread_of_one,
        error=error,
        residual_sd=sd,
        fitted=fitted,
        leverage=np.einsum("ij,jk,ik->i", design, inverse, design),
    )


def _outliers(
    xs: Floats, ys: Floats, zs: Floats, error: float, directions: int, plate: ThinPlate | None
) -> tuple[int, ...]:
    """Places that the others contradict by more than chance and by more than the error of one figure.

    Many places are held against the smooth surface through the others, with the spread taken from the median, so
    that outliers do not hide each other. Few are held against a plane, or the wedge, cup and twist (a quadratic) that a
    blank has, and the worst is taken out until none is left.
    """
    if plate is not None and len(xs) >= _ENOUGH_FOR_SMOOTH:
        return _against_surface(zs, error, plate)
    if directions < 2:
        terms = np.ones((len(xs), 1))
    else:
        u, v = (xs - xs.mean()) / max(np.ptp(xs), 1.0), (ys - ys.mean()) / max(np.ptp(ys), 1.0)
        columns = [np.ones(len(xs)), u, v]
        if len(xs) >= _ENOUGH_FOR_QUADRATIC:
            columns += [u * u, u * v, v * v]
        terms = np.column_stack(columns)
        if np.linalg.matrix_rank(terms, tol=1e-6) < terms.shape[1]:
            terms = terms[:, :3]
    return _worst_first(terms, zs, error)


def _against_surface(zs: Floats, error: float, plate: ThinPlate) -> tuple[int, ...]:
    from scipy.stats import norm

    rest = np.maximum(1.0 - plate.leverage, 1e-6)
    residuals = zs - plate.fitted
    even = residuals / np.sqrt(rest)
    scale = max(1.4826 * float(np.median(np.abs(even))), error / LIMIT_SIGMAS / 2, 1e-9)
    bound = float(norm.ppf(1 - _DOUBT / 2 / len(zs)))
    found = (np.abs(even) > bound * scale) & (np.abs(residuals / rest) > error)
    return tuple(int(k) for k in np.flatnonzero(found))


def _worst_first(terms: Floats, zs: Floats, error: float) -> tuple[int, ...]:
    """Externally studentized residuals against a t with one degree less, at `_DOUBT` over all places (Bonferroni)."""
    from scipy.stats import t as student

    left = np.arange(len(zs))
    found: list[int] = []
    while len(found) < max(1, len(zs) // 4):
        count, taken = len(left), terms.shape[1]
        freedom = count - taken - 1
        if freedom < 1:
            break
        some, figures = terms[left], zs[left]
        inverse = np.linalg.pinv(some.T @ some)
        rest = 1.0 - np.einsum("ij,jk,ik->i", some, inverse, some)
        residuals = figures - some @ (inverse @ (some.T @ figures))
        sound = rest > 1e-6
        rest = np.where(sound, rest, 1.0)
        total = float((residuals**2).sum())
        without = np.maximum(total - residuals**2 / rest, 0.0) / freedom
        least = (error / LIMIT_SIGMAS / 2) ** 2 + 1e-18
        studentized = np.abs(residuals) / np.sqrt(np.maximum(without, least) * rest)
        bound = float(student.ppf(1 - _DOUBT / 2 / count, freedom))
        bad = sound & (studentized > bound) & (np.abs(residuals / rest) > error)
        if not bad.any():
            break
        worst = int(np.argmax(np.round(np.where(bad, studentized, 0.0), 9)))
        found.append(int(left[worst]))
        left = np.delete(left, worst)
    return tuple(sorted(found))
