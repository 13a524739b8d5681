"""Figures along the castings: sampled round the ring and over each plug.

Board frame, mm. *Stations* stand evenly along the groove's outer wall; each has a place at the
outer wall, at the inner wall across from it and halfway. The least of the three counts: a groove
shows at full width or not at all.
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

_LEAST_STATIONS = 72
_WITHIN = 3.0


@dataclass(frozen=True, slots=True)
class Station:
    """One place of a casting with its figure: the least there (mm), at (x, y)."""

    x: float
    y: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Sampled:
    """A figure along one casting: of the groove one station after the other round it, of a plug one
    in all."""

    id: str
    stations: tuple[Station, ...]

    @property
    def least(self) -> Station:
        return min(self.stations, key=lambda station: round(station.least, 6))

    @property
    def most(self) -> Station:
        return max(self.stations, key=lambda station: round(station.most, 6))


def sample(castings: Sequence[Casting], figure: Callable[[Casting], Over]) -> tuple[Sampled, ...]:
    """Sample `figure(casting)` along each of `castings`, in their order; one with a hole in it is
    the groove."""
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
    wall = np.asarray(shapely.segmentize(casting.area.exterior, _WITHIN).coords)
    x, y = np.concatenate([gx[inside], wall[:, 0]]), np.concatenate([gy[inside], wall[:, 1]])
    figures = over(x, y)
    middle = casting.area.centroid
    return Sampled(
        casting.id, (Station(middle.x, middle.y, float(figures.min()), float(figures.max())),)
    )
