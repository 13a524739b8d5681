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

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, wraps
from typing import Concatenate, ParamSpec

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.job.model import Job
from corepath.job.record.settled import Placed, Settled
from corepath.stackup.linear import Linear
from corepath.stackup.measuring.blank import Blank
from corepath.stackup.measuring.fitting import Bending, Fitted, fit
from corepath.stackup.measuring.gauged import Gauged, Own, Told, narrowed, told_here
from corepath.stackup.pour.flush import FaceFlush, LocalFlush, flush_face, flush_local
from corepath.stackup.pour.pour import depth_loss, resin_low

__all__ = ["At", "Heights"]

At = tuple[float, float]
Asked = ParamSpec("Asked")

TOUCH = " at the touch"


def _error(name: str, size: float) -> Linear:
    """Return a ± error of `size` mm that may be of another size at another place."""
    # Size goes into the sensitivity, not into the interval: `Linear` takes two intervals under one
    # name for a contradiction, and an error of size 0.1 here and 0.2 there is still one error.
    return Linear.term(name, 1.0) * size


def _once(
    find: Callable[Concatenate[Heights, Asked], Linear],
) -> Callable[Concatenate[Heights, Asked], Linear]:
    """Return `find` with what it found kept: heights never change, and hundreds of inserts ask each
    check, pass and fix for the same ones."""

    @wraps(find)
    def found(self: Heights, /, *asked: Asked.args, **named: Asked.kwargs) -> Linear:
        key = find.__name__, asked, tuple(named.items())
        length = self._found.get(key)
        if length is None:
            length = self._found[key] = find(self, *asked, **named)
        return length

    return found


