"""The blank as it is known: maps of its thickness T and of the gap gA under it, each with what is not known.

Board frame, mm: X along the length, Y across, from the middle of the blank. The *raw top* stands T + gA above the bed
in A; where heights on the bed were measured it is known better than T and gA each. A blank that nobody measured has
the job's thickness within its tolerance, and a gap between nothing and `tolerances.flat`. A measured gap is what a
height on the bed leaves over the thickness at the same place, so it carries the errors of two figures, and is never
negative.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.job.measured import Measured
from corepath.job.model import Job
from corepath.lengths import mm, said_all
from corepath.stackup.fitting import Fitted, fit

__all__ = ["Blank", "Extreme"]

Floats = NDArray[np.float64]

SAME_PLACE = 1.0
"""mm: a figure of the record within this of a place in the file replaces the file's (common practice, no source)."""

SUNK = 0.05
"""mm by which a height may lie below the thickness by the noise of measuring; more is named."""

_STEP = 5.0


@dataclass(frozen=True, slots=True)
class Extreme:
    """The most or the least a map may come to, its errors against it, and where."""

    value: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class _Map:
    """A fitted map, or one level of `value` within ± `error`."""

    value: float
    error: float
    fitted: Fitted | None = None

    def at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        return self._level(x, y, self.value) if self.fitted is None else self.fitted.value(x, y)

    def error_at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        return self._level(x, y, self.error) if self.fitted is None else self.fitted.uncertainty(x, y)

    @staticmethod
    def _level(x: ArrayLike, y: ArrayLike, level: float) -> Floats:
        return np.full(np.broadcast_shapes(np.shape(x), np.shape(y)), level)


