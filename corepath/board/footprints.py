"""Footprints of what is cast, bored and stuck into the bed, as polygons within 0.001 mm, board
frame, mm.

Vertices lie on the true curve, so that a round plug's polygon is inscribed. Offsets of the outline
have round joins whose chords keep within 0.0005 mm; with the outline's own chords a wall of the
groove keeps within 0.002 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point, Polygon
from shapely.affinity import rotate, translate

from corepath.board.outline.curves import arc_points, circle_points
from corepath.job.model import InsertSection, Job, PlugSection
from corepath.lengths import mm

__all__ = [
    "Footprint",
    "blank_polygon",
    "disc",
    "half_span",
    "offset",
    "place_ids",
    "plug_polygon",
    "seat_footprint",
]

_JOIN = 0.0005  # mm between the chords of a round join and its arc


@dataclass(frozen=True, slots=True)
class Footprint:
    """What something covers, seen from above: its `area` about (x, y).

    `diameter` is given where it is a circle: it can then be bored, and is drawn as a circle. Where
    it is None, `area` is all there is to know.
    """

    x: float
    y: float
    area: Polygon
    diameter: float | None = None

    @property
    def reach(self) -> float:
        """How far it reaches from (x, y), mm."""
        if self.diameter is not None:
            return self.diameter / 2.0
        corners = shapely.get_coordinates(self.area)
        return float(np.hypot(corners[:, 0] - self.x, corners[:, 1] - self.y).max())

    @property
    def size(self) -> str:
        """Its size in words: the diameter, or the two sides of its bounds."""
        if self.diameter is not None:
            return f"⌀{mm(self.diameter):.2n}"
        left, low, right, high = self.area.bounds
        return f"{mm(right - left):.2n} × {mm(high - low):.2n}"


def seat_footprint(insert: InsertSection, x: float, y: float) -> Footprint:
    """Returns the seat of `insert` at (x, y), clearance included. No other place gives a seat its
    shape."""
    width = insert.seat_width
    # 64 chords a quarter turn: within 0.001 mm of the circle up to 26 mm of width.
    return Footprint(x, y, Point(x, y).buffer(width / 2, quad_segs=64), width)


def blank_polygon(job: Job) -> Polygon:
    """Returns the rectangle of the blank, its middle at the origin."""
    length, width = job.blank.length / 2.0, job.blank.width / 2.0
    return shapely.box(-length, -width, length, width)


def disc(x: float, y: float, diameter: float) -> Polygon:
    """Returns a round footprint about (x, y), inscribed in its circle."""
    return Polygon(circle_points(x, y, diameter / 2.0))


def plug_polygon(plug: PlugSection, x: float, y: float) -> Polygon:
    """Returns the footprint of a plug at (x, y): a circle, or a slot of overall length `slot`
    turned by `angle` degrees from X towards Y."""
    radius = plug.diameter / 2.0
    reach = 0.0 if plug.slot is None else plug.slot / 2.0 - radius
    if reach <= 0.0:
        return disc(x, y, plug.diameter)
    # the left end is the right one turned by half: both ends match to the last bit
    right = arc_points(reach, 0.0, radius, -math.pi / 2.0, math.pi)
    slot = Polygon(np.vstack([right, -right]))
    return translate(rotate(slot, plug.angle, origin=(0.0, 0.0)), x, y)


def offset(outline: Polygon, by: float) -> shapely.Geometry:
    """Returns `outline` grown by `by` mm (shrunk if negative), with round joins.

    It may be empty, or several polygons, or have holes: the caller must look.
    """
    # chord error of an arc: r (1 - cos(step / 2))
    step = 2.0 * math.acos(max(1.0 - _JOIN / abs(by), 0.0))
    return outline.buffer(by, quad_segs=max(16, math.ceil(math.pi / 2.0 / step)))


def half_span(area: Polygon) -> float:
    """Returns half the longest extent of a footprint, mm, in whatever direction it lies."""
    # every degree: half a degree off the longest direction costs 4e-5 of the span
    hull = shapely.get_coordinates(area.convex_hull)
    angles = np.linspace(0.0, math.pi, 180, endpoint=False)
    across = hull @ np.stack([np.cos(angles), np.sin(angles)])
    return float(np.max(across.max(axis=0) - across.min(axis=0))) / 2.0


def place_ids(name: str, count: int) -> list[str]:
    """Returns the ids of the places of one plug or insert: the name alone, or the name with a, b, …
    z, aa, ab, …

    >>> place_ids("P1", 1), place_ids("P1", 2)
    (['P1'], ['P1a', 'P1b'])
    """
    if count == 1:
        return [name]
    return [name + _letters(i) for i in range(count)]


def _letters(index: int) -> str:
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("a") + rest) + text
    return text
