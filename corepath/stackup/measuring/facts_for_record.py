"""What the as-cut record needs to know of a job, gathered from job, board and stack-up.

The job alone gives names, sizes and operations; the board where its castings lie; the stack-up the
planes of the skim.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import shapely
from shapely import LineString, Point, Polygon

from corepath.board.features import Board
from corepath.board.footprints import place_ids, plug_polygon
from corepath.job.model import Job
from corepath.job.record.entry_kinds import OPERATIONS
from corepath.job.record.record_facts import CastingFacts, JobFacts, PlanFolder
from corepath.stackup.checks.stop_doubts import AFTER_SKIM, thickness_within, touch_within
from corepath.stackup.height_table import HeightTable
from corepath.stackup.stackup import Stackup

__all__ = ["facts_of"]

_GROOVE_PLACES = 4


def facts_of(
    job: Job,
    file: str,
    board: Board | None = None,
    stack: Stackup | None = None,
    folder: PlanFolder | None = None,
) -> JobFacts:
    """Gather the facts of a job.

    `file` is how messages name the job, `folder` the folder of its last plan, if one was found.
    Without board and stack-up fewer faults can be found, since castings then have no place and
    passes no height.
    """
    skim, table = (None, None) if stack is None else (stack.skim, stack.table)
    castings = [_groove(job, board, table), *_plugs(job, table)]
    return JobFacts(
        file=file,
        units=job.units,
        title=job.title,
        length=job.blank.length,
        width=job.blank.width,
        thickness=job.blank.thickness,
        tolerance=job.tolerances.thickness if job.blank.tolerance is None else job.blank.tolerance,
        groove_width=job.groove.width,
        castings={casting.id: casting for casting in castings},
        operations=_operations(job),
        cutters={cutter.number: cutter.listed for cutter in job.cutter},
        drills=frozenset(cutter.number for cutter in job.cutter if cutter.shape == "drill"),
        inserts=_inserts(job),
        planes=skim.planes if skim is not None else (),
        planned_plane=skim.planned_plane if skim is not None else None,
        folder=folder,
        thickness_within=None if stack is None else thickness_within(stack.heights),
        touch_within={}
        if stack is None
        else {name: touch_within(stack.heights, name) for name in AFTER_SKIM},
        measured=job.blank.measured is not None,
    )


def _operations(job: Job) -> tuple[str, ...]:
    absent = set()
    if not job.plug:
        absent |= {"plug-pockets", "bolt-holes"}
    if not job.insert:
        absent.add("inserts")
    if job.cast.flush == "none":
        absent.add("flush")
    return tuple(name for name in OPERATIONS if name not in absent)


def _inserts(job: Job) -> dict[str, bool]:
    """Return for every insert at each of its places (by id) whether its bore goes through."""
    return {
        name: insert.through
        for insert in job.insert
        for name in place_ids(insert.name, len(insert.at))
    }


def _depth(job: Job, table: HeightTable | None, casting: str, floor: float) -> float:
    """Return how deep a pocket comes out at most, mm; without a stack-up, in a nominal blank."""
    return job.blank.thickness - floor if table is None else table.depths([casting])[1]


def _groove(job: Job, board: Board | None, table: HeightTable | None) -> CastingFacts:
    depth = _depth(job, table, "groove", job.groove.floor)
    if board is None:
        return CastingFacts("groove", "groove", depth)
    places = _ring_places(board.ring, job.groove.outside)
    return CastingFacts("groove", "groove", depth, _distance(board.ring), places)


def _plugs(job: Job, table: HeightTable | None) -> list[CastingFacts]:
    found = []
    for plug in job.plug:
        floor = job.floor_of(plug)
        for name, (x, y) in zip(place_ids(plug.name, len(plug.at)), plug.at, strict=True):
            distance = _distance(plug_polygon(plug, x, y))
            found.append(
                CastingFacts(
                    name, "plug-pockets", _depth(job, table, name, floor), distance, ((x, y),)
                )
            )
    return found


def _distance(area: Polygon) -> Callable[[float, float], float]:
    return lambda x, y: float(shapely.distance(area, Point(x, y)))


def _ring_places(ring: Polygon, outside: float) -> tuple[tuple[float, float], ...]:
    """Return places in the groove to measure at, at the ends of the outline and the middle of its
    sides."""
    middle = _outline(ring, outside)
    left, low, right, high = middle.bounds
    x, y = (left + right) / 2, (low + high) / 2
    wanted: Sequence[tuple[float, float]] = ((left, y), (x, high), (right, y), (x, low))
    found = []
    for place in wanted:
        near = middle.interpolate(middle.project(Point(place)))
        # Whole mm are easier to mark on the wood, but may miss a narrow groove. floor(x + 0.5), as
        # Python's round takes halves to the even neighbour.
        rounded = Point(math.floor(near.x + 0.5), math.floor(near.y + 0.5))
        best = rounded if ring.contains(rounded) else near
        found.append((round(best.x, 2) + 0.0, round(best.y, 2) + 0.0))
    return tuple(dict.fromkeys(found[:_GROOVE_PLACES]))


def _outline(ring: Polygon, outside: float) -> LineString:
    """Return the outline, which runs between the walls of the groove: the outer wall moved in by
    `outside`, the width of the groove outside the outline, mm."""
    inner = Polygon(ring.exterior).buffer(-outside)
    line = inner.exterior if isinstance(inner, Polygon) and not inner.is_empty else ring.exterior
    return LineString(line.coords)
