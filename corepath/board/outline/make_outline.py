"""The outline: the board's edge line as a polygon, from whatever form the job gives it in.

*Stations* are pairs (x, half width): the outline is one smooth closed curve through them and their
mirror images about the X axis. *Points* are corners in order, joined by straight lines or by a
smooth closed curve. A *DXF* file is read by `corepath.board.outline.dxf`. Board frame, mm; the
polygon that comes out is valid, without holes, counter-clockwise, and its chords keep within 0.001
mm of the true curve.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from shapely import Polygon

from corepath.board.outline.curves import Points, closed_curve, shape_faults, signed_area
from corepath.errors import Fault, InputError
from corepath.job.model import Job, OutlineSection
from corepath.lengths import mm

__all__ = ["build_outline"]

_SAME = 1e-6  # mm: points closer than this are one, and a curve through both would have no step


def build_outline(job: Job, folder: Path) -> Polygon:
    """Returns the outline of `job`; a DXF file is looked for relative to `folder`.

    Raises InputError with all faults found: not exactly one form given, stations not ascending,
    points that repeat, a curve that crosses itself, no area, all that can be wrong with a DXF.
    """
    section = job.outline
    given = [name for name in ("stations", "points", "dxf") if getattr(section, name) is not None]
    if len(given) != 1:
        says = "none of them is given" if not given else f"{' and '.join(given)} are given together"
        raise InputError(
            [
                Fault(
                    "outline",
                    f"one of stations, points and dxf is needed: {says}",
                    allowed="exactly one",
                )
            ]
        )
    if section.dxf is not None:
        from corepath.board.outline.dxf import read_outline

        return read_outline(folder / section.dxf, section.layer, section.dxf_units, section.join)
    if section.stations is not None:
        return _from_stations(section.stations)
    return _from_points(section)


def _from_stations(stations: tuple[tuple[float, float], ...]) -> Polygon:
    faults = _station_faults(stations)
    if faults:
        raise InputError(faults)
    # Lower side from left to right, upper side back: counter-clockwise. On the axis a station is
    # its own image.
    lower = [(x, -w) for x, w in stations]
    upper = [(x, w) for x, w in reversed(stations) if w > 0.0]
    return _closed("outline.stations", closed_curve(np.array(lower + upper, dtype=float)))


def _station_faults(stations: tuple[tuple[float, float], ...]) -> list[Fault]:
    faults = []
    if len(stations) < 3:
        faults.append(
            Fault("outline.stations", "too few stations", str(len(stations)), "3 or more")
        )
    for i, (x, half) in enumerate(stations):
        key = f"outline.stations[{i + 1}]"
        if i and abs(x - stations[i - 1][0]) < _SAME:
            faults.append(
                Fault(key, "same x as the station before it", f"x = {mm(x):g}", "each x once")
            )
        elif i and x < stations[i - 1][0]:
            allowed = f"x above {mm(stations[i - 1][0]):g}"
            faults.append(Fault(key, "stations must ascend in x", f"x = {mm(x):g}", allowed))
        if half < 0.0 or (half == 0.0 and 0 < i < len(stations) - 1):
            faults.append(
                Fault(
                    key,
                    "the board has no width here",
                    f"{mm(half):g}",
                    "a half width above 0 except at the ends",
                )
            )
    return faults


def _from_points(section: OutlineSection) -> Polygon:
    assert section.points is not None
    points = [tuple(map(float, p)) for p in section.points]
    # a list that is closed by repeating its first point is the same outline
    if len(points) > 1 and _near(points[0], points[-1]):
        points.pop()
    faults = [
        Fault(
            f"outline.points[{i + 1}]",
            "same as the point before it",
            f"({mm(p[0]):g}, {mm(p[1]):g})",
            "each point once",
        )
        for i, p in enumerate(points)
        if i and _near(p, points[i - 1])
    ]
    if len(points) < 3:
        faults.append(
            Fault("outline.points", "too few points", str(len(points)), "3 or more different ones")
        )
    if faults:
        raise InputError(faults)
    ring = np.array(points)
    return _closed("outline.points", closed_curve(ring) if section.smooth else ring)


def _near(one: tuple[float, ...], two: tuple[float, ...]) -> bool:
    return abs(one[0] - two[0]) < _SAME and abs(one[1] - two[1]) < _SAME


def _closed(key: str, ring: Points) -> Polygon:
    faults = shape_faults(key, ring)
    if faults:
        raise InputError(faults)
    return Polygon(ring if signed_area(ring) > 0 else ring[::-1])
