"""The blank as it is: maps of its thickness and of the gap under it as held in A, with how far they may be off.

An unmeasured blank is as thick as the job says, all over, within its tolerance, and may lie hollow by the
tolerance `flat`. A measured one is as the surface through the measured places says. All lengths in mm,
places in the board frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.job.measured import Measured
from corepath.job.model import Job
from corepath.stackup.fitting import Fitted, fit

__all__ = ["Blank"]

Floats = NDArray[np.float64]

NOISE = 0.05
"""mm by which a height may fall short of a thickness: reading, not a gap below nothing."""

GRID = 10.0
MANY = 6


@dataclass(frozen=True)
class Blank:
    """Thickness and gap as maps. `points` (n, 2) are the measured places; `cautions` say what is not known."""

    length: float
    width: float
    nominal: float
    error: float
    flat: float
    thickness_map: Fitted | None = None
    gap_map: Fitted | None = None
    points: Floats | None = None
    cautions: tuple[str, ...] = ()

    @classmethod
    def assumed(cls, job: Job) -> Self:
        """The blank as the job states it."""
        blank = job.blank
        error = _error(job)
        return cls(
            length=blank.length,
            width=blank.width,
            nominal=blank.thickness,
            error=error,
            flat=job.tolerances.flat,
            cautions=(f"the blank was not measured: {blank.thickness:g} ± {error:g} is assumed all over",),
        )

    @classmethod
    def from_measured(
        cls, job: Job, measured: Measured, extra_points: Sequence[tuple[float, float, float]] = ()
    ) -> Self:
        """The blank through its measured places and those of the as-cut record (x, y, thickness).

        Where only the height above the bed was measured the thickness is taken to be as much, with the gap
        that the tolerances allow; a gap is known where both were measured.
        """
        blank, flat = job.blank, job.tolerances.flat
        known = [row for row in zip(measured.x, measured.y, measured.thickness, strict=True) if not np.isnan(row[2])]
        both = ~np.isnan(measured.thickness) & ~np.isnan(measured.height)
        lone = np.isnan(measured.thickness)
        known += list(zip(measured.x[lone], measured.y[lone], measured.height[lone], strict=True))
        known = _later_wins(known, extra_points)
        if not known:
            return cls.assumed(job)
        x, y, figures = np.asarray(known, dtype=np.float64).T
        error = _error(job)
        thickness = fit(x, y, figures, error)
        cautions = _cautions("thickness", thickness, figures, blank.length, blank.width)
        if lone.any():
            cautions.append(f"at {int(lone.sum())} places only the height was measured: a gap there counts as thickness")
        gap: Fitted | None = None
        if both.any():
            gaps = measured.height[both] - measured.thickness[both]
            below = [k for k in np.flatnonzero(gaps < -NOISE)]
            cautions += [
                f"at X{measured.x[both][k]:.0f} Y{measured.y[both][k]:.0f} the height is {-gaps[k]:.2f} less than the "
                "thickness: measure again"
                for k in below
            ]
            gap = fit(measured.x[both], measured.y[both], np.maximum(gaps, 0.0), error)
            cautions += _cautions("gap", gap, gaps, blank.length, blank.width)
        return cls(
            length=blank.length,
            width=blank.width,
            nominal=blank.thickness,
            error=error,
            flat=flat,
            thickness_map=thickness,
            gap_map=gap,
            points=np.column_stack([x, y]),
            cautions=tuple(cautions),
        )

    @property
    def measured(self) -> bool:
        return self.thickness_map is not None

    @property
    def gap_measured(self) -> bool:
        return self.gap_map is not None

    def thickness(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """T at places (any shape)."""
        if self.thickness_map is None:
            return np.full(np.broadcast(np.asarray(x), np.asarray(y)).shape, self.nominal)
        return self.thickness_map.value(x, y)

    def thickness_error(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """± error of T at places."""
        if self.thickness_map is None:
            return np.full(np.broadcast(np.asarray(x), np.asarray(y)).shape, self.error)
        return self.thickness_map.uncertainty(x, y)

    def gap(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """gA at places: as measured, never below zero; zero where it was not."""
        if self.gap_map is None:
            return np.zeros(np.broadcast(np.asarray(x), np.asarray(y)).shape)
        return np.maximum(self.gap_map.value(x, y), 0.0)

    def gap_error(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Error of gA at places: ± where it was measured, else one-sided, 0 to `flat`."""
        if self.gap_map is None:
            return np.full(np.broadcast(np.asarray(x), np.asarray(y)).shape, self.flat)
        return self.gap_map.uncertainty(x, y)

    @property
    def thickest(self) -> float:
        """The most that the thickness may be anywhere on the blank."""
        x, y = self._grid()
        return float(np.round((self.thickness(x, y) + self.thickness_error(x, y)).max(), 6))

    @property
    def thinnest(self) -> float:
        """The least that the thickness may be anywhere on the blank."""
        x, y = self._grid()
        return float(np.round((self.thickness(x, y) - self.thickness_error(x, y)).min(), 6))

    def _grid(self) -> tuple[Floats, Floats]:
        x = np.linspace(-self.length / 2, self.length / 2, max(2, int(self.length / GRID) + 1))
        y = np.linspace(-self.width / 2, self.width / 2, max(2, int(self.width / GRID) + 1))
        across, along = np.meshgrid(x, y)
        return across.ravel(), along.ravel()


def _error(job: Job) -> float:
    return job.tolerances.thickness if job.blank.tolerance is None else job.blank.tolerance


def _later_wins(
    known: Sequence[tuple[float, float, float]], extra: Sequence[tuple[float, float, float]]
) -> list[tuple[float, float, float]]:
    """One figure for a place (within 0.5 mm): that of the record, which is younger."""
    found = {(round(x * 2), round(y * 2)): (x, y, figure) for x, y, figure in (*known, *extra)}
    return list(found.values())


def _cautions(name: str, fitted: Fitted, figures: Floats, length: float, width: float) -> list[str]:
    found = []
    if len(figures) < MANY:
        found.append(f"{name}: only {len(figures)} places were measured, fitted as a {fitted.kind}")
    for k in fitted.outliers:
        place = f"X{fitted.x[k]:.0f} Y{fitted.y[k]:.0f}"
        found.append(
            f"{name} {figures[k]:.2f} at {place} is {fitted.residuals[k]:+.2f} off what the others say: measure it again"
        )
    corners = np.array([(sx * length / 2, sy * width / 2) for sx in (-1, 1) for sy in (-1, 1)])
    if fitted.extrapolated(corners[:, 0], corners[:, 1], margin=0.05 * length).any():
        worst = float(fitted.uncertainty(corners[:, 0], corners[:, 1]).max())
        found.append(f"{name}: the corners lie outside the measured places, extrapolated to ± {worst:.2f}")
    return found
