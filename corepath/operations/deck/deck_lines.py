"""The lines of one region of the deck: through lines from end to end, and extra ones between them
where it is steep.

Lines run along u; v is across (where lines run across the grain, u is Y and v is X). Lengths in mm.
Neighbouring through lines lie a *gap* apart, at most the widest step. Where the ground asks for n
times as many lines, n − 1 extra ones divide the gap evenly; each is only as long as it is needed,
and glides from one even place to the next where n changes. Each gap gets the width that costs least
per mm of it, counting a turn at the ends of each stretch.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corepath.geometry import masks

__all__ = [
    "OVERHANG",
    "TURN",
    "Ends",
    "Sheet",
    "extra_lines",
    "first_line",
    "region_lines",
]

Array = NDArray[np.float64]

TURN = 15.0
"""mm of line that a turn costs."""
_SHORT_BREAK = 30.0
"""Breaks of a stretch shorter than this (mm) are cut through: two turns would cost more."""
_SPARE = 1
"""Bins by which a stretch is longer than it must be, at each end."""
_GLIDE = 11.0
"""Length over which an extra line glides to its next place, mm."""
# mm by which lines sweep or run over a side of the blank.
OVERHANG = 0.5
_SEAM = 6.0
"""mm by which an extra line that reaches the side of its region runs on beyond it, since its turn
begins early."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """Least allowed steps (n, m), mm, of a region, in bins of `size` mm along u (from `u` to `end`)
    and v (from `v` to `top`). `needed` (n, m) tells where lines are needed at all; None where they
    are everywhere."""

    table: Array
    u: float
    v: float
    end: float
    top: float
    size: float
    needed: NDArray[np.bool_] | None = None

    def needs(self, low: float, high: float) -> tuple[float, float] | None:
        """The stretch along u in which lines are needed between `low` and `high` in v; None where
        they are nowhere."""
        if self.needed is None:
            return self.u, self.end
        end = self.needed.shape[1] - 1
        first = min(max(int((low - self.v) / self.size), 0), end)
        last = min(max(int((high - self.v) / self.size), first), end)
        bins = np.flatnonzero(self.needed[:, first : last + 1].any(axis=1))
        if not len(bins):
            return None
        return (
            max(self.u + float(bins[0]) * self.size, self.u),
            min(self.u + float(bins[-1] + 1) * self.size, self.end),
        )

    def least(self, low: float, high: float) -> Array:
        """(n,) least step, mm, in each column of bins along u, over the bins between `low` and
        `high` in v."""
        return self.least_each(low, [high])[:, 0]

    def least_each(self, low: float, highs: Sequence[float]) -> Array:
        """(n, k) the same for each of the places `highs` (k)."""
        # The margins keep a boundary that rounding put a hair into the next bin in its own.
        end = self.table.shape[1] - 1
        first = min(max(int((low + 1e-9 - self.v) / self.size), 0), end)
        lasts = [min(max(int((high - 1e-9 - self.v) / self.size), first), end) for high in highs]
        running = np.minimum.accumulate(self.table[:, first : max(lasts) + 1], axis=1)
        return np.asarray(running[:, [last - first for last in lasts]])


@dataclass(frozen=True, slots=True)
class Ends:
    """For each side of a region (low u, high u, low v, high v) whether it is a side of the blank
    with level ground, so that lines may run over it."""

    start: bool
    end: bool
    bottom: bool
    top: bool


def region_lines(
    sheet: Sheet, widest: float, flat: float, ends: Ends
) -> tuple[list[Array], list[Array]]:
    """Through lines and extra lines, each (k, 2) points (u, v), mm, in the direction of rising u.

    `widest` is the largest gap, `flat` the radius of the cutter's flat part.
    """
    places = _places(sheet, widest, flat, ends)
    extra: list[Array] = []
    for low, high in itertools.pairwise(places):
        extra += extra_lines(sheet, low, high, _SPARE)
    return _through(sheet, places, flat, ends), extra


def _through(sheet: Sheet, places: list[float], flat: float, ends: Ends) -> list[Array]:
    """The through lines. At a level side of the blank most end *inset*, the outermost run over it
    to clear the corners."""
    # A flat end that stops a little inside the side still sweeps up to it between two lines, as its
    # disc is √(flat² − half²) deep there; 0.9 of that is used. The outermost lines have no
    # neighbour to clear the corners, so they run over the side.
    half = 0.5 * max([b - a for a, b in itertools.pairwise(places)], default=0.0)
    inset = 0.9 * math.sqrt(flat**2 - half**2) if flat > half else -OVERHANG
    lines = []
    for k, v in enumerate(places):
        outermost = k in (0, len(places) - 1)
        first = (-OVERHANG if outermost else inset) if ends.start else 0.0
        last = (-OVERHANG if outermost else inset) if ends.end else 0.0
        start, end = sheet.u + first, sheet.end - last
        # As far as the line's share of the ground to either side, and the corners of its turns,
        # ask for it.
        stretch = sheet.needs(v - 2.0 * half, v + 2.0 * half)
        if stretch is None:
            continue
        start, end = max(start, stretch[0] - OVERHANG), min(end, stretch[1] + OVERHANG)
        lines.append(np.array([[start, v], [end, v]]))
    return lines


def _places(sheet: Sheet, widest: float, flat: float, ends: Ends) -> list[float]:
    """v of the through lines."""
    here = sheet.v + _margin(sheet, widest, flat, ends.bottom, sheet.v, 1.0)
    last = sheet.top - _margin(sheet, widest, flat, ends.top, sheet.top, -1.0)
    if last <= here:
        return [0.5 * (sheet.v + sheet.top)]
    places = [here]
    # 1e-6 mm: no line more where the last step ended there but for rounding.
    while places[-1] < last - 1e-6:
        room = last - places[-1]
        width = _best_gap(sheet, places[-1], min(widest, room))
        # No sliver as the last gap: two even ones instead, or one if that is wide enough.
        if room - width < 0.25 * widest:
            width = room if room <= widest else room / 2.0
        places.append(places[-1] + width)
    return places


def _margin(
    sheet: Sheet, widest: float, flat: float, level: bool, side: float, inward: float
) -> float:
    """How far inside a side (mm) its first line lies.

    Against level ground beyond, as far as the flat part reaches, less the overhang.
    """
    return max(flat - OVERHANG, 0.0) if level else first_line(sheet, widest, side, inward)


def first_line(sheet: Sheet, widest: float, side: float, inward: float) -> float:
    """How far inside the side at v = `side` (mm) the first line lies, `inward` 1 or -1: half a
    step, the largest that the bins between the side and the line allow."""
    for share in range(20, 0, -1):
        away = 0.5 * widest * share / 20.0
        low, high = sorted((side, side + inward * away))
        if float(sheet.least(low, high).min()) >= 2.0 * away:
            return away
    return 0.5 * widest / 20.0


def _parts_of_gaps(sheet: Sheet, low: float, highs: Sequence[float]) -> NDArray[np.int64]:
    """Into how many even parts (n, k) the gaps from `low` to each of `highs` must be divided, in
    each bin along u; at least 1."""
    # A gap of exactly n steps needs n parts, whatever rounding does.
    parts = (np.array(highs) - low) / sheet.least_each(low, highs)
    return np.maximum(np.ceil(parts - 1e-9).astype(np.int64), 1)


def _best_gap(sheet: Sheet, low: float, widest: float) -> float:
    # Down to 0.28 of the widest in steps of 5 %; rounded, so that a tie goes to the wider gap on
    # every machine.
    widths = [widest * 0.95**k for k in range(26)]
    counts = _parts_of_gaps(sheet, low, [low + width for width in widths])
    lengths = counts.sum(axis=0).tolist()
    stretches = np.clip(np.diff(counts, axis=0, prepend=1), 0, None).sum(axis=0).tolist()
    costs = [
        round(_cost(sheet, *gap) / width, 9)
        for *gap, width in zip(lengths, stretches, widths, strict=True)
    ]
    return widths[costs.index(min(costs))]


def _cost(sheet: Sheet, bins: int, stretches: int) -> float:
    # Length of all lines of the gap, a turn for its through line, and for each extra stretch that
    # begins a turn and its spare ends.
    return float(bins) * sheet.size + TURN + stretches * (TURN + 2 * _SPARE * sheet.size)


def _stretches(wanted: NDArray[np.bool_], size: float, spare: int) -> list[tuple[int, int]]:
    """(first, last) of the runs of wanted bins, lengthened by the spare and joined over short
    breaks."""
    runs: list[list[int]] = []
    for first, last in masks.runs(wanted):
        if runs and (first - spare - runs[-1][1]) * size < _SHORT_BREAK:
            runs[-1][1] = last + spare
        else:
            runs.append([first - spare, last + spare])
    return [(max(first, 0), min(last, len(wanted))) for first, last in runs]


def extra_lines(sheet: Sheet, low: float, high: float, spare: int) -> list[Array]:
    """The extra lines of the gap between `low` and `high`, each (k, 2) points (u, v), mm; `spare`
    bins longer than they must be at each end."""
    counts = _parts_of_gaps(sheet, low, [high])[:, 0]
    middles = sheet.u + (np.arange(len(counts)) + 0.5) * sheet.size
    found = []
    for n in range(1, int(counts.max())):
        for first, last in _stretches(counts > n, sheet.size, spare):
            parts = np.maximum(counts[first:last], n + 1)
            # Line n of `parts` lies at n/parts of the gap. Where the number of parts changes it
            # would jump; smoothed twice by a moving mean it glides there without a corner.
            v = low + _smooth(_smooth((high - low) * n / parts, sheet.size), sheet.size)
            u = middles[first:last].copy()
            u[0] -= 0.5 * sheet.size + (_SEAM if first == 0 else 0.0)
            u[-1] += 0.5 * sheet.size + (_SEAM if last == len(counts) else 0.0)
            found.append(np.column_stack([u, v]))
    return found


def _smooth(values: Array, size: float) -> Array:
    # An odd number of bins, and no longer than the line: the mean stays centred.
    width = min(2 * round(_GLIDE / 4.0 / size) + 1, 2 * ((len(values) - 1) // 2) + 1)
    padded = np.pad(values, width // 2, mode="edge")
    return np.asarray(np.convolve(padded, np.ones(width) / width, mode="valid"))
