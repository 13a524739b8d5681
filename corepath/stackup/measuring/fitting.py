"""A smooth surface through measured figures, with what is not known about it.

A blank is a plane that may be bent: cupped, bowed and twisted. z(x, y) is therefore fitted as

    z = a + b x + c y + d u² + e u v + f v²
    u, v: from the blank's middle, in halves of its length and width

The plane is free as far as the places can tell (its level alone for one or two places, level and
slope along a line where they lie on one). The bending is not free but expected to be small: each of
d, e, f is taken as normally distributed about 0, so that `Bending.size`, the largest bending to
reckon with, is 2.5 standard deviations. What the places show of it is followed, what they cannot
see stays between its limits. More than `_ENOUGH_FOR_PLATE` places may show finer shapes: a thin
plate through what is left then follows these (thin_plate.py). Lengths in mm.

The *uncertainty* is a half-width, three standard deviations of the fitted surface, and never less
than the error of one figure, since callipers that read wrong read wrong everywhere. Errors of
figures are even within ± `error`; where the figures scatter more than that, the scatter is taken
for the wood's own and counts.

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

__all__ = ["CONFIDENCE", "OUTSIDE", "Bending", "Fitted", "Kind", "fit"]

Floats = NDArray[np.float64]
Kind = Literal["constant", "line", "plane", "surface"]

CONFIDENCE = 0.95
"""of the thin plate's own interval"""

OUTSIDE = 30.0
"""mm beyond the places' hull from which a value counts as extrapolated."""

SLOPE = 0.2 / 1000.0
"""A blank's thickness may run off by so much, mm a mm, in a direction that nothing was measured in
(0.2 mm a metre; common practice, no source)."""

BENDING = 0.3
"""mm by which a blank may be cupped, bowed or twisted, as in `tolerances.bending` (common practice,
no source)."""

SIGMAS = 3.0
LIMIT_SIGMAS = 3.0
_LARGEST_SIGMAS = 2.5
"""How many standard deviations the largest bending (or slope) to reckon with is."""

_PRIOR_FREEDOM = 0.5
"""How many figures the stated error counts for against the scatter that is seen; it bounds the
uncertainty besides.

Few, so that scatter beyond the error is believed: of nine places on a rough blank the half-width
then holds 93.1 times of 100 (Student's t for 3), 94.2 with none; but not none, since three to five
places leave no figure to tell it by.
"""

_PLANE_MOST = 5
_ENOUGH_FOR_PLATE = 10
_THIN = 0.02
"""Places whose spread across is less than this share of their spread along lie on a line."""

_DOUBT = 0.01
"""Chance, over all places, that a sound figure is named an outlier."""

_ROUNDS = 4
_TOLD = 0.5
"""Degrees of freedom from which the scatter says something."""

_ENOUGH_FOR_SMOOTH = 30
_ENOUGH_FOR_QUADRATIC = 10


@dataclass(frozen=True, slots=True)
class Bending:
    """The bending to reckon with: at most `size` (mm) at the ends of `half_length` and `half_width`
    from the middle."""

    half_length: float
    half_width: float
    size: float = BENDING
    middle: tuple[float, float] = (0.0, 0.0)

    @staticmethod
    def over(x: Floats, y: Floats) -> Bending:
        """Over the places themselves, where nobody says how large the blank is."""
        middle = (float(x.min() + x.max()) / 2, float(y.min() + y.max()) / 2)
        return Bending(
            max(float(np.ptp(x)) / 2, 1.0), max(float(np.ptp(y)) / 2, 1.0), middle=middle
        )

    def shapes(self, x: Floats, y: Floats) -> Floats:
        """(n, 3): bow, twist and cup of 1 at places."""
        u, v = (x - self.middle[0]) / self.half_length, (y - self.middle[1]) / self.half_width
        return np.column_stack([u * u, u * v, v * v])


@dataclass(frozen=True, slots=True)
class _Trend:
    """Plane and bending, the mean and covariance of their six coefficients given the figures.

    `level` is taken off all figures. `sigma` is the standard deviation of a figure, `rough` how
    much of its square is not explained by the error of one figure.
    """

    bending: Bending
    axes: Floats
    """(2, 2) unit vectors; places say something along the first of them"""
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
        """Square of the standard deviation of the surface at places."""
        columns = _columns(self.bending, self.axes, x, y)
        return np.asarray(((columns @ self.covariance) * columns).sum(axis=1))


