"""DXF entities as lines of points, mm, arcs and splines flattened within 0.001 mm.

Plane entities have their own coordinate system (OCS), whose Z is the extrusion; an extrusion of -Z
mirrors X. A *bulge* is the tangent of a quarter of an arc's sweep, positive to the left of the
chord (counter-clockwise).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from corepath.board.outline.curves import CHORD, Points, arc_points
from corepath.board.outline.loop_joining import OutlinePiece
from corepath.lengths import UNIT, mm

__all__ = ["Refused", "flatten"]

_LARGEST = 1e5  # mm; a board is never larger, so the units are wrong
_TURN = 2.0 * math.pi
_STEEPEST = 1e6  # a bulge beyond is a full circle to within 4e-6 rad


class Refused(ValueError):
    """An entity that cannot be part of an outline; says why."""


def flatten(entity: Any, scale: float) -> OutlinePiece | None:
    """Returns the entity as a piece, mm, `scale` mm to the unit; None if its type is no line.
    Raises Refused for one that cannot be part of an outline."""
    kind = str(entity.dxftype())
    reader = _READERS.get(kind)
    if reader is None:
        return None
    points, closed = reader(entity, CHORD / scale)
    points = np.asarray(points, dtype=float).reshape(-1, 2) * scale
    _sound(points)
    # Exact repeats only: the pieces' ends stay where they are.
    keep = np.concatenate([[True], np.any(np.diff(points, axis=0) != 0.0, axis=1)])
    points = points[keep]
    # a closed piece does not repeat its first point
    if closed and len(points) > 1 and math.dist(points[0], points[-1]) < 1e-6:
        points = points[:-1]
    return OutlinePiece(points, closed, str(entity.dxf.handle), kind)


def _sound(points: Points) -> None:
    if not np.all(np.isfinite(points)):
        raise Refused("has coordinates that are no numbers")
    if len(points) and float(np.max(np.abs(points))) > _LARGEST:
        x, y = points[int(np.argmax(np.max(np.abs(points), axis=1)))]
        raise Refused(
            f"reaches ({mm(x):.0f}, {mm(y):.0f}) {UNIT}, too far for a board: check the units of "
            "the file"
        )


def _line(entity: Any, chord: float) -> tuple[Points, bool]:
    start, end = entity.dxf.start, entity.dxf.end
    return np.array([[start.x, start.y], [end.x, end.y]]), False


def _mirror(entity: Any) -> float:
    """Sign of X in the entity's own plane, which must be level."""
    x, y, z = entity.dxf.get("extrusion", (0.0, 0.0, 1.0))
    # A tilt of 1e-6 shortens a board of 2 m by 1e-9 mm.
    if math.hypot(x, y) > 1e-6 * abs(z) or z == 0.0:
        raise Refused("lies in a tilted plane")
    return 1.0 if z > 0 else -1.0


def _radius(value: float) -> float:
    if not (math.isfinite(value) and value > 0.0):
        raise Refused(f"has the radius {value:g}")
    return value


def _arc(entity: Any, chord: float) -> tuple[Points, bool]:
    sign, middle = _mirror(entity), entity.dxf.center
    start, end = math.radians(entity.dxf.start_angle), math.radians(entity.dxf.end_angle)
    # equal angles are a full circle: an arc without a length would not have been drawn
    sweep = (end - start) % _TURN or _TURN
    _near(middle.x, middle.y, chord)
    points = arc_points(middle.x, middle.y, _radius(entity.dxf.radius), start, sweep, chord)
    return points * [sign, 1.0], False


def _circle(entity: Any, chord: float) -> tuple[Points, bool]:
    sign, middle = _mirror(entity), entity.dxf.center
    points = arc_points(middle.x, middle.y, _radius(entity.dxf.radius), 0.0, _TURN, chord)
    return points[:-1] * [sign, 1.0], True


def _near(x: float, y: float, chord: float) -> None:
    """An arc's middle may lie far off, but not where its points would lose their digits."""
    # beyond 1e9 mm a coordinate holds only about 1e-7 mm
    if not (math.isfinite(x) and math.isfinite(y) and max(abs(x), abs(y)) * CHORD / chord < 1e9):
        raise Refused("has its middle too far off")


