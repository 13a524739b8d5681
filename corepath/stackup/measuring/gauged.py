"""What figures gauged at some places tell of the same figure at other places. Lengths in mm.

A figure is the sum of what all places share (the touch and the machine of one cut) and of what
each place has of its own (thickness, gap, bed). Both have known bounds, so before anything is
gauged the figure lies within `shared + own`: the *prediction*. A reading bounds what is shared, and
with it the figure elsewhere: it may differ from the reading by what the two places may differ by.
Prediction and readings are both true, so the figure lies within both intervals, place by place.
Only a reading outside its own prediction shows that something else is wrong; then the readings
alone count.

Readings all round also tell a smooth surface (fitting.py), from which a place may differ by its own
gap and bed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corepath.stackup.linear import Linear
from corepath.stackup.measuring.fitting import Fitted
from corepath.stackup.skim import TIE

__all__ = ["Bounds", "Gauged", "Told", "narrowed", "told_here"]

Floats = NDArray[np.float64]
Bounds = tuple[Floats, Floats]
"""Least and largest value at each place"""
Own = tuple[Floats, Floats, Floats]
"""Least, nominal and largest value at each place"""
_Ends = Bounds | tuple[float, float]


@dataclass(frozen=True, slots=True)
class Told:
    """What is known at each place of a figure that was predicted and gauged: least, largest and
    likeliest value; `contradicts` where a reading lies outside its prediction."""

    low: Floats
    high: Floats
    value: Floats
    contradicts: bool

    def within(self, predicted: _Ends) -> Told:
        """Return the same within another prediction, which counts unless a reading contradicts."""
        low, high = self.low, self.high
        if not self.contradicts:
            low, high = _within_both(predicted, (low, high))
        return Told(low, high, np.clip(self.value, low, high), self.contradicts)

    def moved(self, by: Floats, bounds: Bounds) -> Told:
        """Return the figure less `by`, which lies within `bounds`."""
        return Told(self.low - bounds[1], self.high - bounds[0], self.value - by, self.contradicts)


def told_here(reading: float, gauge: float, predicted: Bounds) -> Told:
    """Return what one reading tells of the places that it was taken for, each predicted to lie
    within bounds."""
    value = np.full(np.shape(predicted[0]), reading)
    told = Told(value - gauge, value + gauge, value, _contradicts(predicted, value, gauge))
    return told.within(predicted)


@dataclass(frozen=True, slots=True)
class Gauged:
    """A figure that was gauged at some places.

    `fitted` is the surface through the readings, each within ± `gauge`. `own` gives for places x, y
    least, nominal and largest of what each place has of its own; `shared` the least and largest of
    what all share. `rough` is how far a place may lie off a smooth surface, ±.
    """

    fitted: Fitted
    gauge: float
    own: Callable[[ArrayLike, ArrayLike], Own]
    shared: tuple[float, float]
    rough: float

    def told(self, x: ArrayLike, y: ArrayLike) -> Told:
        """Return what is known at places x, y (board frame, mm, broadcast together)."""
        readings = self.fitted.z
        predicted = self._predicted(self.fitted.x, self.fitted.y)
        contradicts = _contradicts(predicted, readings, self.gauge)
        told = Told(*self._by_readings(x, y), self._likeliest(x, y), contradicts)
        return told.within(self._predicted(x, y))

    @property
    def _all_round(self) -> bool:
        """Whether the readings tell how the figure runs between them, not its level alone."""
        return self.fitted.kind == "surface"

    def _likeliest(self, x: ArrayLike, y: ArrayLike) -> Floats:
        if self._all_round:
            return self.fitted.value(x, y)
        level = self.fitted.z - self.own(self.fitted.x, self.fitted.y)[1]
        return self.own(x, y)[1] + float(level.mean())

    def _predicted(self, x: ArrayLike, y: ArrayLike) -> Bounds:
        low, _, high = self.own(x, y)
        return low + self.shared[0], high + self.shared[1]

    def _by_readings(self, x: ArrayLike, y: ArrayLike) -> Bounds:
        """Return least and largest value by the readings alone."""
        readings, (least, _, largest) = self.fitted.z, self.own(self.fitted.x, self.fitted.y)
        low, _, high = self.own(x, y)
        # A reading less the gauge's error and the largest own part is the least that may be shared.
        from_below = readings - self.gauge - largest
        from_above = readings + self.gauge - least
        lowest, highest = float(from_below.max()), float(from_above.min())
        # Readings that differ by more than two places can show that the bounds of the places do not
        # hold: then each reading may be the one that is right.
        if lowest > highest:
            lowest, highest = float(from_below.min()), float(from_above.max())
        told = low + lowest, high + highest
        if not self._all_round:
            return told
        value, half = self.fitted.value(x, y), self.fitted.uncertainty(x, y) + self.rough
        return _within_both(told, (value - half, value + half))


def _contradicts(predicted: Bounds, readings: Floats, gauge: float) -> bool:
    """Return whether any reading lies outside its prediction by more than the gauge may be off."""
    off = np.maximum(predicted[0] - readings, readings - predicted[1])
    return bool((off > gauge + TIE).any())


def _within_both(first: _Ends, second: Bounds) -> Bounds:
    """Return the intersection of two intervals at each place; where they do not meet, `second`."""
    low, high = np.maximum(first[0], second[0]), np.minimum(first[1], second[1])
    meet = low <= high
    return np.where(meet, low, second[0]), np.where(meet, high, second[1])


def narrowed(predicted: Linear, told: Told, name: str, *, as_share: bool = False) -> Linear:
    """Return a length that was predicted and then gauged, from what is told of it at one place.

    A gauge that narrows neither end leaves the predicted errors under their names, so that those
    shared with other lengths still cancel or add. Otherwise the errors are independent of all
    others, since a gauge does not tell which of them it saw: `name` alone where a reading
    contradicts the prediction or says more than its root sum square, else the predicted errors,
    each smaller in proportion.

    With `as_share` only a small share of the length is used, the more of it the worse. What it
    shares with other lengths then counts for more than a somewhat smaller interval, so the
    predicted errors stay unless the gauge excludes their upper half.
    """
    low, high, nominal = float(told.low), float(told.high), float(told.value)
    (least, largest), spread = predicted.worst(), predicted.rss()
    # how far the middle of what is possible lies from the likeliest value: known, so no error
    against = f"{name} against what was expected"
    same = abs(low - least) <= TIE and abs(high - largest) <= TIE
    if as_share and not told.contradicts:
        same = high >= (least + largest) / 2
    if same:
        moved = predicted.nominal - nominal
        return predicted - moved + _fixed(against, moved)
    half = (high - low) / 2
    total = nominal + _fixed(against, (low + high) / 2 - nominal)
    if told.contradicts or half <= (spread[1] - spread[0]) / 2:
        return total + _within(name, half)
    share = half / (largest - least)
    for contributor, part in predicted.parts.items():
        first, last = part.extremes
        total = total + _within(f"{contributor}, gauged", share * (last - first))
    return total


def _fixed(name: str, value: float) -> Linear:
    """Return a known length, nominally zero, as a contributor without doubt."""
    return Linear.between(name, 1.0, 1.0) * value if abs(value) > TIE else Linear.of(0.0)


def _within(name: str, half: float) -> Linear:
    """Return an error within ± `half`, which may be of another size at another place."""
    # its size goes into the sensitivity: one contributor has one interval
    return Linear.term(name, 1.0) * half
