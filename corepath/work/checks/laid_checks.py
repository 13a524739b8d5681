"""The checks of set-up D: whether the web holds the board to the rim, and clearance beside
obstacles.

*web*: what is left in the slot of the trim is the lowest part of the laid-up board, first the
laminate under the core. A web that is all laminate holds only where that laminate reaches onto the
rim beyond the slot. A web with wood or casting over its laminate as thick as the floor of a groove
must be, or with no laminate at all, holds as far as the blank reaches. *obstacles*: the cutter, or
its collet, beside the obstacles and screw heads of D, by the places that any path of the trim or of
a hole must pass. *spoil-board*: what is left of it where bolt holes pass through a low cradle.
*beyond*: how far the deck is finished beyond what lies on it. Frame of D, seen from above, mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from corepath.board.features import Board
from corepath.board.footprints import offset
from corepath.job.model import Job
from corepath.layup.laid import laid_up, skin_outside
from corepath.lengths import mm
from corepath.stackup.checks.judge import judge, weakest
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.work.keepoff import CLEARANCE
from corepath.work.works import Obstacle, Trim, Work, point_of

__all__ = ["laid_checks", "skin_reach"]

Floats = NDArray[np.float64]
# mm between the places of a slot or lap that are looked at.
_SAMPLE = 1.0
# mm within which polygons keep to their curves: distances between them are rounded to it
_GRAIN = 0.001
_POINT = 1e-6  # mm: a hole as wide as its cutter is cut at one place


def _trim_slot(job: Job, works: Sequence[Work]) -> float | None:
    """How far (mm) the far edge of the trim's slot lies outside the outline; None where no machine
    trims."""
    for work in works:
        if work.trim is not None:
            allowance = job.trim.allowance if job.trim is not None else 0.0
            return allowance + _slot_width(work, work.trim)
    return None


def skin_reach(job: Job, works: Sequence[Work]) -> float:
    """How far (mm) the laminates reach beyond the outline, along the skin: one figure for check,
    template, report and the study of the skin."""
    return skin_outside(job, _trim_slot(job, works))


def _slot_width(work: Work, trim: Trim) -> float:
    """Width (mm) of the slot that roughing and finishing laps cut together."""
    return 2.0 * work.cutter.radius + trim.finish


def laid_checks(job: Job, board: Board, works: Sequence[Work]) -> tuple[Check, ...]:
    """web where D has a trim, obstacles where anything stands in D, spoil-board where holes pass
    into it; beyond where the deck is not finished over the whole blank."""
    laid = [work for work in works if work.setup == "D"]
    reach = skin_reach(job, laid)
    found = [_web(job, board, work, work.trim, reach) for work in laid if work.trim is not None]
    beside = [
        check for work in laid for obstacle in work.obstacles for check in _beside(work, obstacle)
    ]
    under = [check for work in laid for check in _under(job, work, laid_up(job, board).bed)]
    ends = _beyond(job, works, skin_reach(job, works))
    return (*found, *(weakest(some) for some in (beside, under) if some), *ends)


def _beyond(job: Job, works: Sequence[Work], reach: float) -> Iterator[Check]:
    """How far the finished deck reaches beyond the laminates that lie on it."""
    by, decks = job.deck.beyond, [work.deck for work in works if work.deck is not None]
    if by is None or all(deck.finished is None for deck in decks):
        return
    room = by - reach
    yield judge(
        "beyond",
        Linear.of(room),
        job.limits.beyond,
        message=f"the deck is finished {mm(by):g} beyond the outline, skins reach {mm(reach):g}; "
        "beyond it waste is only roughed",
        where="deck.beyond",
        fix=f"deck.beyond {mm(job.limits.beyond - room):.2f} larger, or laminates that reach less "
        "far (layup.skin_outside)",
    )


def _under(job: Job, work: Work, bed: float) -> Iterator[Check]:
    """What is left of the spoil board under each bolt hole that passes through the cradle."""
    size = job.tolerances
    errors = Linear.term("touch for bolt holes", size.touch) + Linear.term(
        "machine in bolt holes", size.machine
    )
    for hole in work.holes:
        floor = (
            errors
            + Linear.term("bed", size.bed)
            + (hole.steps[-1].floor - point_of(work.cutter) - bed)
        )
        left = floor + job.blank.spoil_board
        # Only where the hole passes the cradle, in the worst case.
        if floor.worst()[0] < 0.0:
            yield judge(
                "spoil-board",
                left,
                job.limits.under_holes,
                message=f"{hole.id} goes through the cradle and {mm(-floor.nominal):.2f} into the "
                "spoil board of "
                f"{mm(job.blank.spoil_board):g}",
                where=f"{hole.id} ({work.name})",
                fix="less milling.into_bed, or a cradle higher by "
                f"{mm(job.limits.under_holes - left.worst()[0]):.2f}",
            )


def _beside(work: Work, obstacle: Obstacle) -> Iterator[Check]:
    """Clearance between an obstacle and what turns, the cutter first, then the collet above it."""
    bodies = (
        (work.cutter.describe(), work.cutter.radius, 0.0),
        ("the collet", work.collet / 2.0, work.cutter.stick_out),
    )
    for body, radius, over in bodies:
        ways = _ways(work, obstacle.height - over)
        if ways is None:
            continue
        room = round(float(ways.distance(obstacle.area)) - radius, 6)
        left, low, right, high = obstacle.area.bounds
        beside = f"at {mm(room):.2f}" if room >= 0.0 else f"{mm(-room):.2f} too near"
        yield judge(
            "obstacles",
            Linear.of(room),
            0.0,
            message=f"{body} passes {obstacle.name} {beside} in {work.stem}; it lies at X "
            f"{mm(left):.0f} to "
            f"{mm(right):.0f}, Y {mm(low):.0f} to {mm(high):.0f}",
            where=f"{obstacle.name} in D",
            fix=f"move it at least {mm(CLEARANCE - room):.2f} away from the cut, or hold the "
            "board another way",
        )


def _ways(work: Work, below: float) -> shapely.Geometry | None:
    """Where the cutter's axis must come lower than `below` (mm), seen from above; None where it
    does not."""
    parts: list[shapely.Geometry] = [
        shapely.Point(hole.x, hole.y).buffer(
            max(hole.steps[0].diameter / 2.0 - work.cutter.radius, _POINT)
        )
        for hole in work.holes
        if hole.steps[-1].floor < below
    ]
    if work.trim is not None:
        # Along both laps: of the wall and of roughing.
        for by in (work.cutter.radius, work.cutter.radius + work.trim.finish):
            ring = np.asarray(
                work.trim.area.buffer(by, quad_segs=64).exterior.segmentize(_SAMPLE).coords
            )[:, :2]
            low = work.trim.laid.tip(ring[:, 0], work.cutter.radius, work.trim.web) < below
            parts += [
                shapely.LineString(ring[k : k + 2]) for k in np.flatnonzero(low[:-1] & low[1:])
            ]
    return shapely.union_all(parts) if parts else None


def _web(job: Job, board: Board, work: Work, trim: Trim, reach: float) -> Check:
    laid, width = trim.laid, _slot_width(work, trim)
    start, end = laid.ends
    blank = shapely.box(start, -laid.width / 2.0, end, laid.width / 2.0)
    skins = _skins(board, trim, reach)
    # Wood or casting in the web as thick as a floor must be holds by itself, wherever the laminates
    # end.
    by_core = laid.below == 0.0 or trim.web - laid.below >= job.groove.least_floor
    holds = blank if by_core else blank.intersection(skins)
    # The far edge of the slot: from there on the web must reach onto what stays.
    spots = np.asarray(trim.area.buffer(width, quad_segs=64).exterior.segmentize(_SAMPLE).coords)[
        :-1, :2
    ]
    # To the accuracy of the polygons, so that their chords do not choose the place that is named.
    lap = np.round(_inside(holds, spots), 3)
    k = int(np.argmin(lap))
    x, y = spots[k].tolist()
    by_blank = by_core or float(_inside(blank, spots[k : k + 1])[0]) <= lap[k] + _GRAIN
    slot = width + (job.trim.allowance if job.trim is not None else 0.0)
    held = (
        "the blank ends" if by_core else f"the laminates, {mm(reach):.2f} beyond the outline, end"
    )
    where = f"{mm(lap[k]):.2f} beyond it" if lap[k] >= 0.0 else f"{mm(-lap[k]):.2f} short of it"
    where += " at the blank's edge" if by_blank and not by_core else ""
    missing = job.limits.web - float(lap[k])
    return judge(
        "web",
        Linear.of(float(lap[k])),
        job.limits.web,
        message=f"the trim's slot ends {mm(slot):.2f} outside the outline; {held} {where}",
        where=f"X{mm(x):.1f} Y{mm(y):.1f} in {work.name}",
        fix="a smaller cutter, less trim.allowance or trim.finish, or "
        f"{_more(by_blank, by_core, missing)}",
    )


def _more(by_blank: bool, by_core: bool, missing: float) -> str:
    if by_blank:
        return f"a blank {mm(missing):.2f} larger on that side"
    return f"laminates that reach {mm(missing):.2f} further (layup.skin_outside)"


def _skins(board: Board, trim: Trim, reach: float) -> shapely.Geometry:
    """The laminate below the core as it lies in D."""
    grown = offset(board.outline, reach) if reach > 0.0 else board.outline
    return trim.laid.shape(grown, trim.laid.below / 2.0) if isinstance(grown, Polygon) else grown


def _inside(area: shapely.Geometry, spots: Floats) -> Floats:
    """Distance (mm) of each place from the edge of the area, negative outside."""
    points = shapely.points(spots)
    away = shapely.distance(points, shapely.boundary(area))
    return np.asarray(np.where(shapely.covers(area, points), away, -away), dtype=np.float64)
