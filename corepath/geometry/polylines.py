"""Polylines: length along, the place at a length, the part between, more points.

A polyline is (n, k) float, k being 2 or more: lengths are those seen from above, in X and Y, and
what further columns hold goes along where it is said. A closed one repeats its first point at the
end. Lengths in mm, any frame.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = [
    "Floats",
    "along",
    "begun_at",
    "denser",
    "length",
    "part_counts",
    "place_at",
    "places_along",
    "steps",
    "stretch",
    "turned_to",
]

Floats = NDArray[np.float64]

_SAME = 1e-6
"""mm: a vertex nearer to the cut than this is the cut."""


def steps(points: Floats) -> Floats:
    """Returns the lengths (n - 1,) of the segments, mm."""
    return np.asarray(np.hypot(*np.diff(points[:, :2], axis=0).T))


def length(points: Floats) -> float:
    """Returns the length, mm, of the whole polyline `points` (n, 2 or 3)."""
    return float(steps(points).sum())


def along(points: Floats) -> Floats:
    """Returns the length of way (n,) from the first point to each, mm."""
    return np.concatenate([[0.0], np.cumsum(steps(points))])


def place_at(points: Floats, stations: Floats, distance: Floats) -> Floats:
    """Returns the places (m, 2) at `distance` (m,) along the polyline `points`, whose `stations`
    (n,) are those of `along`."""
    return np.column_stack([np.interp(distance, stations, points[:, k]) for k in (0, 1)])


def places_along(points: Floats, distance: Floats) -> Floats:
    """Returns the places (m, 2) at `distance` (m,) along the polyline `points` (n, 2 or 3). A
    geometry asked for each would go along its points each time."""
    return place_at(points, along(points), distance)


def stretch(closed: Floats, begin: float, length: float) -> Floats:
    """Returns the part (m, 2) of a closed polyline from `begin` (mm along it) on.

    It is `length` mm long, at most two laps.
    """
    stations = along(closed)
    lap = float(stations[-1])
    # laid out three times, so that two laps from anywhere in the first are one stretch of it
    begin = begin % lap
    thrice = np.concatenate([stations[:-1], stations[:-1] + lap, stations + 2.0 * lap])
    points = np.concatenate([closed[:-1], closed[:-1], closed])
    inner = (thrice > begin + _SAME) & (thrice < begin + length - _SAME)
    ends = place_at(points, thrice, np.array([begin, begin + length]))
    return np.concatenate([ends[:1], points[inner], ends[1:]])


def begun_at(closed: Floats, begin: float) -> Floats:
    """Returns the closed (n, 2) polyline as (m, 2) from `begin` mm along it, less than a lap, all
    the way round to there."""
    stations = along(closed)
    first = place_at(closed, stations, np.array([begin]))
    # the last point repeats the first, which is then in neither part or in `before`
    after = closed[:-1][stations[:-1] > begin + _SAME]
    before = closed[:-1][stations[:-1] < begin - _SAME]
    return np.concatenate([first, after, before, first])


def turned_to(closed: Floats, start: tuple[float, float]) -> Floats:
    """Returns the closed (n, 2) polyline as (m, 2) from its place nearest to `start` all the way
    round to there."""
    place = shapely.line_locate_point(shapely.LineString(closed), shapely.Point(start))
    return begun_at(closed, float(place))


def denser(points: Floats, most: float) -> Floats:
    """Returns the polyline with each segment divided evenly, in parts of at most `most` mm.

    Further columns, such as Z, are interpolated too.

    >>> denser(np.array([[0.0, 0.0, 5.0], [4.0, 0.0, 3.0]]), 2.0).tolist()
    [[0.0, 0.0, 5.0], [2.0, 0.0, 4.0], [4.0, 0.0, 3.0]]
    """
    counts = part_counts(points, most)
    first = np.repeat(np.arange(len(counts)), counts)
    # 0, 1 … counts - 1 within each segment, as shares of it
    share = (np.arange(len(first)) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[first]
    between = points[first] + share[:, None] * (points[first + 1] - points[first])
    return np.concatenate([between, points[-1:]])


def part_counts(points: Floats, most: float) -> NDArray[np.int64]:
    """Returns how many parts (n - 1,) of at most `most` mm each segment is divided into, at least
    one."""
    # 1e-9: a segment of a whole number of parts must not get one more by rounding
    return np.maximum(np.ceil(steps(points) / most - 1e-9).astype(np.int64), 1)
