"""Heights along the castings: sampled round the ring and over each plug.

Board frame, mm. *Stations* are spaced evenly along the outer wall of the groove; each has a place
at the outer wall, one at the inner wall across from it and one halfway. The least of the three
counts: a groove shows at full width or not at all.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.board.features import Casting

__all__ = ["Over", "Sampled", "Station", "sample"]

Floats = NDArray[np.float64]
Over = Callable[[Floats, Floats], Floats]
"""A height (mm) at places x, y (n,)."""

STATION = 10.0
"""mm between stations along the ring, at most."""

# so that a small ring is still drawn as a curve: one station for every 5 degrees
_LEAST_STATIONS = 72
# mm between samples over a plug, at most
_WITHIN = 3.0


@dataclass(frozen=True, slots=True)
class Station:
    """One place (x, y) of a casting with the least and the largest height sampled there, mm."""

    x: float
    y: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Sampled:
    """A height along one casting: the stations of the groove in order round it, or the one station
    of a plug."""

    id: str
    stations: tuple[Station, ...]

    @property
    def least(self) -> Station:
        return min(self.stations, key=lambda station: round(station.least, 6))

    @property
    def most(self) -> Station:
        return max(self.stations, key=lambda station: round(station.most, 6))


def sample(castings: Sequence[Casting], figure: Callable[[Casting], Over]) -> tuple[Sampled, ...]:
    """Sample a height along each of `castings` and return the results in their order.

    `figure(casting)` gives the function of places x, y to sample, mm.
    """
    # A footprint with a hole in it is the groove: plugs are discs or slots.
    return tuple(
        _round_ring(casting, figure(casting))
        if casting.area.interiors
        else _over_plug(casting, figure(casting))
        for casting in castings
    )


def _round_ring(casting: Casting, over: Over) -> Sampled:
    outer, inner = casting.area.exterior, casting.area.interiors[0]
    count = max(_LEAST_STATIONS, math.ceil(outer.length / STATION))
    spots = shapely.line_interpolate_point(outer, np.arange(count) / count, normalized=True)
    # across: the nearest place of the inner wall, so that walls of different length still pair up
    across = shapely.line_interpolate_point(inner, shapely.line_locate_point(inner, spots))
    walls = [shapely.get_coordinates(spots), shapely.get_coordinates(across)]
    walls.append((walls[0] + walls[1]) / 2)
    figures = np.stack([over(wall[:, 0], wall[:, 1]) for wall in walls])
    stations = tuple(
        Station(float(x), float(y), float(least), float(most))
        for (x, y), least, most in zip(
            walls[2], figures.min(axis=0), figures.max(axis=0), strict=True
        )
    )
    return Sampled(casting.id, stations)


def _over_plug(casting: Casting, over: Over) -> Sampled:
    x0, y0, x1, y1 = casting.area.bounds
    lines = [
        np.linspace(a, b, max(3, math.ceil((b - a) / _WITHIN) + 1)) for a, b in ((x0, x1), (y0, y1))
    ]
    gx, gy = (part.ravel() for part in np.meshgrid(*lines, indexing="ij"))
    inside = shapely.contains_xy(casting.area, gx, gy)
    # The grid leaves out up to a step along the wall, where a sloping height has its extremes.
    wall = np.asarray(shapely.segmentize(casting.area.exterior, _WITHIN).coords)
    x, y = np.concatenate([gx[inside], wall[:, 0]]), np.concatenate([gy[inside], wall[:, 1]])
    figures = over(x, y)
    middle = casting.area.centroid
    return Sampled(
        casting.id, (Station(middle.x, middle.y, float(figures.min()), float(figures.max())),)
    )