@dataclass(frozen=True)
class Heights:
    """Works out each height of one job on one blank, as a nominal value with its errors by name.

    Common parameters: `at` is a place (x, y) in the board frame, mm; `height` the commanded height
    of a floor above the bed in A, mm; `operation` the name of the operation that cuts it
    ("groove", "plug-pockets"); `casting` the id under which a gauged depth is recorded; `stop` the
    plane where the skim ends, mm above the bed in B.
    """

    job: Job
    blank: Blank
    settled: Settled = field(default_factory=Settled)

    @cached_property
    def _found(self) -> dict[object, Linear]:
        """What `_once` keeps: lengths by function and what it was asked."""
        return {}

    @property
    def _face(self) -> bool:
        return self.job.machine.z_zero == "face"

    @property
    def _touch_at(self) -> At:
        return self.job.machine.touch_at or (0.0, 0.0)

    @property
    def _gauge(self) -> float:
        return self.job.tolerances.gauge

    @_once
    def thickness(self, at: At, where: str = "") -> Linear:
        """Return T at a place, with its error.

        `where` is added to the name of the error, so that the thickness at a second place counts as
        an error of its own.
        """
        return float(self.blank.thickness(*at)) + _error(
            f"thickness{where}", float(self.blank.thickness_error(*at))
        )

    @_once
    def gap(self, setup: str, at: At, where: str = "") -> Linear:
        """Return gA, gB or gC at a place; `setup` is "A", "B" or "C", `where` as in `thickness`.

        gA is the measured one where there is a map of it. All others are one-sided: nominally zero,
        never negative.
        """
        name = f"lying flat in {setup}{where}"
        if setup == "A" and self.blank.gap_measured:
            # however far the figures may be out: no blank lies below its bed
            gap, (low, high) = float(self.blank.gap(*at)), self.blank.gap_bounds(*at)
            return gap + Linear.between(name, float(low) - gap, float(high) - gap)
        # In B the blank rests on its raw top. Where that was measured to be bent, the gap may be
        # larger than tolerances.flat. A flushed face was planed in place and is a plane again.
        if setup == "B" and self.face_flush is None:
            return Linear.gap(name, 1.0) * float(self.blank.stands_off(*at))
        return Linear.gap(name, self.job.tolerances.flat)

    def raw_top(self, at: At) -> Linear:
        """Return what is the raw top from the flush on, above the bed in A.

        That is T + gA as the blank came or, after a flush of the whole face, the planed face.
        """
        return self.came_top(at) if self.face_flush is None else self.face_flush.top

    @cached_property
    def face_flush(self) -> FaceFlush | None:
        """The flush of the whole face; None where the job asks for none.

        Its plane must clear the lowest place that the raw top may have anywhere on the blank.
        """
        if self.job.cast.flush != "face":
            return None
        x, y = self.blank.nodes(20.0)
        low, _ = self.blank.raw_top_bounds(x, y)
        # Rounded before the search: of places that are equal but for float noise the first is
        # taken, so that the same job gives the same plane on every machine.
        k = int(np.argmin(np.round(low, 6)))
        return flush_face(self.came_top((float(x[k]), float(y[k]))), self.floor(0.0, "flush"))

    def local_flush(self, casting: str, band: NDArray[np.float64]) -> LocalFlush | None:
        """Return the flush of one casting and the band round it; None where the job asks for none.

        `casting` is its id, `band` (n, 2) places over casting and band, board frame, mm.
        """
        if self.job.cast.flush != "local":
            return None
        low, _ = self.blank.raw_top_bounds(*band.T)
        x, y = band[int(np.argmin(np.round(low, 6)))]
        top = self.came_top((float(x), float(y)))
        return flush_local(casting, top, self.floor(0.0, "flush"), beyond=self.job.cast.flush_band)

    @_once
    def came_top(self, at: At) -> Linear:
        """Return T + gA of the raw blank, above the bed in A."""
        # A height measured as held has the error of one figure; thickness plus gap has two.
        if self.blank.top_map is None:
            return self.thickness(at) + self.gap("A", at)
        return float(self.blank.raw_top(*at)) + _error(
            "height as held", float(self.blank.top_error(*at))
        )

    @_once
    def bed(self, setup: str, where: str = "") -> Linear:
        """Return the error of the bed's height under a place, nominally 0.

        A and C share one contributor, since the blank lies there on the same place of the bed. In B
        the mirror image of that place is underneath, which has an error of its own.
        """
        return Linear.term(f"bed{' in B' if setup == 'B' else ''}{where}", self.job.tolerances.bed)

    @_once
    def _reached(self, operation: str) -> Linear:
        """Return how far a commanded height may be missed: touching off, and the machine.

        Where a test piece was measured, its bias in Z replaces the machine's error and is known as
        well as the gauge reads.
        """
        tolerances = self.job.tolerances
        touch = Linear.term(f"touch for {operation}", tolerances.touch)
        if self.settled.coupon_z is None:
            return touch + Linear.term(f"machine in {operation}", tolerances.machine)
        return (
            touch
            + self.settled.coupon_z
            + Linear.term("machine as by the coupon", min(self._gauge, tolerances.machine))
        )

    def _high(self, operation: str) -> float:
        """Return how much too high an operation was cut, by a shift recorded in its set-up, mm."""
        return self.settled.shift_of(operation)[2]

    @_once
    def floor(self, height: float, operation: str) -> Linear:
        """Return f: the floor that `operation` leaves in A, above the bed under it."""
        reached = height + self._high(operation) + self._reached(operation) - self.bed("A")
        if not self._face:
            return reached
        # Zero on the face: the operator touches the raw top and tells the control its nominal
        # height. What that height is really (thickness, gap, the bed there) moves every floor.
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
        """Return the height of the raw bottom over the face that rests on the bed in B, at `at`.

        That is T or, after a flush of the whole face, the planed thickness.
        """
        if self.face_flush is None:
            return self.thickness(at, TOUCH)
        # `face_flush.top` counts from the bed under a casting. At the touched place another part of
        # the bed is underneath: take the one error out and put the other in.
        return self.face_flush.top + self.bed("A") - self.bed("A", TOUCH) - self.gap("A", at, TOUCH)

    def wood_under(self, height: float, operation: str, at: At) -> Linear:
        """Return the wood left under a floor: f - gA."""
        return self.floor(height, operation) - self.gap("A", at)

    @_once
    def depth(self, height: float, operation: str, at: At, casting: str = "") -> Linear:
        """Return D, the depth of a pocket below the raw top, on which the blank lies in B:
        T + gA - f, narrowed by what a depth gauge told."""
        told = self._told_depth(height, operation, casting, *at)
        predicted = self.raw_top(at) - self.floor(height, operation)
        if told is None:
            return predicted
        if self.face_flush is not None:
            told = self._flushed(told, height, operation, *at)
        return narrowed(predicted, told, "depth gauge")

    def groove_depth(self, at: At) -> Linear:
        """Return D of the groove as the job asks for it."""
        return self.depth(self.job.groove.floor, "groove", at, "groove")

    def poured_depth(self, height: float, operation: str, at: At, casting: str = "") -> Linear:
        """Return D at the time of the pour, from the raw top before any flush, for the resin that
        is lost: a share of it."""
        predicted = self.came_top(at) - self.floor(height, operation)
        told = self._told_depth(height, operation, casting, *at)
        if told is None:
            return predicted
        return narrowed(predicted, told, "depth gauge", as_share=True)

    def _told_depth(
        self, height: float, operation: str, casting: str, x: ArrayLike, y: ArrayLike
    ) -> Told | None:
        """Return D before any flush at places x, y, where a depth gauge was used in this casting;
        else None."""
        measured = self.settled.pocket_depth.get(casting)
        # the bed under a place is the place's own, all else of the floor is shared
        shared = ((self.floor(height, operation) + self.bed("A")) * -1.0).worst()
        if measured is not None:
            # A pocket is small: one reading holds all over it.
            low, _, high = self._own_depth(x, y)
            return told_here(measured, self._gauge, (low + shared[0], high + shared[1]))
        if operation != "groove" or self._groove_depth is None:
            return None
        # Gap and bed may differ from place to place, whatever the shape of the wood.
        flat = 0.0 if self.blank.gap_measured else self.job.tolerances.flat / 2
        rough = self.job.tolerances.bed + flat
        return Gauged(self._groove_depth, self._gauge, self._own_depth, shared, rough).told(x, y)

    def _own_depth(self, x: ArrayLike, y: ArrayLike) -> Own:
        """Return the part of D that places have of their own, raw top and bed: least, nominal,
        largest."""
        (low, high), bed = self.blank.raw_top_bounds(x, y), self.job.tolerances.bed
        return low - bed, self.blank.raw_top(x, y), high + bed

    def _flushed(
        self, told: Told, height: float, operation: str, x: ArrayLike, y: ArrayLike
    ) -> Told:
        """Return what a depth gauged before a flush of the whole face says of D after it."""
        assert self.face_flush is not None
        top, (low, high) = self.face_flush.top.worst(), self.blank.raw_top_bounds(x, y)
        planed = self.blank.raw_top(x, y) - self.face_flush.plane
        least, largest = (self.face_flush.top - self.floor(height, operation)).worst()
        return told.moved(planed, (low - top[1], high - top[0])).within((least, largest))

    @cached_property
    def _groove_depth(self) -> Fitted | None:
        return self._readings(self.settled.groove_depth)

    def _readings(self, readings: Sequence[Placed]) -> Fitted | None:
        """Return the surface through readings of a gauge; None without any."""
        if not readings:
            return None
        x, y, figures = zip(*readings, strict=True)
        blank = self.job.blank
        bending = Bending(blank.length / 2, blank.width / 2, self.job.tolerances.bending)
        return fit(x, y, figures, self._gauge, bending)

    def gauged_depth(
        self, height: float, operation: str, casting: str
    ) -> Callable[[ArrayLike, ArrayLike], NDArray[np.float64]] | None:
        """Return a function of places x, y (mm) that gives the nominal D there, mm, before any
        flush.

        None where no depth gauge was used in this casting.
        """
        if self._told_depth(height, operation, casting, 0.0, 0.0) is None:
            return None

        def nominal(x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
            told = self._told_depth(height, operation, casting, x, y)
            assert told is not None
            return told.value

        return nominal

    def depth_over(
        self, height: float, operation: str, places: NDArray[np.float64], casting: str = ""
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Return nominal, least and largest D, each (n,) mm, over (n, 2) places.

        Only differences between places mean something in the least and the largest: they may leave
        out what all places share (touch, machine), since it moves them all alike.
        """
        x, y = places.T
        told = self._told_depth(height, operation, casting, x, y)
        if told is not None:
            if self.face_flush is not None:
                told = self._flushed(told, height, operation, x, y)
            return told.value, told.low, told.high
        # Flushed face and floor are both planes of the machine: D is the same everywhere.
        if self.face_flush is not None:
            level = np.full(len(places), self.face_flush.plane - height)
            return level, level, level
        low, high = self.blank.raw_top_bounds(x, y)
        return self.blank.raw_top(x, y) - height, low - height, high - height

    def mean_depth(
        self, height: float, operation: str, places: NDArray[np.float64], casting: str = ""
    ) -> float:
        """Return the mean D over (n, 2) places at the time of the pour, mm: it gives the volume."""
        told = self._told_depth(height, operation, casting, *places.T)
        if told is not None:
            return float(told.value.mean())
        return float(self.blank.raw_top(*places.T).mean()) - height - self._high(operation)

    def gap_upper(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the largest gA that is possible at each of (n, 2) places, (n,) mm."""
        x, y = places.T
        return self.blank.gap(x, y) + self.blank.gap_error(x, y)

    def uneven(self, places: NDArray[np.float64]) -> float:
        """Return half the difference between highest and lowest raw top over (n, 2) places, mm.

        Resin is level and the raw top is not: for the pour a wedge acts like a tilt.
        """
        if not self.blank.measured:
            return 0.0
        top = self.blank.raw_top(*places.T)
        return float(top.max() - top.min()) / 2.0

    def shows_at(self, height: float, operation: str, at: At, casting: str = "") -> Linear:
        """Return the highest skim plane at which a casting shows at a place: D + gB."""
        return self.depth(height, operation, at, casting) + self.gap("B", at)

    @_once
    def plane(self, height: float, where: str = "") -> Linear:
        """Return s: the plane that a skim pass to `height` leaves, above the bed under a place.

        `where` makes the bed under that place an error of its own, as in `bed`.
        """
        reached = height + self._high("skim") + self._reached("skim") - self.bed("B", where)
        if not self._face:
            return reached
        here = self._touch_at
        blank = self._bottom_up(here) - self.face_height_below
        return reached + blank + self.gap("B", here, TOUCH) + self.bed("B", TOUCH)

    @_once
    def skimmed(self, stop: float, at: At, where: str = "") -> Linear:
        """Return the thickness after the skim at a place: s - gB, narrowed by what callipers told
        after it.

        `where` makes bed and gap of that place errors of their own.
        """
        predicted = self.plane(stop, where) - self.gap("B", at, where)
        told = self._told_after(stop, *at)
        name = f"thickness after the skim{where}"
        return predicted if told is None else narrowed(predicted, told, name)

    def _told_after(self, stop: float, x: ArrayLike, y: ArrayLike) -> Told | None:
        """Return the thickness after the skim at places x, y, where any was measured; else None."""
        if self._thickness_after is None:
            return None
        # One plane was skimmed over all places: only bed and gap can differ between them.
        shared = (self.plane(stop) + self.bed("B")).worst()
        rough = self.job.tolerances.bed + self.job.tolerances.flat / 2
        return Gauged(self._thickness_after, self._gauge, self._own_skim, shared, rough).told(x, y)

    def _own_skim(self, x: ArrayLike, y: ArrayLike) -> Own:
        """Return the same of the thickness after the skim: gap and bed."""
        flat, bed = np.zeros(np.broadcast(x, y).shape), self.job.tolerances.bed
        gap = self.job.tolerances.flat if self.face_flush else self.blank.stands_off(x, y)
        return flat - gap - bed, flat, flat + bed

    def core_low(
        self, stop: float, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Return how places rank by the least thickness that a skim to `stop` leaves there, (n,)
        mm.

        Only differences mean something: what all places share may be left out. Used to find the
        weakest place, not to judge it.
        """
        told = self._told_after(stop, x, y)
        if told is not None:
            return told.low
        return -self.blank.stands_off(x, y) if self.face_flush is None else np.zeros_like(x)

    @cached_property
    def _thickness_after(self) -> Fitted | None:
        return self._readings(self.settled.thickness_after)

    @_once
    def deck(self, height: float, stop: float) -> Linear:
        """Return h: what the deck pass leaves above the bed in C where it should leave `height`.

        `stop` matters only with the zero on the face: then the thickness that the skim left at the
        touched place is part of the zero.
        """
        # one that was cut too high is cut once more, at its height
        lowered = min(self._high("deck"), 0.0)
        reached = height + lowered + self._reached("deck") - self.bed("C")
        if not self._face:
            return reached
        here = self._touch_at
        left = self.skimmed(stop, here, TOUCH) - self.raw_top_after(stop)
        return reached + left + self.gap("C", here, TOUCH) + self.bed("C", TOUCH)

    def raw_top_after(self, stop: float) -> float:
        """Return the nominal height of the raw top above the bed in C at the touched place, mm."""
        return self.skimmed(stop, self._touch_at).nominal

    def after_skim(self, stop: float, at: At) -> Linear:
        """Return the raw top above the bed in C, after a skim to `stop`: s - gB + gC."""
        return self.skimmed(stop, at) + self.gap("C", at)

    def clean_up(self, height: float, stop: float, at: At) -> Linear:
        """Return the wood that the deck pass removes at a place: s - gB + gC - h.

        `height` is the deck there, mm above the bed in C.
        """
        return self.after_skim(stop, at) - self.deck(height, stop)

    def finished(self, height: float, stop: float, at: At) -> Linear:
        """Return the finished thickness where the deck is `height` high: h - gC."""
        return self.deck(height, stop) - self.gap("C", at)

    def seat(self, depth: float, insert: str = "") -> Linear:
        """Return the depth of an insert's seat below the skimmed face, planned or as measured.

        It depends on one touch alone: inserts take their zero from the skimmed face.
        """
        return self._sunk(depth, self.settled.seat_depth.get(insert))

    def bore(self, depth: float, insert: str = "") -> Linear:
        """Return the depth of an insert's blind bore below the skimmed face, planned or as
        measured."""
        return self._sunk(depth, self.settled.bore_depth.get(insert))

    def _sunk(self, depth: float, measured: float | None) -> Linear:
        if measured is not None:
            return measured + Linear.term("depth gauge in the insert", self._gauge)
        return depth + self._reached("inserts")

    def resin_low(
        self,
        casting: str,
        depth: Linear,
        half_span: float,
        uneven: float = 0.0,
        out_of_level: float = 1.0,
    ) -> Linear:
        """Return p: how far the cured resin lies below the raw top at its lowest point.

        `depth` is D at the time of the pour; `half_span` (mm) half the longest extent of the
        casting; `uneven` (mm) half the difference of the raw top along it; `out_of_level` the share
        of `tolerances.level` by which the blank is out of level. A fill that was measured after the
        cure replaces the prediction. Formula: docs/pour.md.
        """
        measured = self.settled.fill.get(casting)
        if measured is not None:
            return measured + Linear.term("depth gauge at the resin", self._gauge)
        # By default the tilt is counted in full and not as an error: p is asked for at the lowest
        # point, and whichever way the blank is out of level, some point is the lowest.
        rise = out_of_level * self.job.tolerances.level / 1000.0 * half_span + uneven
        cast, tolerances, deepest = self.job.cast, self.job.tolerances, depth.worst()[1]
        # Without a flush resin runs over the low end once the line is too high, so p does not
        # follow the pour line evenly: work out both ends instead of a sensitivity.
        expected, low, high = (
            resin_low(cast, depth.nominal, rise, line)
            for line in (0.0, -tolerances.pour_line, tolerances.pour_line)
        )
        return (
            expected
            + Linear.between("pour line", low - expected, high - expected)
            # a pocket that came out too deep loses more: gel loss and shrinkage are shares of D
            + (depth - depth.nominal) * depth_loss(cast)
            + Linear.term("shrinkage", tolerances.shrinkage) * deepest
            + Linear.term("lost before the gel", tolerances.gel_loss) * deepest
        )
