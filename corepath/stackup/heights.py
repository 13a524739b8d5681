"""All heights of the stack-up as lengths with named errors.

Terms as in the relations (docs/arithmetic.md): T thickness of the blank; gA, gB, gC the gap under
it as held; f height of a pocket's floor above the bed in A; D depth of a pocket from the raw top; s
plane of the skim above the bed in B; h height of the deck above the bed in C; p how far the cured
resin lies below the raw top. Heights are above the bed *under that place* (`at`: x, y in the board
frame), mm.

A commanded height comes out with the errors of touching off, of the machine and of the bed. With
the zero on the bed these are all. With the zero on a face, thickness and gap at the touched place
enter too. What the as-cut record settles replaces what was predicted, with the error of the gauge.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.job.model import Job
from corepath.job.record.settled import Settled
from corepath.stackup.linear import Linear
from corepath.stackup.measuring.blank import Blank
from corepath.stackup.measuring.fitting import Bending, Fitted, fit
from corepath.stackup.pour.flush import FaceFlush, LocalFlush, flush_face, flush_local
from corepath.stackup.pour.pour import depth_loss, resin_low

__all__ = ["At", "Heights"]

At = tuple[float, float]

TOUCH = " at the touch"


def _error(name: str, size: float) -> Linear:
    """A ± error whose size differs from place to place while it stays the same error."""
    return Linear.term(name, 1.0) * size


@dataclass(frozen=True)
class Heights:
    """The heights of one job on one blank. `Linear` results carry every contributor by name."""

    job: Job
    blank: Blank
    settled: Settled = field(default_factory=Settled)

    @property
    def _face(self) -> bool:
        return self.job.machine.z_zero == "face"

    @property
    def _touch_at(self) -> At:
        return self.job.machine.touch_at or (0.0, 0.0)

    @property
    def _gauge(self) -> float:
        return self.job.tolerances.gauge

    def thickness(self, at: At, where: str = "") -> Linear:
        """T at a place. `where` names the error of another place than the one asked about."""
        return float(self.blank.thickness(*at)) + _error(
            f"thickness{where}", float(self.blank.thickness_error(*at))
        )

    def gap(self, setup: str, at: At, where: str = "") -> Linear:
        """gA, gB or gC. gA may have been measured; else the gap is one-sided and nominally zero.

        In B a raw top that was measured to be no plane may stand off the bed besides.
        """
        name = f"lying flat in {setup}{where}"
        if setup == "A" and self.blank.gap_measured:
            return float(self.blank.gap(*at)) + _error(name, float(self.blank.gap_error(*at)))
        if setup == "B" and self.face_flush is None:
            return Linear.gap(name, 1.0) * float(self.blank.stands_off(*at))
        return Linear.gap(name, self.job.tolerances.flat)

    def raw_top(self, at: At) -> Linear:
        """T + gA above the bed in A, or the plane that a flush of the whole face left in its
        place."""
        return self.came_top(at) if self.face_flush is None else self.face_flush.top

    @cached_property
    def face_flush(self) -> FaceFlush | None:
        """The plane of a flush of the whole face, where the job asks for one."""
        if self.job.cast.flush != "face":
            return None
        x, y = self.blank.nodes(20.0)
        low, _ = self.blank.raw_top_bounds(x, y)
        k = int(np.argmin(np.round(low, 6)))
        return flush_face(self.came_top((float(x[k]), float(y[k]))), self.floor(0.0, "flush"))

    def local_flush(self, casting: str, band: NDArray[np.float64]) -> LocalFlush | None:
        """The plane of a flush round one casting, `band` (n, 2) being places of it and the band
        round it."""
        if self.job.cast.flush != "local":
            return None
        low, _ = self.blank.raw_top_bounds(*band.T)
        x, y = band[int(np.argmin(np.round(low, 6)))]
        top = self.came_top((float(x), float(y)))
        return flush_local(casting, top, self.floor(0.0, "flush"), beyond=self.job.cast.flush_band)

    def came_top(self, at: At) -> Linear:
        """T + gA as the blank came; a height measured as held is known better than thickness and
        gap each."""
        if self.blank.top_map is None:
            return self.thickness(at) + self.gap("A", at)
        return float(self.blank.raw_top(*at)) + _error(
            "height as held", float(self.blank.top_error(*at))
        )

    def bed(self, setup: str, where: str = "") -> Linear:
        """Height of the bed under one place; A and C lie on the same place, B on its mirror
        image."""
        return Linear.term(f"bed{' in B' if setup == 'B' else ''}{where}", self.job.tolerances.bed)

    def _reached(self, operation: str) -> Linear:
        """Touch and machine. A coupon's measured bias takes the machine's place, as good as the
        gauge."""
        tolerances = self.job.tolerances
        touch = Linear.term(f"touch for {operation}", tolerances.touch)
        if self.settled.coupon_z is None:
            return touch + Linear.term(f"machine in {operation}", tolerances.machine)
        return (
            touch
            + self.settled.coupon_z
            + Linear.term("machine as by the coupon", min(self._gauge, tolerances.machine))
        )

    def floor(self, height: float, operation: str) -> Linear:
        """f: the floor that `operation` leaves in A, above the bed under it."""
        reached = height + self._reached(operation) - self.bed("A")
        if not self._face:
            return reached
        here = self._touch_at
        if self.blank.top_map is None:
            blank = self.thickness(here, TOUCH) + self.gap("A", here, TOUCH) - self.face_height
        else:
            blank = _error(f"height as held{TOUCH}", float(self.blank.top_error(*here)))
        return reached + blank + self.bed("A", TOUCH)

    @property
    def face_height(self) -> float:
        """Nominal height of the raw top above the bed in A at the touched place."""
        return float(self.blank.raw_top(*self._touch_at))

    @property
    def face_height_below(self) -> float:
        """Nominal height of the raw bottom above the bed in B at the touched place."""
        return self._bottom_up(self._touch_at).nominal

    def _bottom_up(self, at: At) -> Linear:
        """The raw bottom above what bears in B at the touched place: T, or what a flush of the
        whole face left of it.

        The flush lies above the bed of the touched place there, not above that of another one.
        """
        if self.face_flush is None:
            return self.thickness(at, TOUCH)
        return self.face_flush.top + self.bed("A") - self.bed("A", TOUCH) - self.gap("A", at, TOUCH)

    def wood_under(self, height: float, operation: str, at: At) -> Linear:
        """Wood left under a floor: f - gA."""
        return self.floor(height, operation) - self.gap("A", at)

    def depth(self, height: float, operation: str, at: At, casting: str = "") -> Linear:
        """D: depth of a pocket below the raw top, T + gA - f; or as the depth gauge gave it."""
        measured = self.settled.pocket_depth.get(casting)
        if measured is not None:
            return measured + Linear.term("depth gauge", self._gauge)
        predicted = self.raw_top(at) - self.floor(height, operation)
        if operation == "groove" and self._groove_depth is not None:
            bounds = predicted.worst()
            error = float(self._gauged(self._groove_depth, at[0], at[1], self._differs, bounds))
            return float(self._groove_depth.value(*at)) + _error("depth gauge", error)
        return predicted

    @property
    def _differs(self) -> float:
        """By how much D may differ between two places that one cut passes over: each has a
        thickness, a gap, a bed."""
        return 2.0 * self.blank.error + self.job.tolerances.flat + 2.0 * self.job.tolerances.bed

    def _gauged(
        self,
        fitted: Fitted,
        x: ArrayLike,
        y: ArrayLike,
        differs: float,
        predicted: tuple[ArrayLike, ArrayLike],
    ) -> NDArray[np.float64]:
        """± of what was gauged at some places and holds at others, at least the gauge's own error.

        A few readings say nothing of other places but that these can differ from them by no more
        than two places may, `differs`; only enough of them tell how the depth runs. What was
        `predicted` (least and largest) still holds, unless the value lies outside of it.
        """
        half = np.full(np.broadcast(x, y).shape, differs + self._gauge)
        if fitted.kind == "surface":
            half = np.minimum(half, fitted.uncertainty(x, y))
        value, low, high = fitted.value(x, y), *(np.asarray(end) for end in predicted)
        holds = (value >= low - self._gauge) & (value <= high + self._gauge)
        within = np.maximum(np.maximum(value - low, high - value), self._gauge)
        return np.asarray(np.where(holds, np.minimum(half, within), half))

    @cached_property
    def _groove_depth(self) -> Fitted | None:
        if not self.settled.groove_depth:
            return None
        x, y, depth = zip(*self.settled.groove_depth, strict=True)
        return fit(x, y, depth, self._gauge, self._bending)

    @property
    def _bending(self) -> Bending:
        return Bending(
            self.job.blank.length / 2, self.job.blank.width / 2, self.job.tolerances.bending
        )

    def gauged_depth(
        self, operation: str, casting: str
    ) -> Callable[[ArrayLike, ArrayLike], NDArray[np.float64]] | None:
        """Nominal D over places x and y as the depth gauge found it; None where it was not held
        in."""
        measured = self.settled.pocket_depth.get(casting)
        if measured is not None:
            return lambda x, y: np.full(np.broadcast(x, y).shape, float(measured))
        if operation == "groove" and self._groove_depth is not None:
            return self._groove_depth.value
        return None

    def depth_over(
        self, height: float, operation: str, places: NDArray[np.float64], casting: str = ""
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Nominal D and the size of its error from place to place, over (n, 2) places."""
        measured = self.settled.pocket_depth.get(casting)
        if measured is not None:
            return np.full(len(places), measured), np.zeros(len(places))
        x, y = places.T
        if self.face_flush is not None:
            return np.full(len(places), self.face_flush.plane - height), np.zeros(len(places))
        if operation == "groove" and self._groove_depth is not None:
            bounds = self._predicted(height, operation, x, y)
            return self._groove_depth.value(x, y), self._gauged(
                self._groove_depth, x, y, self._differs, bounds
            )
        low, high = self.blank.raw_top_bounds(x, y)
        nominal = self.blank.raw_top(x, y)
        return nominal - height, np.maximum(nominal - low, high - nominal)

    def _predicted(
        self, height: float, operation: str, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Least and largest D over places, as long as nothing was gauged."""
        low, high = self.blank.raw_top_bounds(x, y)
        least, largest = self.floor(height, operation).worst()
        return low - largest, high - least

    def poured_depth(self, height: float, operation: str, at: At, casting: str = "") -> Linear:
        """D when the resin is poured: from the raw top as it came, which a flush planes off
        later."""
        if self.face_flush is None:
            return self.depth(height, operation, at, casting)
        return self.came_top(at) - self.floor(height, operation)

    def mean_depth(
        self, height: float, operation: str, places: NDArray[np.float64], casting: str = ""
    ) -> float:
        """Mean D over (n, 2) places when the resin is poured."""
        if self.face_flush is not None:
            return float(self.blank.raw_top(*places.T).mean()) - height
        return float(self.depth_over(height, operation, places, casting)[0].mean())

    def gap_upper(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """How hollow the blank may lie in A over (n, 2) places."""
        x, y = places.T
        return self.blank.gap(x, y) + self.blank.gap_error(x, y)

    def uneven(self, places: NDArray[np.float64]) -> float:
        """Half of what the raw top's height differs over (n, 2) places, for the pour: a wedge is a
        tilt too."""
        if not self.blank.measured:
            return 0.0
        top = self.blank.raw_top(*places.T)
        return float(top.max() - top.min()) / 2.0

    def shows_at(self, height: float, operation: str, at: At, casting: str = "") -> Linear:
        """The highest skim plane at which a casting shows: D + gB."""
        return self.depth(height, operation, at, casting) + self.gap("B", at)

    def plane(self, height: float, where: str = "") -> Linear:
        """s: the plane that a skim pass to `height` leaves, above the bed under a place.

        `where` names the bed of another place than the one asked about, as in `bed`.
        """
        reached = height + self._reached("skim") - self.bed("B", where)
        if not self._face:
            return reached
        here = self._touch_at
        blank = self._bottom_up(here) - self.face_height_below
        return reached + blank + self.gap("B", here, TOUCH) + self.bed("B", TOUCH)

    def skimmed(self, stop: float, at: At, where: str = "") -> Linear:
        """Thickness after the skim: s - gB; or as measured after it.

        `where` names the errors of another place than the one asked about: its bed and its gap.
        """
        if self._thickness_after is not None:
            predicted = (self.plane(stop, where) - self.gap("B", at, where)).worst()
            differs = 2.0 * self.job.tolerances.bed + self.gap("B", at).worst()[1]
            error = float(self._gauged(self._thickness_after, at[0], at[1], differs, predicted))
            return float(self._thickness_after.value(*at)) + _error(
                f"thickness after the skim{where}", error
            )
        return self.plane(stop, where) - self.gap("B", at, where)

    def core_low(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """What tells one place from another in the least that a skim leaves, over places: its gap,
        or callipers."""
        if self._thickness_after is not None:
            return self._thickness_after.value(x, y)
        return -self.blank.stands_off(x, y) if self.face_flush is None else np.zeros_like(x)

    @cached_property
    def _thickness_after(self) -> Fitted | None:
        if not self.settled.thickness_after:
            return None
        x, y, thickness = zip(*self.settled.thickness_after, strict=True)
        return fit(x, y, thickness, self._gauge, self._bending)

    def deck(self, height: float, stop: float) -> Linear:
        """h: what the deck pass leaves above the bed, where it should be `height`.

        `stop` is the plane the skim stopped at: with the zero on the face, what the skim left at
        the touched place enters.
        """
        reached = height + self._reached("deck") - self.bed("C")
        if not self._face:
            return reached
        here = self._touch_at
        left = self.skimmed(stop, here, TOUCH) - self.raw_top_after(stop)
        return reached + left + self.gap("C", here, TOUCH) + self.bed("C", TOUCH)

    def raw_top_after(self, stop: float) -> float:
        """Nominal height of the raw top above the bed in C at the touched place."""
        return self.skimmed(stop, self._touch_at).nominal

    def after_skim(self, stop: float, at: At) -> Linear:
        """The raw top above the bed in C, after a skim to `stop`: s - gB + gC."""
        return self.skimmed(stop, at) + self.gap("C", at)

    def clean_up(self, height: float, stop: float, at: At) -> Linear:
        """Wood that the deck pass removes where the deck is `height` high: s - gB + gC - h."""
        return self.after_skim(stop, at) - self.deck(height, stop)

    def finished(self, height: float, stop: float, at: At) -> Linear:
        """Finished thickness: h - gC."""
        return self.deck(height, stop) - self.gap("C", at)

    def seat(self, depth: float, insert: str = "") -> Linear:
        """Depth of an insert's seat below the skimmed face; hangs on one touch only. As measured
        where it was."""
        return self._sunk(depth, self.settled.seat_depth.get(insert))

    def bore(self, depth: float, insert: str = "") -> Linear:
        """Depth of an insert's blind bore below the skimmed face; as measured where it was."""
        return self._sunk(depth, self.settled.bore_depth.get(insert))

    def _sunk(self, depth: float, measured: float | None) -> Linear:
        if measured is not None:
            return measured + Linear.term("depth gauge in the insert", self._gauge)
        return depth + self._reached("inserts")

    def resin_low(
        self, casting: str, depth: Linear, half_span: float, uneven: float = 0.0
    ) -> Linear:
        """p: how far the cured resin lies below the raw top at its lowest point.

        A share of the depth is lost, so a groove cut too deep sinks more. Out of level in full,
        since the lowest point is what is asked for; `uneven` is half of what the raw top itself
        differs along the casting. Measured after the cure, the figure stands.
        """
        measured = self.settled.fill.get(casting)
        if measured is not None:
            return measured + Linear.term("depth gauge at the resin", self._gauge)
        rise = self.job.tolerances.level / 1000.0 * half_span + uneven
        cast, tolerances, deepest = self.job.cast, self.job.tolerances, depth.worst()[1]
        expected, low, high = (
            resin_low(cast, depth.nominal, rise, line)
            for line in (0.0, -tolerances.pour_line, tolerances.pour_line)
        )
        return (
            expected
            + Linear.between("pour line", low - expected, high - expected)
            + (depth - depth.nominal) * depth_loss(cast)
            + Linear.term("shrinkage", tolerances.shrinkage) * deepest
            + Linear.term("lost before the gel", tolerances.gel_loss) * deepest
        )