def _columns(bending: Bending, axes: Floats, x: Floats, y: Floats) -> Floats:
    """(n, 6): level, slope along each axis over half a length, and the three bends."""
    moved = np.stack([x - bending.middle[0], y - bending.middle[1]], axis=1) / bending.half_length
    return np.column_stack([np.ones(len(x)), moved @ axes.T, bending.shapes(x, y)])


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fitted surface. `residuals` (n,) are figure less fit; `outliers` index places that the
    others contradict.

    `missed` (n,) is how far each figure lies from what the other places say of it. `freedom` is the
    number of places less what the fit took up; `residual_sd` is that of the fit, nan where no
    freedom is left.
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
    _trend: _Trend
    _plate: ThinPlate | None

    @property
    def rms(self) -> float:
        """Root mean square of the residuals."""
        return float(np.sqrt(np.mean(self.residuals**2)))

    def value(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """z (mm) at `x`, `y` (mm), broadcast together; the result has their shape."""
        fx, fy, shape = _flat(x, y)
        value = self._trend.value(fx, fy)
        if self._plate is not None:
            value = value + self._plate.value(fx, fy)
        return value.reshape(shape)

    def uncertainty(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Half-width (mm) at `x`, `y`: by how much z may be another there; never below `error`."""
        fx, fy, shape = _flat(x, y)
        if self._plate is None:
            half = SIGMAS * np.sqrt(self._trend.variance(fx, fy) + self._trend.rough)
        else:
            half = np.hypot(
                SIGMAS * np.sqrt(self._trend.variance(fx, fy)), self._plate.half_width(fx, fy)
            )
        return np.maximum(half, self.error).reshape(shape)

    def shape_error(self, x: Floats, y: Floats) -> float:
        """The most (mm) by which the surface may be another over (n,) places `x`, `y`, whatever
        plane it lies on.

        As `uncertainty`, but with the plane that fits the doubt best taken off it, and without
        scatter of figures.
        """
        plane = np.linalg.qr(np.column_stack([np.ones(len(x)), x, y]))[0]
        columns = _columns(self._trend.bending, self._trend.axes, x, y)
        bare = columns - plane @ (plane.T @ columns)
        half = SIGMAS * np.sqrt(((bare @ self._trend.covariance) * bare).sum(axis=1))
        if self._plate is not None:
            half = np.hypot(half, self._plate.half_width(x, y))
        return float(half.max())

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


def fit(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, error: float, bending: Bending | None = None
) -> Fitted:
    """Fit the figures `z` (n,) at `x`, `y` (n,), each within ± `error`, all mm.

    Without `bending` that of `BENDING` is reckoned with, over the places. Raises ValueError where
    there is no place, the lengths differ or a figure is not finite.
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
        plate = bent(xs, ys, zs - trend.fitted, error / LIMIT_SIGMAS, CONFIDENCE)
    fitted, leverage = trend.fitted, trend.leverage
    if plate is not None:
        fitted, leverage = fitted + plate.fitted, np.minimum(leverage + plate.leverage, 1.0)
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
        missed=residuals / np.maximum(1.0 - leverage, 1e-9) if told else np.zeros(len(xs)),
        outliers=_outliers(xs, ys, zs, error, directions, zs - trend.fitted, plate),
        freedom=freedom,
        residual_sd=scatter if plate is None else plate.sigma,
        hull=np.stack([xs, ys], axis=1),
        _trend=trend,
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


def _bent_plane(
    xs: Floats, ys: Floats, zs: Floats, error: float, directions: int, bending: Bending
) -> _Trend:
    """Mean and covariance of the coefficients; the noise is estimated along, in a few rounds."""
    middle = np.array([xs.mean(), ys.mean()])
    axes: Floats = np.linalg.svd(np.stack([xs, ys], axis=1) - middle, full_matrices=True)[2]
    level = float(zs.mean())
    columns, figures = _columns(bending, axes, xs, ys), zs - level
    slope = SLOPE * bending.half_length
    largest = np.array(
        [math.inf] * (1 + directions) + [slope] * (2 - directions) + [bending.size] * 3
    )
    prior = (_LARGEST_SIGMAS / np.maximum(largest, 1e-9)) ** 2
    least = max(error / math.sqrt(3.0), 1e-9) ** 2  # of what is even within ± error
    variance = least
    covariance: Floats = np.zeros((6, 6))
    coefficients: Floats = np.zeros(6)
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


def _outliers(
    xs: Floats,
    ys: Floats,
    zs: Floats,
    error: float,
    directions: int,
    rest: Floats,
    plate: ThinPlate | None,
) -> tuple[int, ...]:
    """Places that the others contradict by more than chance and by more than the error of one
    figure.

    Many places are held against the smooth surface through the others, with the spread taken from
    the median, so that outliers do not hide each other. Few are held against a plane, or the wedge,
    cup and twist (a quadratic) that a blank has, and the worst is taken out until none is left.
    """
    if plate is not None and len(xs) >= _ENOUGH_FOR_SMOOTH:
        return _against_surface(rest, error, plate)
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
    """Externally studentized residuals against a t with one degree less, at `_DOUBT` over all
    places (Bonferroni)."""
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
