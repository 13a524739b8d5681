"""The blank as it is known: maps of its thickness T and of the gap gA under it, with uncertainty.

Board frame, mm: X along the length, Y across, from the middle of the blank. The *raw top* is T + gA
above the bed in A; where heights on the bed were measured it is known better than T and gA each. A
blank that was not measured has the job's thickness within its tolerance, and a gap between 0 and
`tolerances.flat`. A measured gap is a height on the bed less the thickness at the same place, so it
carries the errors of two figures; it is never negative.

Whatever cup, bow or twist the measured places cannot detect stays part of the uncertainty
(fitting.py). Only the job limits it: `blank.tolerance` limits the thickness, `tolerances.flat` the
gap, each unless a figure contradicts it.

In B the blank rests on its raw top. The job states with `tolerances.flat` how far it may stand off
the bed as held, whatever its shape. Where the figures show a raw top farther out of plane than
that, the turned blank may stand off by more, namely by the worst of the ways in which it can rest
(rests.py), with the uncertainty of the map: `stands_off`. Pressed down flat it does not stand off
at all, so the gap in B lies anywhere between 0 and that.
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
from corepath.reported import Key, report_keys
from corepath.stackup.measuring.fitting import Bending, Fitted, fit
from corepath.stackup.measuring.rests import Planes, Rests, off, rests

__all__ = ["Blank", "Extreme"]

Floats = NDArray[np.float64]
_Placed = tuple[float, float, float]

SAME_PLACE = 1.0
"""mm: a figure of the record within this of a place in the file replaces the file's (common
practice, no source)."""

SUNK = 0.05
"""mm by which a height may lie below the thickness by the noise of measuring; more is reported."""

# mm between the nodes at which the maps are searched for their extremes
_STEP = 5.0
# The same for how the blank rests, where each node is a constraint of a linear program: a bend is
# smooth, so that a coarser grid does.
_REST_STEP = 20.0

_SEEN = 2.0 / 3.0
"""Share of `tolerances.flat` from which a measured warp contradicts that tolerance.

