"""The decimal grid on which coordinates are written.

A *tick* is one unit in the last written place: 0.0001 mm, or 0.00001 inch. All written coordinates
are whole ticks, so what is compared while writing is exactly what a reader gets. Feeds are per
minute.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from corepath.lengths import MM_PER_INCH, plain

__all__ = ["GRIDS", "TickGrid", "Units"]

Units = Literal["mm", "inch"]


@dataclass(frozen=True, slots=True)
class TickGrid:
    """One unit of length with its decimals: `word` sets the units in a file, `mm` is the unit in
    mm, `per_mm` the number of ticks in a mm."""

    units: Units
    word: str
    short: str
    decimals: int
    feed_decimals: int
    mm: float

    @property
    def per_unit(self) -> float:
        return float(10**self.decimals)

    @property
    def per_mm(self) -> float:
        return self.per_unit / self.mm

    def number(self, ticks: int) -> str:
        """Return `ticks` as a plain decimal; never "-0", never an exponent.

        >>> GRIDS["mm"].number(-15), GRIDS["inch"].number(254000)
        ('-0.0015', '2.54000')
        """
        return f"{ticks / self.per_unit:.{self.decimals}f}"

    def ticks(self, length: float) -> int:
        """Return the nearest whole number of ticks to `length` (mm)."""
        return round(length * self.per_mm)

    def coordinate(self, length: float) -> str:
        """Return `length` (mm) in this unit, rounded to the grid."""
        return self.number(self.ticks(length))

    def precise(self, length: float) -> str:
        """Return `length` (mm) in this unit; with two more decimals where it is not on the grid."""
        value = length / self.mm
        # Far below the last decimal, far above the rounding of a length in double precision.
        fits = abs(round(value, self.decimals) - value) < 1e-9
        decimals = self.decimals if fits else self.decimals + 2
        return f"{round(value, decimals) + 0.0:.{decimals}f}"

    def feed(self, feed: float) -> str:
        """Return `feed` (mm/min) in this unit a minute; at least one in the last place, since a
        feed of 0 is an error."""
        least = 10.0**-self.feed_decimals
        return f"{max(feed / self.mm, least):.{self.feed_decimals}f}"

    def about(self, length: float) -> str:
        """Return `length` (mm) with its unit, as precisely as the eye can judge it.

        >>> GRIDS["mm"].about(16.64), GRIDS["inch"].about(16.64)
        ('16.6 mm', '0.66 in')
        """
        return f"{length / self.mm:.{1 if self.units == 'mm' else 2}f} {self.short}"

    def plain(self, length: float) -> str:
        """Return `length` (mm) for a comment, without trailing zeros."""
        return plain(length / self.mm, self.decimals)

    def size(self, length: float) -> str:
        """Return `length` (mm) as `plain` does, with its unit."""
        return f"{self.plain(length)} {self.short}"


GRIDS: dict[Units, TickGrid] = {
    "mm": TickGrid("mm", "G21", "mm", 4, 1, 1.0),
    "inch": TickGrid("inch", "G20", "in", 5, 2, MM_PER_INCH),
}
