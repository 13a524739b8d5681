"""Fit a smooth surface to measured figures, with its uncertainty.

A blank is a plane that may be bent: cupped, bowed and twisted. z(x, y) is therefore fitted as

    z = a + b x + c y + d u² + e u v + f v²
    u, v: from the blank's middle, in halves of its length and width

The plane is free as far as the places determine it (its level alone for one or two places, level
and slope along a line where they lie on one). The bending is expected to be small: each of d, e, f
has a normal prior about 0, with `Bending.size`, the largest bending to allow for, as 2.5 standard
deviations. Bending that the places show is followed; bending that they cannot detect stays within
that prior. From `_ENOUGH_FOR_PLATE` places on there may be finer shapes: a thin-plate spline
through the residuals then follows these (thin_plate.py). Lengths in mm.

The *uncertainty* is a half-width: three standard deviations of the fitted surface, and never less
than the error of one figure, since callipers that read wrong read wrong everywhere. Errors of
figures are uniform within ± `error`; scatter beyond that is taken as roughness of the wood itself
and is added.

Sources: Bayesian linear regression with a normal prior, equal to ridge regression of the bending,
the variance of the noise from a scaled inverse chi-square prior (Gelman et al., Bayesian Data
Analysis, from memory); studentized residuals (Draper and Smith, Applied Regression Analysis, from
memory); thin-plate smoothing as a mixed model (Wahba, Spline Models for Observational Data, 1990,
from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.stackup.measuring.thin_plate import ThinPlate, bent

__all__ = ["OUTSIDE", "Bending", "Fitted", "Kind", "fit"]

Floats = NDArray[np.float64]
Kind = Literal["constant", "line", "plane", "surface"]

_CONFIDENCE = 0.95
"""Level of the thin plate's own interval; the plane and bending under it have three sigma."""

OUTSIDE = 30.0
"""mm beyond the places' hull from which a value counts as extrapolated."""

SLOPE = 0.2 / 1000.0
"""Largest slope, mm per mm, to allow for in a direction in which nothing was measured: 0.2 mm a
metre (common practice, no source)."""

BENDING = 0.3
"""mm by which a blank may be cupped, bowed or twisted, as in `tolerances.bending` (common practice,
no source)."""

# standard deviations in the half-width of the surface
SIGMAS = 3.0
# A figure's limit of error counts as this many standard deviations where its spread is compared.
LIMIT_SIGMAS = 3.0
_LARGEST_SIGMAS = 2.5
"""How many standard deviations the largest bending (or slope) to allow for is."""

_PRIOR_FREEDOM = 0.5
"""How many figures' worth of evidence the stated error is, against the scatter that is seen (prior
degrees of freedom of the scaled inverse chi-square).

Small, so that scatter beyond the stated error is believed: with nine places on a rough blank the
half-width then holds 93.1 times in 100 (Student's t for 3 degrees), and 94.2 with 0. But not 0,
since three to five places leave no degree of freedom to estimate scatter from.
"""

# Up to so many places, fewer than the six terms, the fit is called a plane.
_PLANE_MOST = 5
# Ten places leave four degrees of freedom beside the six terms.
_ENOUGH_FOR_PLATE = 10
_THIN = 0.02
"""Places whose spread across is less than this share of their spread along lie on a line."""

_DOUBT = 0.01
"""Chance, over all places together, that a sound figure is named an outlier."""

# rounds of the iteration between the noise and the coefficients, which depend on each other
_ROUNDS = 4
_TOLD = 0.5
"""Degrees of freedom that must be left for the scatter to be estimated at all."""

# From so many places on outliers are judged against the thin plate; from so many below that against
# a quadratic, else a plane. A test must leave freedom over: eight places cannot tell cup from slip.
_ENOUGH_FOR_SMOOTH = 30
_ENOUGH_FOR_QUADRATIC = 10


@dataclass(frozen=True, slots=True)
class Bending:
    """The bending to allow for: at most `size` (mm) at `half_length` and `half_width` (mm) from the
    `middle`."""

    half_length: float
    half_width: float
    size: float = BENDING
    middle: tuple[float, float] = (0.0, 0.0)

    @staticmethod
    def over(x: Floats, y: Floats) -> Bending:
        """Return the bending over the places (n,) themselves, for want of a blank's size."""
        middle = (float(x.min() + x.max()) / 2, float(y.min() + y.max()) / 2)
        return Bending(
            max(float(np.ptp(x)) / 2, 1.0), max(float(np.ptp(y)) / 2, 1.0), middle=middle
        )

    def shapes(self, x: Floats, y: Floats) -> Floats:
        """Return (n, 3): bow u², twist u v and cup v² of size 1 at places (n,)."""
        u, v = (x - self.middle[0]) / self.half_length, (y - self.middle[1]) / self.half_width
        return np.column_stack([u * u, u * v, v * v])