def _lwpolyline(entity: Any, chord: float) -> tuple[Points, bool]:
    vertices = [(x, y, b) for x, y, b in entity.get_points("xyb")]
    return _bulged(vertices, bool(entity.closed), chord) * [_mirror(entity), 1.0], bool(
        entity.closed
    )


def _polyline(entity: Any, chord: float) -> tuple[Points, bool]:
    if entity.is_polygon_mesh or entity.is_poly_face_mesh:
        raise Refused("is a mesh, not a line")
    closed = bool(entity.is_closed)
    if entity.is_3d_polyline:
        return np.array([[v.dxf.location.x, v.dxf.location.y] for v in entity.vertices]).reshape(
            -1, 2
        ), closed
    # frame vertices (flag 16) only shape a fitted spline, they do not lie on it
    own = [v for v in entity.vertices if not v.dxf.get("flags", 0) & 16]
    vertices = [(v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)) for v in own]
    return _bulged(vertices, closed, chord) * [_mirror(entity), 1.0], closed


def _bulged(vertices: list[tuple[float, float, float]], closed: bool, chord: float) -> Points:
    """Points along a polyline whose edges may be arcs."""
    if not vertices:
        return np.empty((0, 2))
    parts = [np.array([vertices[0][:2]])]
    ends = vertices[1:] + (vertices[:1] if closed else [])
    for (x1, y1, bulge), (x2, y2, _) in zip(vertices, ends, strict=False):
        length = math.hypot(x2 - x1, y2 - y1)
        # written so that NaN is refused too
        if not abs(bulge) <= _STEEPEST:
            raise Refused(f"has an edge with the bulge {bulge:g}, which is no arc")
        # flatter than a thousandth of the chord height is straight; its radius would overflow
        if 0.5 * abs(bulge) * length > 1e-3 * chord:
            # sagitta = bulge * length / 2; radius = length (1 + b^2) / (4 b); the middle lies left
            # of the chord
            rise = length * (1.0 - bulge * bulge) / (4.0 * bulge)
            mx = 0.5 * (x1 + x2) - rise * (y2 - y1) / length
            my = 0.5 * (y1 + y2) + rise * (x2 - x1) / length
            radius = math.hypot(x1 - mx, y1 - my)
            start = math.atan2(y1 - my, x1 - mx)
            parts.append(arc_points(mx, my, radius, start, 4.0 * math.atan(bulge), chord)[1:-1])
        parts.append(np.array([[x2, y2]]))
    return np.vstack(parts)


def _ellipse(entity: Any, chord: float) -> tuple[Points, bool]:
    _mirror(entity)
    tool = entity.construction_tool()
    # Radians; a full ellipse is written as 0 to 2 pi, in as many figures as its program likes.
    full = abs(entity.dxf.end_param - entity.dxf.start_param) % _TURN < 1e-9
    sweep = _TURN if full else (entity.dxf.end_param - entity.dxf.start_param) % _TURN
    # along the parameter |c''| <= the major half axis: linear interpolation errs by |c''| du^2 / 8
    # at most
    major = _radius(tool.major_axis.magnitude)
    count = min(max(8, math.ceil(sweep * math.sqrt(major / (8.0 * chord)))), 200_000)
    params = entity.dxf.start_param + sweep * np.arange(count + 1) / count
    points = np.array([[v.x, v.y] for v in tool.vertices(params)])
    return (points[:-1], True) if full else (points, False)


def _spline(entity: Any, chord: float) -> tuple[Points, bool]:
    tool = entity.construction_tool()
    for point in tool.control_points:
        if (
            not all(map(math.isfinite, (point.x, point.y)))
            or max(abs(point.x), abs(point.y)) * CHORD / chord > 1e7
        ):
            raise Refused("has control points too far off")
    # half the chord: the flattening looks at the middle of each stretch only, of which there are 8
    # to each span or more
    points = np.array([[v.x, v.y] for v in tool.flattening(0.5 * chord, segments=8)])
    closed = len(points) > 2 and math.dist(points[0], points[-1]) < chord
    return (points[:-1], True) if closed else (points, False)


_READERS = {
    "ARC": _arc,
    "CIRCLE": _circle,
    "ELLIPSE": _ellipse,
    "LINE": _line,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "SPLINE": _spline,
}