Chosen by simulation of blanks read at nine places within 0.02, with tolerances.flat = 0.1: where
less warp than this is seen, one blank in 100 is out of plane by more than 0.1 all the same; and one
flat blank in 100 seems to be out of plane by more than this."""

UNSEEN = 2.0
"""A map whose half-width between the places exceeds this many times the error of one figure rests
on too few places; a caution then says so."""


@report_keys("value", Key("at", places=None))
@dataclass(frozen=True, slots=True)
class Extreme:
    """The largest or least value that a map may have, errors included, mm, and its place."""

    value: float
    x: float
    y: float

    @property
    def at(self) -> tuple[float, float]:
        return self.x, self.y


@dataclass(frozen=True, slots=True)
class _Map:
    """A fitted map or, without one, the same `value` within ± `error` everywhere, mm."""

    value: float
    error: float
    fitted: Fitted | None = None
    bounds: tuple[float, float] | None = None
    """What the job says the figure lies between"""

    def at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        return self._level(x, y, self.value) if self.fitted is None else self.fitted.value(x, y)

    def error_at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        if self.fitted is None:
            return self._level(x, y, self.error)
        half = self.fitted.uncertainty(x, y)
        if self.bounds is None:
            return half
        value, (low, high) = self.fitted.value(x, y), self.bounds
        # The true figure lies between the job's bounds: no error can reach past the farther one.
        return np.minimum(half, np.maximum(value - low, high - value))

    @staticmethod
    def _level(x: ArrayLike, y: ArrayLike, level: float) -> Floats:
        return np.full(np.broadcast_shapes(np.shape(x), np.shape(y)), level)


@report_keys("measured", "gap_measured", Key("maps", "fits"), "thickest", "thinnest", "cautions")
@dataclass(frozen=True)
class Blank:
    """What is known of the blank: maps of T, gA and the raw top, each with its half-width.

    `x`, `y` of all methods are numbers or arrays in mm (board frame), broadcast together; results
    are mm and have their common shape. `nominal`, `tolerance`, `flat` and `gauge` come from the
    job; `notes` and `outliers` are cautions in words.
    """

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
    tolerance: float | None = None
    """`blank.tolerance`, where the job gives it"""
    gauge: float = 0.0
    """how far a figure may lie beyond a bound of the job without contradicting it: the gauge's
    error"""

    @property
    def measured(self) -> bool:
        """Whether anything of this blank was measured."""
        return self.thickness_map is not None or self.top_map is not None

    @property
    def gap_measured(self) -> bool:
        """Whether gA was measured; else it lies between 0 and `tolerances.flat`."""
        return self.gap_map is not None

    @property
    def _thickness(self) -> _Map:
        if self.thickness_map is not None or self.top_map is None:
            bounds = self._within(self.thickness_map, self.tolerance, 0.0)
            return _Map(self.nominal, self.error, self.thickness_map, bounds)
        return self._top

    @property
    def _top(self) -> _Map:
        return _Map(
            self.nominal,
            self.error,
            self.top_map,
            self._within(self.top_map, self.tolerance, self.flat),
        )

    @property
    def _gap(self) -> _Map:
        # A gap is the difference of two figures, each of which may be out by the gauge: only beyond
        # twice that does it contradict the job's bound.
        if self.gap_map is None or (self.gap_map.z > self.flat + 2.0 * self.gauge).any():
            return _Map(0.0, self.flat, self.gap_map)
        return _Map(0.0, self.flat, self.gap_map, (0.0, self.flat))

    def _within(
        self, fitted: Fitted | None, tolerance: float | None, above: float
    ) -> tuple[float, float] | None:
        """Return the job's bounds (low, high) of a map, mm; None where it gives none, or where a
        figure contradicts them. `above` is added to the upper one."""
        if fitted is None or tolerance is None:
            return None
        low, high = self.nominal - tolerance, self.nominal + tolerance + above
        if (fitted.z < low - self.gauge).any() or (fitted.z > high + self.gauge).any():
            return None
        return low, high

    def thickness(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return T, mm; x and y in mm, board frame, are broadcast together here and in all that
        follows."""
        # Heights alone give T + gA with gA anywhere from 0 to flat: take the middle of that, and
        # add the other half to the error below.
        value = self._thickness.at(x, y)
        return value - self.flat / 2 if self._from_heights else value

    def thickness_error(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return the half-width of T, mm."""
        value = self._thickness.error_at(x, y)
        return value + self.flat / 2 if self._from_heights else value

    @property
    def _from_heights(self) -> bool:
        return self.thickness_map is None and self.top_map is not None

    def gap(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return gA, mm, never negative; 0 where it was not measured."""
        return np.maximum(self._gap.at(x, y), 0.0)

    def gap_error(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return the half-width of gA where it was measured; else its upper bound: gA then lies
        between 0 and this."""
        return self._gap.error_at(x, y)

    def top_error(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return the half-width of the raw top where heights on the bed were measured."""
        return self._top.error_at(x, y)

    def warp(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return how far the raw top as measured stands off a plane that it is laid on face down.

        The blank is taken as rigid and pressed at its middle; at each place the largest gap over
        all ways in which it can then rest counts. 0 where nothing was measured.
        """
        return self._off(self._rests.as_measured, x, y)

    def stands_off(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return the largest gB that is possible.

        That is `tolerances.flat`, which the job states; where the figures show a raw top too bent
        for it, increased by how far a rigid blank of that shape, map error included, stands off.
        """
        return self.flat + self._off(self._rests.at_most if self._bent else (), x, y)

    @cached_property
    def _bent(self) -> bool:
        """Whether the measured warp contradicts `tolerances.flat`."""
        return float(self.warp(*self.nodes(_REST_STEP)).max()) > _SEEN * self.flat

    @cached_property
    def _rests(self) -> Rests:
        """The planes that the raw top may rest on when it is turned over; none if not measured."""
        known = self.thickness_map if self.top_map is None else self.top_map
        if known is None:
            return Rests((), ())
        x, y = self.nodes(_REST_STEP)
        return rests(x, y, self.raw_top(x, y), known.shape_error(x, y))

    def _off(self, planes: Planes, x: ArrayLike, y: ArrayLike) -> Floats:
        if not planes:
            return np.zeros(np.broadcast_shapes(np.shape(x), np.shape(y)))
        return off(planes, x, y, self.raw_top(x, y))

    def gap_bounds(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Return least and largest gA, mm."""
        gap, error = self.gap(x, y), self.gap_error(x, y)
        return np.maximum(gap - error, 0.0) if self.gap_measured else np.zeros_like(
            gap
        ), gap + error

    def raw_top(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return T + gA, the height of the raw top above the bed in A, nominal."""
        if self.top_map is not None:
            return self.top_map.value(x, y)
        return self.thickness(x, y) + self.gap(x, y)

    def raw_top_bounds(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Return least and largest T + gA, mm."""
        # A measured height is one figure with one error; T and gA would count two.
        if self.top_map is not None:
            top, error = self.top_map.value(x, y), self.top_error(x, y)
            return top - error, top + error
        thickness, error = self.thickness(x, y), self.thickness_error(x, y)
        low, high = self.gap_bounds(x, y)
        return thickness - error + low, thickness + error + high

    @cached_property
    def thickest(self) -> Extreme:
        """The largest T with its error over the blank."""
        return self._extreme(1.0)

    @cached_property
    def thinnest(self) -> Extreme:
        """The least T with its error over the blank."""
        return self._extreme(-1.0)

    def _extreme(self, sign: float) -> Extreme:
        x, y = self.nodes()
        values = self.thickness(x, y) + sign * self.thickness_error(x, y)
        # rounded, so that float noise does not choose between equal places
        k = int(np.argmax(np.round(sign * values, 9)))
        return Extreme(float(values[k]), float(x[k]), float(y[k]))

    def nodes(self, step: float = _STEP) -> tuple[Floats, Floats]:
        """Return x and y, (n,) mm each, of a grid over the whole blank, edges included, whose nodes
        are `step` apart or closer."""
        lines = [
            np.linspace(-size / 2, size / 2, max(2, math.ceil(size / step) + 1))
            for size in (self.length, self.width)
        ]
        gx, gy = np.meshgrid(*lines, indexing="ij")
        return gx.ravel(), gy.ravel()

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """Cautions about these maps, in plain words."""
        says = list(self.notes)
        if not self.measured:
            says.append(
                f"the blank is not measured: {mm(self.nominal):.2f} ± {mm(self.error):.2f} thick "
                "and lying within "
                f"{mm(self.flat):.2f} of flat are assumed"
            )
        for name, fitted in self._maps():
            says += self._of_map(name, fitted)
        says += self.outliers
        says += self._of_warp()
        if self.measured and not self.gap_measured:
            says.append(
                f"heights on the bed are not measured: a gap of up to {mm(self.flat):.2f} under "
                "the blank is assumed"
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
            says.append(
                f"{name} measured at {places} only: taken as level, "
                f"{mm(float(fitted.z.mean())):.2f}"
            )
        elif fitted.kind == "line":
            says.append(
                f"the {count} places where {name} was measured lie on a line: level across "
                "it is assumed"
            )
        elif fitted.residual_sd > fitted.error:
            says.append(
                f"the figures of {name} scatter by {mm(fitted.residual_sd):.2f} about the "
                f"{fitted.kind}, more than the "
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
        return [*says, *self._unseen(name, fitted, x[~beyond], y[~beyond])]

    @staticmethod
    def _unseen(name: str, fitted: Fitted, x: Floats, y: Floats) -> list[str]:
        """Return the caution about the place where a bend might go undetected, if there is one."""
        if fitted.kind in ("constant", "line"):
            return []
        half = fitted.uncertainty(x, y)
        k = int(np.argmax(np.round(half, 6)))
        if half[k] <= UNSEEN * fitted.error:
            return []
        near = float(np.hypot(fitted.x - x[k], fitted.y - y[k]).min())
        return [
            f"{name} at X{mm(x[k]):.0f} Y{mm(y[k]):.0f}, {mm(near):.0f} from the nearest place, is "
            "known to "
            f"± {mm(half[k]):.2f} only: "
            "the places measured cannot tell a cup, bow or twist there; measure there too"
        ]

    def _of_warp(self) -> list[str]:
        """Return the caution about a raw top that is out of plane, if it is."""
        if not self._bent:
            return []
        x, y = self.nodes(_REST_STEP)
        most = self.stands_off(x, y)
        k = int(np.argmax(np.round(most, 6)))
        seen = float(self.warp(x[k], y[k]))
        return [
            f"the raw top is out of plane: turned over it may stand {mm(seen):.2f} off the bed at "
            f"X{mm(x[k]):.0f} "
            f"Y{mm(y[k]):.0f} of the board by the figures; with what they leave open and the "
            f"{mm(self.flat):.2f} of "
            f"tolerances.flat {mm(most[k]):.2f} is counted in B; a blank pressed flat there "
            "springs back after the skim"
        ]

    def fits(self) -> dict[str, dict[str, object]]:
        """Return for the report how each map was fitted, and its residual in mm."""
        return {
            name: {
                "fit": fitted.kind,
                "places": len(fitted.z),
                "rms": fitted.rms,
                "residual_sd": None if math.isnan(fitted.residual_sd) else fitted.residual_sd,
            }
            for name, fitted in self._maps()
        }

    @staticmethod
    def assumed(job: Job, notes: tuple[str, ...] = ()) -> Blank:
        """Return the blank as the job describes it, nothing measured; `notes` are cautions."""
        blank = job.blank
        error = job.tolerances.thickness if blank.tolerance is None else blank.tolerance
        return Blank(
            blank.length, blank.width, blank.thickness, error, None, None, None,
            job.tolerances.flat, notes,
            tolerance=blank.tolerance, gauge=job.tolerances.gauge,
        )  # fmt: skip

    @staticmethod
    def from_measured(
        job: Job,
        measured: Measured | None,
        extra_points: Iterable[_Placed] = (),
        extra_heights: Iterable[_Placed] = (),
    ) -> Blank:
        """Return the blank as measured.

        `measured` are the figures of the file (None without one); `extra_points` are (x, y,
        thickness), `extra_heights` (x, y, height of the raw top) in mm from the as-cut record.
        They replace the file's figure at the same place. Without any figure the result is the blank
        that the job assumes.
        """
        bare = Blank.assumed(job)
        probed = tuple(extra_heights)
        places = _with_extra(measured, tuple(extra_points), probed)
        thick, high = ~np.isnan(places.thickness), ~np.isnan(places.height)
        both = thick & high
        if not thick.any() and not high.any():
            named = f": {measured.file}" if measured is not None and measured.file else ""
            return Blank.assumed(
                job, (f"no figure is filled in yet{named}",) if measured is not None else ()
            )
        gaps, error = places.height - places.thickness, _of_one_figure(job)
        bending = Bending(bare.length / 2, bare.width / 2, job.tolerances.bending)
        fitted_thickness = _fitted(places, thick, places.thickness, error, bending)
        # Only places with both figures tell the gap. A negative one is noise (see `_sunk`).
        fitted_gap = _fitted(places, both, np.maximum(gaps, 0.0), math.hypot(error, error), bending)
        high_error = _of_one_height(job, error, int(high.sum()), len(probed))
        fitted_top = _fitted(places, high, places.height, high_error, bending)
        outliers = [
            *_named("thickness", fitted_thickness),
            *_named("height", fitted_top),
            *_sunk(places, gaps),
        ]
        return Blank(
            bare.length, bare.width, bare.nominal, error, fitted_thickness, fitted_gap,
            fitted_top, bare.flat,
            (), tuple(outliers), bare.tolerance, bare.gauge,
        )  # fmt: skip


def _of_one_figure(job: Job) -> float:
    """Return the error of one measured figure, ± mm: no more than the thickness may be off."""
    # How far a rough blank may be off says nothing of the callipers that it is measured with.
    own = job.blank.tolerance
    return job.tolerances.thickness if own is None else min(job.tolerances.thickness, own)


def _of_one_height(job: Job, error: float, heights: int, probed: int) -> float:
    """Return the error of one height: that of a probe where all are the record's, else the larger
    one, since one fit takes all figures alike."""
    if not probed:
        return error
    return job.tolerances.probe if probed >= heights else max(error, job.tolerances.probe)


def _fitted(
    places: Measured, which: NDArray[np.bool_], figures: Floats, error: float, bending: Bending
) -> Fitted | None:
    if not which.any():
        return None
    return fit(places.x[which], places.y[which], figures[which], error, bending)


def _with_extra(
    measured: Measured | None, extra: Sequence[_Placed], heights: Sequence[_Placed]
) -> Measured:
    """Return the places of the file and of the record; at one place the later figure counts."""
    rows: list[list[float]] = []
    if measured is not None:
        rows = [
            list(row)
            for row in zip(measured.x, measured.y, measured.thickness, measured.height, strict=True)
        ]
    figures = [(2, one) for one in extra] + [(3, one) for one in heights]
    for column, (x, y, figure) in figures:
        near = [k for k, row in enumerate(rows) if math.hypot(row[0] - x, row[1] - y) <= SAME_PLACE]
        for k in near:
            rows[k][column] = figure
        if not near:
            rows.append([x, y, math.nan, math.nan])
            rows[-1][column] = figure
    table = np.array(rows, dtype=float).reshape(-1, 4)
    return Measured(table[:, 0], table[:, 1], table[:, 2], table[:, 3])


def _named(name: str, fitted: Fitted | None) -> list[str]:
    """Return the outliers of a map in words."""
    # They stay in the fit: only the person who measured can say whether the figure is wrong.
    if fitted is None:
        return []
    says = []
    for k in fitted.outliers:
        place = f"X{mm(fitted.x[k]):.0f} Y{mm(fitted.y[k]):.0f}"
        off, way = abs(float(fitted.missed[k])), "more" if fitted.missed[k] > 0 else "less"
        says.append(
            f"{name} {mm(fitted.z[k]):.2f} at {place} is {mm(off):.2f} {way} than the other places "
            "say: "
            f"measure it again (it is counted as it stands)"
        )
    return says


def _sunk(places: Measured, gaps: Floats) -> list[str]:
    """Return a caution for each place whose height lies below its thickness by more than noise."""
    return [
        f"height {mm(places.height[k]):.2f} at X{mm(places.x[k]):.0f} Y{mm(places.y[k]):.0f} is "
        f"{mm(-gaps[k]):.2f} less than the thickness there: measure both again (taken as no gap)"
        # nan, where one of the two was not measured, counts as no gap; 1e-9 lets a difference of
        # just SUNK pass, whichever way its last bit falls
        for k in np.flatnonzero(np.nan_to_num(gaps) < -SUNK - 1e-9)
    ]