@dataclass(frozen=True, slots=True)
class _Trend:
    """Plane and bending: the posterior mean and covariance of their six coefficients.

    `level` (mm) was subtracted from all figures before the fit. `sigma` is the standard deviation
    of a figure, `rough` the part of its square that the error of one figure does not explain.
    """

    bending: Bending
    axes: Floats
    """(2, 2) unit vectors, the direction along which the places spread most first"""
    level: float
    coefficients: Floats
    covariance: Floats
    sigma: float
    rough: float
    fitted: Floats
    leverage: Floats

    def value(self, x: Floats, y: Floats) -> Floats:
        return np.asarray(_columns(self.bending, self.axes, x, y) @ self.coefficients + self.level)

    def variance(self, x: Floats, y: Floats) -> Floats:
        """Return the variance of the surface at places (n,), mm²."""
        columns = _columns(self.bending, self.axes, x, y)
        return np.asarray(((columns @ self.covariance) * columns).sum(axis=1))


def _columns(bending: Bending, axes: Floats, x: Floats, y: Floats) -> Floats:
    """Return (n, 6): level, slope along each axis over half a length, and the three bends."""
    # All columns are of order 1 on the blank: the normal matrix is well conditioned in float64.
    moved = np.stack([x - bending.middle[0], y - bending.middle[1]], axis=1) / bending.half_length
    return np.column_stack([np.ones(len(x)), moved @ axes.T, bending.shapes(x, y)])


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fitted surface with its half-width, all mm.

    `x`, `y`, `z` (n,) are the figures, `error` the ± of one. `residuals` (n,) are figure less fit;
    `missed` (n,) is how far each figure lies from the fit through the other places (leave-one-out
    residual); `outliers` index places that the others contradict. `residual_sd` is the standard
    deviation of the residuals, nan where the places leave no degree of freedom. `hull` (n, 2) are
    the places, for their convex hull.
    """

    kind: Kind
    x: Floats
    y: Floats
    z: Floats
    error: float
    residuals: Floats
    missed: Floats
    outliers: tuple[int, ...]
    residual_sd: float
    hull: Floats
    _trend: _Trend
    _plate: ThinPlate | None

    @property
    def rms(self) -> float:
        """Root mean square of the residuals."""
        return float(np.sqrt(np.mean(self.residuals**2)))

    def value(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return z (mm) at `x`, `y` (mm), broadcast together; the result has their shape."""
        fx, fy, shape = _flat(x, y)
        value = self._trend.value(fx, fy)
        if self._plate is not None:
            value = value + self._plate.value(fx, fy)
        return value.reshape(shape)

    def uncertainty(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return the half-width of z (mm) at `x`, `y` (mm, broadcast together).

        Never below `error`.
        """
        fx, fy, shape = _flat(x, y)
        if self._plate is None:
            half = SIGMAS * np.sqrt(self._trend.variance(fx, fy) + self._trend.rough)
        else:
            half = np.hypot(
                SIGMAS * np.sqrt(self._trend.variance(fx, fy)), self._plate.half_width(fx, fy)
            )
        return np.maximum(half, self.error).reshape(shape)

    def shape_error(self, x: Floats, y: Floats) -> float:
        """Return the largest error (mm) of the surface's shape over (n,) places `x`, `y`.

        As `uncertainty`, but level and tilt do not count, and neither does the scatter of figures.
        """
        # A blank rests on its shape whatever plane that lies on: project each column onto what is
        # orthogonal to planes over these places, before the covariance is applied.
        plane = np.linalg.qr(np.column_stack([np.ones(len(x)), x, y]))[0]
        columns = _columns(self._trend.bending, self._trend.axes, x, y)
        bare = columns - plane @ (plane.T @ columns)
        half = SIGMAS * np.sqrt(((bare @ self._trend.covariance) * bare).sum(axis=1))
        if self._plate is not None:
            half = np.hypot(half, self._plate.half_width(x, y))
        return float(half.max())

    def extrapolated(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Return whether `x`, `y` (mm, broadcast together) lie more than `OUTSIDE` beyond the hull
        of the places."""
        import shapely

        fx, fy, shape = _flat(x, y)
        hull = shapely.convex_hull(shapely.multipoints(self.hull))
        shapely.prepare(hull)
        off = shapely.distance(hull, shapely.points(fx, fy))
        return np.asarray(off > OUTSIDE).reshape(shape)


def _flat(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats, tuple[int, ...]]:
    bx, by = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    return bx.ravel(), by.ravel(), bx.shape


def fit(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, error: float, bending: Bending | None = None
) -> Fitted:
    """Fit a surface to the figures `z` (n,) at `x`, `y` (n,), each within ± `error`, all mm.

    `bending` is the bending to allow for; without it `BENDING` over the extent of the places.
    Raises ValueError where there is no place, the lengths differ or a figure is not finite.
    """
    xs, ys, zs = (np.array(values, dtype=float).ravel() for values in (x, y, z))
    if not len(xs) or not len(xs) == len(ys) == len(zs):
        raise ValueError(
            f"a fit needs as many x, y and z, at least one: got {len(xs)}, {len(ys)}, {len(zs)}"
        )
    if (
        not (np.isfinite(xs).all() and np.isfinite(ys).all() and np.isfinite(zs).all())
        or not error >= 0
    ):
        raise ValueError("a fit needs finite figures and an error of at least 0")
    directions = _directions(xs, ys)
    trend = _bent_plane(xs, ys, zs, error, directions, bending or Bending.over(xs, ys))
    kinds: tuple[Kind, ...] = ("constant", "line", "plane")
    plate = None
    if directions == 2 and len(xs) >= _ENOUGH_FOR_PLATE:
        plate = bent(xs, ys, zs - trend.fitted, error / LIMIT_SIGMAS, _CONFIDENCE)
    fitted, leverage = trend.fitted, trend.leverage
    if plate is not None:
        # The plate is fitted to the residuals of the trend, so leverages add; both contain a plane,
        # which the sum counts twice: hence the cap, a figure cannot say more than itself.
        fitted, leverage = fitted + plate.fitted, np.minimum(leverage + plate.leverage, 1.0)
    # Many places are compared with the smooth surface, few with a plane or a quadratic (wedge, cup
    # and twist), from which the worst is removed until none is left.
    if plate is not None and len(xs) >= _ENOUGH_FOR_SMOOTH:
        outliers = _against_surface(zs - trend.fitted, error, plate)
    else:
        outliers = _worst_first(_simple_surface(xs, ys, directions), zs, error)
    residuals = zs - fitted
    freedom = len(xs) - float(leverage.sum())
    told = len(xs) > directions + 1 and freedom > _TOLD
    scatter = math.sqrt(float((residuals**2).sum()) / freedom) if told else math.nan
    return Fitted(
        kind="surface" if directions == 2 and len(xs) > _PLANE_MOST else kinds[directions],
        x=xs,
        y=ys,
        z=zs,
        error=error,
        residuals=residuals,
        # residual / (1 - leverage) is the leave-one-out residual; 1e-9 guards a place that the fit
        # passes through exactly, where the residual is 0 as well
        missed=residuals / np.maximum(1.0 - leverage, 1e-9) if told else np.zeros(len(xs)),
        outliers=outliers,
        residual_sd=scatter if plate is None else plate.sigma,
        hull=np.stack([xs, ys], axis=1),
        _trend=trend,
        _plate=plate,
    )


def _directions(xs: Floats, ys: Floats) -> int:
    """Return in how many directions the places determine a slope: 0, 1 or 2."""
    # Two figures would give a slope with nothing left to contradict it.
    if len(xs) <= 2:
        return 0
    spread = np.linalg.svd(np.stack([xs - xs.mean(), ys - ys.mean()], axis=1), compute_uv=False)
    # Within 1 mm of each other the places are one place, and a slope would be noise.
    if spread[0] < 1.0:
        return 0
    return 1 if spread[1] < _THIN * spread[0] else 2


def _bent_plane(
    xs: Floats, ys: Floats, zs: Floats, error: float, directions: int, bending: Bending
) -> _Trend:
    """Return posterior mean and covariance of the coefficients, and the noise estimated with
    them."""
    middle = np.array([xs.mean(), ys.mean()])
    # Both axes of the places. Only a single one needs the whole matrices for them, of which one is
    # n² large for n places.
    whole = len(xs) < 2
    axes: Floats = np.linalg.svd(np.stack([xs, ys], axis=1) - middle, full_matrices=whole)[2]
    level = float(zs.mean())
    columns, figures = _columns(bending, axes, xs, ys), zs - level
    slope = SLOPE * bending.half_length
    # Prior precision of each term. Infinite width, that is none, for level and for slopes that the
    # places determine; a small one for a slope in a direction without places.
    largest = np.array(
        [math.inf] * (1 + directions) + [slope] * (2 - directions) + [bending.size] * 3
    )
    prior = (_LARGEST_SIGMAS / np.maximum(largest, 1e-9)) ** 2
    # Variance of a uniform distribution within ± error; 1e-9 mm keeps the division below finite for
    # figures that are said to have no error.
    least = max(error / math.sqrt(3.0), 1e-9) ** 2
    variance = least
    covariance: Floats = np.zeros((6, 6))
    coefficients: Floats = np.zeros(6)
    # The coefficients need the noise and the noise needs the residuals. Start from the stated error
    # and alternate: each round takes (prior + residual sum of squares) / (prior + free figures).
    for _ in range(_ROUNDS):
        covariance = np.asarray(np.linalg.inv(columns.T @ columns / variance + np.diag(prior)))
        coefficients = covariance @ columns.T @ figures / variance
        leverage = ((columns @ covariance) * columns).sum(axis=1) / variance
        rest = float(((figures - columns @ coefficients) ** 2).sum())
        free = max(len(zs) - float(leverage.sum()), 0.0)
        variance = float(_PRIOR_FREEDOM * least + rest) / (_PRIOR_FREEDOM + free)
    return _Trend(
        bending=bending,
        axes=axes,
        level=level,
        coefficients=coefficients,
        covariance=covariance,
        sigma=math.sqrt(variance),
        rough=max(variance - least, 0.0),
        fitted=columns @ coefficients + level,
        leverage=leverage,
    )


def _simple_surface(xs: Floats, ys: Floats, directions: int) -> Floats:
    """Return the terms (n, k) of a quadratic, a plane or a level, as the places allow."""
    if directions < 2:
        return np.ones((len(xs), 1))
    u, v = (xs - xs.mean()) / max(np.ptp(xs), 1.0), (ys - ys.mean()) / max(np.ptp(ys), 1.0)
    columns = [np.ones(len(xs)), u, v]
    if len(xs) >= _ENOUGH_FOR_QUADRATIC:
        columns += [u * u, u * v, v * v]
    terms = np.column_stack(columns)
    # Places on two lines, say, cannot determine a quadratic: fall back to the plane.
    return terms if np.linalg.matrix_rank(terms, tol=1e-6) == terms.shape[1] else terms[:, :3]


def _against_surface(zs: Floats, error: float, plate: ThinPlate) -> tuple[int, ...]:
    """Return the places that the others contradict by more than chance and than the error of one
    figure; `zs` (n,) are the residuals of the trend."""
    from scipy.special import ndtri

    # A figure that alone decides its part of the surface has no residual to judge by.
    rest = np.maximum(1.0 - plate.leverage, 1e-6)
    residuals = zs - plate.fitted
    even = residuals / np.sqrt(rest)
    # The median of absolute residuals times 1.4826 estimates a normal standard deviation and does
    # not grow with a few outliers, so that these cannot hide each other. Never less than half of
    # what the stated error allows: very even figures would otherwise make sound ones stand out.
    scale = max(1.4826 * float(np.median(np.abs(even))), error / LIMIT_SIGMAS / 2, 1e-9)
    bound = float(ndtri(1 - _DOUBT / 2 / len(zs)))
    found = (np.abs(even) > bound * scale) & (np.abs(residuals / rest) > error)
    return tuple(int(k) for k in np.flatnonzero(found))


def _worst_first(terms: Floats, zs: Floats, error: float) -> tuple[int, ...]:
    """Return outliers by externally studentized residuals, tested at `_DOUBT` over all places
    (Bonferroni) against Student's t with one degree of freedom less.

    `terms` (n, k) are the columns of the surface compared with.
    """
    from scipy.special import stdtrit

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
        # A place with leverage 1 alone fixes a term: its residual is 0 and tells nothing.
        sound = rest > 1e-6
        rest = np.where(sound, rest, 1.0)
        total = float((residuals**2).sum())
        # Variance estimated without the place itself, in closed form from the one fit of all.
        without = np.maximum(total - residuals**2 / rest, 0.0) / freedom
        least = (error / LIMIT_SIGMAS / 2) ** 2 + 1e-18
        studentized = np.abs(residuals) / np.sqrt(np.maximum(without, least) * rest)
        bound = float(stdtrit(freedom, 1 - _DOUBT / 2 / count))
        bad = sound & (studentized > bound) & (np.abs(residuals / rest) > error)
        if not bad.any():
            break
        worst = int(np.argmax(np.round(np.where(bad, studentized, 0.0), 9)))
        found.append(int(left[worst]))
        left = np.delete(left, worst)
    return tuple(sorted(found))