@dataclass(frozen=True)
class Blank:
    """What is known of the blank. `x`, `y` of all maps are arrays or numbers in mm, broadcast together."""

    length: float
    width: float
    nominal: float
    error: float
    """± of one measured figure"""
    thickness_map: Fitted | None
    """None where no thickness was measured"""
    gap_map: Fitted | None
    """None where thickness and height were not both measured"""
    top_map: Fitted | None
    """None where no height on the bed was measured"""
    flat: float
    notes: tuple[str, ...] = ()
    outliers: tuple[str, ...] = ()

    @property
    def measured(self) -> bool:
        """Whether anything of this blank was measured."""
        return self.thickness_map is not None or self.top_map is not None

    @property
    def gap_measured(self) -> bool:
        """Whether the gap is known from measuring; else it lies between 0 and `tolerances.flat`."""
        return self.gap_map is not None

    @property
    def _thickness(self) -> _Map:
        if self.thickness_map is not None or self.top_map is None:
            return _Map(self.nominal, self.error, self.thickness_map)
        return _Map(self.nominal, self.error, self.top_map)

    def thickness(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """T. From heights alone: the height, less half of what the gap may be."""
        value = self._thickness.at(x, y)
        return value - self.flat / 2 if self._from_heights else value

    def thickness_error(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """± of T."""
        value = self._thickness.error_at(x, y)
        return value + self.flat / 2 if self._from_heights else value

    @property
    def _from_heights(self) -> bool:
        return self.thickness_map is None and self.top_map is not None

    def gap(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """gA, never negative; 0 where it was not measured."""
        return np.maximum(_Map(0.0, self.flat, self.gap_map).at(x, y), 0.0)

    def gap_error(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """± of gA where it was measured; else the one-sided bound: gA lies between 0 and this."""
        return _Map(0.0, self.flat, self.gap_map).error_at(x, y)

    def gap_bounds(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Least and largest gA."""
        gap, error = self.gap(x, y), self.gap_error(x, y)
        return np.maximum(gap - error, 0.0) if self.gap_measured else np.zeros_like(gap), gap + error

    def raw_top(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """T + gA, the height of the raw top above the bed in A, nominal."""
        if self.top_map is not None:
            return self.top_map.value(x, y)
        return self.thickness(x, y) + self.gap(x, y)

    def raw_top_bounds(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Least and largest T + gA; where heights were measured, with the error of the height alone."""
        if self.top_map is not None:
            top, error = self.top_map.value(x, y), self.top_map.uncertainty(x, y)
            return top - error, top + error
        thickness, error = self.thickness(x, y), self.thickness_error(x, y)
        low, high = self.gap_bounds(x, y)
        return thickness - error + low, thickness + error + high

    @cached_property
    def thickest(self) -> Extreme:
        """The largest T + its error over the blank."""
        return self._extreme(1.0)

    @cached_property
    def thinnest(self) -> Extreme:
        """The least T - its error over the blank."""
        return self._extreme(-1.0)

    def _extreme(self, sign: float) -> Extreme:
        x, y = self.nodes()
        values = self.thickness(x, y) + sign * self.thickness_error(x, y)
        k = int(np.argmax(np.round(sign * values, 9)))
        return Extreme(float(values[k]), float(x[k]), float(y[k]))

    def nodes(self, step: float = _STEP) -> tuple[Floats, Floats]:
        """Places (n,) on a grid over the whole blank, its edges included, `step` apart or closer."""
        lines = [
            np.linspace(-size / 2, size / 2, max(2, math.ceil(size / step) + 1)) for size in (self.length, self.width)
        ]
        gx, gy = np.meshgrid(*lines, indexing="ij")
        return gx.ravel(), gy.ravel()

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """What to mind of these maps, in plain words."""
        says = list(self.notes)
        if not self.measured:
            says.append(
                f"the blank is not measured: {mm(self.nominal):.2f} ± {mm(self.error):.2f} thick and lying within "
                f"{mm(self.flat):.2f} of flat are assumed"
            )
        for name, fitted in self._maps():
            says += self._of_map(name, fitted)
        says += self.outliers
        if self.measured and not self.gap_measured:
            says.append(
                f"heights on the bed are not measured: a gap of up to {mm(self.flat):.2f} under the blank is assumed"
            )
        return said_all(says)

    def _maps(self) -> Sequence[tuple[str, Fitted]]:
        named = (("thickness", self.thickness_map), ("gap", self.gap_map), ("height", self.top_map))
        return [(name, fitted) for name, fitted in named if fitted is not None]

    def _of_map(self, name: str, fitted: Fitted) -> list[str]:
        says = []
        count = len(fitted.z)
        if fitted.kind == "constant":
            places = f"{count} place{'s' if count > 1 else ''}"
            says.append(f"{name} measured at {places} only: taken as level, {mm(float(fitted.z.mean())):.2f}")
        elif fitted.kind == "line":
            says.append(f"the {count} places where {name} was measured lie on a line: level across it is assumed")
        elif fitted.residual_sd > fitted.error:
            says.append(
                f"the figures of {name} scatter by {mm(fitted.residual_sd):.2f} about the {fitted.kind}, more than the "
                f"{mm(fitted.error):.2f} that one figure may be off"
            )
        x, y = self.nodes()
        beyond = fitted.extrapolated(x, y)
        if beyond.any():
            half = fitted.uncertainty(x, y)
            k = int(np.argmax(np.round(np.where(beyond, half, 0.0), 9)))
            says.append(
                f"{name} is extrapolated over {beyond.mean():.0%} of the blank, worst at "
                f"X{mm(x[k]):.0f} Y{mm(y[k]):.0f} (± {mm(half[k]):.2f}): measure there too"
            )
        return says

    def as_dict(self) -> dict[str, object]:
        """Figures for the report: how each map was fitted, and its residual."""
        maps = {
            name: {
                "fit": fitted.kind,
                "places": len(fitted.z),
                "rms": round(fitted.rms, 4),
                "residual_sd": None if math.isnan(fitted.residual_sd) else round(fitted.residual_sd, 4),
            }
            for name, fitted in self._maps()
        }
        extremes = {"thickest": self.thickest, "thinnest": self.thinnest}
        return {
            "measured": self.measured,
            "gap_measured": self.gap_measured,
            "maps": maps,
            **{name: {"value": round(e.value, 4), "at": [e.x, e.y]} for name, e in extremes.items()},
            "cautions": list(self.cautions),
        }

    @staticmethod
    def assumed(job: Job, notes: tuple[str, ...] = ()) -> Blank:
        """The blank as the job has it, nothing measured."""
        blank = job.blank
        error = job.tolerances.thickness if blank.tolerance is None else blank.tolerance
        return Blank(
            blank.length, blank.width, blank.thickness, error, None, None, None, job.tolerances.flat, notes
        )  # fmt: skip

    @staticmethod
    def from_measured(
        job: Job, measured: Measured | None, extra_points: Iterable[tuple[float, float, float]] = ()
    ) -> Blank:
        """The blank as measured; `extra_points` are (x, y, thickness), mm, from the as-cut record.

        They replace what the file says of the same place. A file without figures gives the blank that the job assumes.
        """
        bare = Blank.assumed(job)
        places = _with_extra(measured, tuple(extra_points))
        thick, high = ~np.isnan(places.thickness), ~np.isnan(places.height)
        both = thick & high
        if not thick.any() and not high.any():
            named = f": {measured.file}" if measured is not None and measured.file else ""
            return Blank.assumed(job, (f"no figure is filled in yet{named}",) if measured is not None else ())
        gaps = places.height - places.thickness
        fitted_thickness = _fitted(places, thick, places.thickness, bare.error)
        fitted_gap = _fitted(places, both, np.maximum(gaps, 0.0), math.hypot(bare.error, bare.error))
        fitted_top = _fitted(places, high, places.height, bare.error)
        outliers = [
            *_named("thickness", fitted_thickness),
            *_named("height", fitted_top),
            *_sunk(places, gaps),
        ]
        return Blank(
            bare.length, bare.width, bare.nominal, bare.error, fitted_thickness, fitted_gap, fitted_top, bare.flat,
            (), tuple(outliers),
        )  # fmt: skip


def _fitted(places: Measured, which: NDArray[np.bool_], figures: Floats, error: float) -> Fitted | None:
    if not which.any():
        return None
    return fit(places.x[which], places.y[which], figures[which], error)


def _with_extra(measured: Measured | None, extra: Sequence[tuple[float, float, float]]) -> Measured:
    """The places of the file and those of the record; of one place the record's later figure holds."""
    rows: list[list[float]] = []
    if measured is not None:
        rows = [list(row) for row in zip(measured.x, measured.y, measured.thickness, measured.height, strict=True)]
    for x, y, thickness in extra:
        near = [k for k, row in enumerate(rows) if math.hypot(row[0] - x, row[1] - y) <= SAME_PLACE]
        for k in near:
            rows[k][2] = thickness
        if not near:
            rows.append([x, y, thickness, math.nan])
    table = np.array(rows, dtype=float).reshape(-1, 4)
    return Measured(table[:, 0], table[:, 1], table[:, 2], table[:, 3])


def _named(name: str, fitted: Fitted | None) -> list[str]:
    """The outliers of a map in words. They stay in the fit: only the person who measured can tell."""
    if fitted is None:
        return []
    says = []
    for k in fitted.outliers:
        place = f"X{mm(fitted.x[k]):.0f} Y{mm(fitted.y[k]):.0f}"
        off, way = abs(float(fitted.missed[k])), "more" if fitted.missed[k] > 0 else "less"
        says.append(
            f"{name} {mm(fitted.z[k]):.2f} at {place} is {mm(off):.2f} {way} than the other places say: "
            f"measure it again (it is counted as it stands)"
        )
    return says


def _sunk(places: Measured, gaps: Floats) -> list[str]:
    """Places where the height lies below the thickness by more than noise."""
    return [
        f"height {mm(places.height[k]):.2f} at X{mm(places.x[k]):.0f} Y{mm(places.y[k]):.0f} is "
        f"{mm(-gaps[k]):.2f} less than the thickness there: measure both again (taken as no gap)"
        for k in np.flatnonzero(np.nan_to_num(gaps) < -SUNK - 1e-9)
    ]
