"""Second files of an operation: what they take as cut must be what an earlier file was checked to
cut.

Bed frame, mm.
"""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from corepath.gcode.read.findings import Findings
from corepath.lengths import square_mm
from corepath.work.works import Work

__all__ = ["check_cleared"]

# mm: areas of two openings agree so well, each of two buffers within 0.001 mm.
_NEAR = 0.003
# mm²: slivers between two polygons are no finding.
_LEAST_AREA = 0.01


def check_cleared(work: Work, earlier: Sequence[Work], findings: Findings) -> None:
    """Check that the `cleared` area of each pocket lies in pockets, at least as deep, of earlier
    files of the same operation."""
    first = [
        one
        for one in earlier
        if (one.setup, one.order) == (work.setup, work.order) and one.part < work.part
    ]
    for pocket in work.pockets:
        if pocket.cleared is None:
            continue
        areas = [
            other.area
            for one in first
            for other in one.pockets
            # 1e-6 mm: equal floors, worked out twice.
            if other.floor <= pocket.floor + 1e-6
        ]
        cut = shapely.buffer(shapely.union_all(areas), _NEAR)
        rest = shapely.difference(pocket.cleared, cut)
        area = float(shapely.area(rest))
        if area > _LEAST_AREA:
            point = shapely.point_on_surface(
                max(shapely.get_parts(rest), key=lambda part: float(shapely.area(part)))
            )
            says = (
                f"{pocket.id}: {square_mm(area):.2f~} count as cleared, and no earlier file is "
                "held to cut them"
            )
            findings.add("not-reached", says, place=(float(point.x), float(point.y), pocket.floor))
