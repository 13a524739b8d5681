"""Smooth closed curves and their polygons.

A *closed curve* runs through given points, (n, 2) float in mm, in order and back to the first. It
is a periodic cubic spline over the *centripetal* parameter (each step the square root of the
chord), which neither loops nor overshoots where short chords follow long ones. It is handed on as a
*polygon* whose vertices lie on the curve and whose *chords* keep within `CHORD` of it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from corepath.errors import Fault
from corepath.geometry.cubics import periodic_cubic
from corepath.geometry.polylines import steps as lengths
from corepath.geometry.step_counts import fewest_steps
from corepath.lengths import UNIT, mm, square_mm

__all__ = [
    "CHORD",
    "arc_points",
    "circle_points",
    "closed_curve",
    "crossings",
    "shape_faults",
    "signed_area",
]

CHORD = 0.0008
"""Farthest a chord may lie from its curve, mm: the promised 0.001 with room for rounding."""

LEAST_AREA = 1.0
"""Least area of an outline, mm²; less is no board, whatever the units."""

_MOST_POINTS = 200_000  # of one curve: bounds time and memory where figures are far out of scale

Points = NDArray[np.float64]


def closed_curve(points: Points, chord: float = CHORD) -> Points:
    """Returns polygon vertices (m, 2) of the smooth closed curve through `points` (n, 2), n >= 3,
    mm, whose chords keep within `chord` mm of it.

    Every given point is a vertex. The step keeps `|c''| du^2 / 8 <= chord`, the bound on the error
    of linear interpolation; a cubic's second derivative is linear, so its ends bound it in each
    span. Neighbouring points must differ.
    """
    ring = np.vstack([points, points[:1]])
    steps = np.sqrt(lengths(ring))
    knots = np.concatenate([[0.0], np.cumsum(steps)])
    curve = periodic_cubic(knots, ring)
    bend = np.hypot(*curve(knots, 2).T)
    worst = np.maximum(bend[:-1], bend[1:])
    # 1e-9: a step that fits exactly must not get one more point by rounding
    counts = np.ceil(steps * np.sqrt(worst / (8.0 * chord)) - 1e-9).astype(int)
    counts = np.clip(counts, 1, max(1, _MOST_POINTS // len(points)))
    at = [knots[i] + steps[i] * np.arange(n) / n for i, n in enumerate(counts)]
    vertices = np.asarray(curve(np.concatenate(at)))
    # given points as they were typed, not as the spline rounds them
    vertices[np.concatenate([[0], np.cumsum(counts)[:-1]])] = points
    return vertices


def circle_points(x: float, y: float, radius: float, chord: float = CHORD) -> Points:
    """Returns vertices (n, 2) on the circle, counter-clockwise from its +X point; n is a multiple
    of 4. All mm."""
    # a multiple of 4, so that the vertices are the same mirrored in X or Y
    count = 4 * math.ceil(_arc_count(radius, 2 * math.pi, chord) / 4)
    angle = 2 * math.pi * np.arange(count) / count
    return np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])


def arc_points(
    x: float, y: float, radius: float, start: float, sweep: float, chord: float = CHORD
) -> Points:
    """Returns points (n, 2) along the arc about (x, y), mm, both ends included; angles in radians,
    counter-clockwise positive."""
    angle = start + np.linspace(0.0, sweep, _arc_count(radius, sweep, chord) + 1)
    return np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])


def _arc_count(radius: float, sweep: float, chord: float) -> int:
    # chord error of an arc: r (1 - cos(step / 2))
    step = 2.0 * math.acos(max(1.0 - chord / radius, 0.0)) if radius > 0 else math.pi
    return min(max(1, fewest_steps(abs(sweep), step)), _MOST_POINTS)


def signed_area(points: Points) -> float:
    """Returns the area of the closed polygon (n, 2), mm²; positive if counter-clockwise (shoelace
    formula)."""
    # about the mean point: far from the origin the products would lose the area's digits
    x, y = (points - points.mean(axis=0)).T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def crossings(points: Points, most: int = 5) -> list[tuple[float, float]]:
    """Returns places (mm, sorted, at most `most`) where the closed polygon (n, 2) touches or
    crosses itself."""
    import shapely

    ring = np.vstack([points, points[:1]])
    if shapely.is_simple(shapely.linearrings(ring)):
        return []
    edges = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
    count = len(edges)
    one, two = shapely.STRtree(edges).query(edges, predicate="intersects")
    # each pair once, and not neighbours, which always meet at their common vertex; where they also
    # lie on each other the line turns back, and `_folded` finds it
    apart = (two > one + 1) & ~((one == 0) & (two == count - 1))
    folded = _folded(ring, count)
    places = shapely.get_coordinates(shapely.intersection(edges[one[apart]], edges[two[apart]]))
    found = {(round(float(x), 3) + 0.0, round(float(y), 3) + 0.0) for x, y in [*places, *folded]}
    return sorted(found)[:most]


def _folded(ring: Points, count: int) -> list[tuple[float, float]]:
    """Vertices at which the line turns straight back on itself."""
    before = ring[:count] - np.roll(ring[:count], 1, axis=0)
    after = ring[1:] - ring[:count]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    dot = np.sum(before * after, axis=1)
    # An angle to within 1e-12 of a full reversal: what rounding leaves of coordinates of metres.
    back = (dot < 0) & (np.abs(cross) <= 1e-12 * np.abs(dot))
    return [(float(x), float(y)) for x, y in ring[:count][back]]


def shape_faults(key: str, points: Points, whose: str = "the outline") -> list[Fault]:
    """Returns what keeps the closed polygon (n, 2) from being an outline: no area, or places where
    it crosses itself. `key` is that of the job, `whose` names the polygon in the message."""
    from shapely import MultiPoint

    spanned = MultiPoint(points).convex_hull.area if len(points) else 0.0
    if spanned < LEAST_AREA:
        return [
            Fault(
                key,
                f"{whose} has no area",
                f"{square_mm(spanned):.1f~}",
                f"{square_mm(LEAST_AREA):.1f~} or more",
            )
        ]
    places = crossings(points)
    if not places:
        return []
    text = ", ".join(f"({mm(x):.3f}, {mm(y):.3f})" for x, y in places)
    return [
        Fault(
            key,
            f"{whose} crosses or touches itself at {text} {UNIT}",
            allowed="a closed line that keeps apart",
        )
    ]
