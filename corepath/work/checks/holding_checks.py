"""The checks of holding: uncut, screws, held, collet.

Lengths in mm; places in the bed frame of the set-up. *Island*: the wood inside the groove; *rim*:
the blank outside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import shapely
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from corepath.board.features import Board
from corepath.job.model import Job
from corepath.job.pose import pose_of
from corepath.lengths import mm, square_cm
from corepath.motion.program import Setup
from corepath.stackup.checks.judge import AtLeast, judge, weakest
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.stackup.stackup import Stackup
from corepath.work.checks.limit_checks import depth_of
from corepath.work.holding import Screw, board_place, head_top, screws_of
from corepath.work.keepoff import CLEARANCE, Uncut, uncut
from corepath.work.works import Work

__all__ = ["holding_checks", "screws_below"]

_BELOW_CUT = 1.0
"""mm that the head of a screw must lie below the lowest cut over it."""

_BESIDE_CUT = 2.0
"""mm of wood that must stand between a screw's head and a pocket or hole: screws are placed by hand
(common practice, no source)."""

_SETUPS: tuple[Setup, ...] = ("A", "B", "C")


def holding_checks(
    job: Job, board: Board, stack: Stackup, works: Sequence[Work]
) -> tuple[Check, ...]:
    """uncut where obstacles stand beside a face that is cut, screws where there are any, held,
    collet."""
    found = []
    if any(work.obstacles for work in works if work.facing is not None or work.deck is not None):
        found.append(weakest(check for work in works for check in _uncut(job, board, work)))
    if job.screw:
        found.append(
            weakest(
                check for setup in _SETUPS for check in _screws(job, board, stack, works, setup)
            )
        )
        found += _holes_left(job, board)
    found.append(_held(job, board))
    found.append(weakest(check for work in works for check in _collet(work)))
    return tuple(found)


def _seen(job: Job, setup: Setup, area: BaseGeometry) -> BaseGeometry:
    """An area of the board frame as it lies in a set-up."""
    return pose_of(job, setup).shape(area)


def _core(board: Board) -> Polygon:
    """Board and the casting round it: what must be cut whole."""
    return Polygon(board.ring.exterior)


def _uncut(job: Job, board: Board, work: Work) -> Iterator[Check]:
    """The area (cm²) that obstacles leave uncut where it matters: of skim and flush anything that
    is not sawn off."""
    if work.facing is None and work.deck is None:
        return
    if work.deck is not None and work.deck.rough > 0.0:
        # What roughing leaves is taken by the finishing cutter, or reported of that one.
        return
    core = _seen(job, work.setup, _core(board))
    pieces = [
        piece for piece in uncut(work) if any(name.startswith("obstacle") for name in piece.names)
    ]
    faced = work.facing is not None
    bad = [
        piece for piece in pieces if piece.area.intersects(core) or (faced and not piece.sawn_off)
    ]
    said = "; ".join(_piece_words(piece) for piece in bad or pieces)
    why, fix = _WHY.get(work.name, _WHY["deck"])
    left = Linear.of(-sum(piece.area.area for piece in bad) / 100.0 if bad else 0.0)
    yield AtLeast(left, 0.0, "cm²").check(
        "uncut",
        message=f"{work.stem} leaves {said} uncut{why if bad else ''}"
        if said
        else "obstacles keep no cutter from its place",
        where=work.stem,
        fix=fix,
    )


_WHY = {
    "skim": (
        ": it would bear on the bed in C and lift the blank",
        "hold the blank another way in B, or outside it; where the rim there is sawn off before C "
        "and carries nothing "
        "of board or casting, say sawn_off = true",
    ),
    "flush": (
        ": it would bear on the bed in B and lift the blank",
        "hold the blank another way while it is flushed",
    ),
    "deck": (
        ", in the board or its casting",
        "move the obstacle outwards, or leave a frame for it along the blank's edges (deck.margin)",
    ),
}


def _piece_words(piece: Uncut) -> str:
    left, low, right, high = piece.area.bounds
    return (
        f"{square_cm(piece.area.area / 100.0):.1f~} beside {' and '.join(piece.names)} "
        f"(X {mm(left):.0f} to {mm(right):.0f}, Y {mm(low):.0f} to {mm(high):.0f})"
    )


def screws_below(
    job: Job, stack: Stackup, works: Sequence[Work], plane: float
) -> tuple[Check, ...]:
    """Checks of the heads of screws in B below a skim down to `plane`, mm above the bed."""
    skims = [work for work in works if work.name == "skim"]
    return tuple(
        _below(stack, screw, work, stack.heights.plane(plane))
        for screw in screws_of(job, "B")
        for work in skims
    )


def _screws(
    job: Job, board: Board, stack: Stackup, works: Sequence[Work], setup: Setup
) -> Iterator[Check]:
    """Each screw of a set-up: its head below the planes cut over it, and beside pockets and
    holes."""
    mine = [work for work in works if work.setup == setup]
    for screw in screws_of(job, setup):
        yield _within(board, screw, setup)
        for work in mine:
            plane = _plane_over(stack, work, screw)
            if plane is not None:
                yield _below(stack, screw, work, plane)
            elif work.pockets or work.holes:
                yield _beside(screw, work)


def _within(board: Board, screw: Screw, setup: Setup) -> Check:
    room = (
        screw.head.distance(board.blank.exterior)
        if board.blank.contains(screw.head)
        else -screw.section.head
    )
    return judge(
        "screws",
        Linear.of(room),
        _BESIDE_CUT,
        message=f"{mm(room):.2f} of wood between the head of {screw.name} and the blank's edge",
        where=f"{screw.name} in {setup}",
        fix="move it into the blank",
    )


def _plane_over(stack: Stackup, work: Work, screw: Screw) -> Linear | None:
    """The lowest height that a work planes or surfaces over the head of a screw, above the bed;
    None if it does not."""
    heights, near = stack.heights, screw.head.buffer(CLEARANCE)
    if work.name == "flush" and work.facing is not None and heights.face_flush is not None:
        return heights.face_flush.top
    if work.facing is not None:
        return heights.plane(stack.skim.judged_plane)
    if work.deck is not None and work.deck.rough == 0.0 and near.intersects(work.deck.area):
        return heights.deck(work.deck.surface.lowest_over(screw.head)[0], stack.skim.planned_plane)
    return None


def _below(stack: Stackup, screw: Screw, work: Work, plane: Linear) -> Check:
    top = head_top(stack, work.setup, screw)
    room = plane - top
    missing = _BELOW_CUT - room.worst()[0]
    needed = screw.section.counterbore + max(missing, 0.0)
    face = top.nominal + screw.section.counterbore - screw.section.head_height
    deep = (
        f"a counterbore {mm(needed):.2f} deep, {mm(missing):.2f} more than now"
        if needed < face - 2.0
        else ""
    )
    return judge(
        "screws",
        room,
        _BELOW_CUT,
        message=f"the head of {screw.name} ends {mm(top.nominal):.2f} above the bed, {work.stem} "
        "cuts down to "
        f"{mm(plane.nominal):.2f} over it",
        where=f"{screw.name} in {work.setup}",
        fix=deep
        or "no counterbore is deep enough there: another place, or hold the blank another way",
    )


def _beside(screw: Screw, work: Work) -> Check:
    named: list[tuple[str, BaseGeometry]] = [(pocket.id, pocket.area) for pocket in work.pockets]
    named += [
        (hole.id, Point(hole.x, hole.y).buffer(hole.steps[0].diameter / 2.0)) for hole in work.holes
    ]
    room, name = min((round(screw.head.distance(area), 6), name) for name, area in named)
    # Overlapping: say how far, by the area of the overlap over the width of the head.
    if room == 0.0:
        deep = max(float(screw.head.intersection(area).area) for _, area in named)
        room = -min(deep / screw.section.head, screw.section.head)
    return judge(
        "screws",
        Linear.of(room),
        _BESIDE_CUT,
        message=f"{mm(max(room, 0.0)):.2f} of wood between the head of {screw.name} and {name}, "
        f"which {work.stem} cuts",
        where=f"{screw.name} in {work.setup}",
        fix=f"move it {mm(_BESIDE_CUT - room):.2f} away from {name}",
    )


def _holes_left(job: Job, board: Board) -> list[Check]:
    """A caution where screws leave holes in the finished board."""
    names = [
        f"{screw.name} ({setup})"
        for setup in _SETUPS
        for screw in screws_of(job, setup)
        if board.outline.contains(Point(board_place(job, setup, screw.x, screw.y)))
    ]
    if not names:
        return []
    count = float(len(names))
    says = f"{', '.join(names)}: each leaves a hole in the finished board; fill it before lay-up"
    fix = "drive them into wood that is bored away later, or hold the island by tape or vacuum"
    return [Check("screws", "caution", -count, -count, -count, 0.0, "", says, "island", fix)]


def _held(job: Job, board: Board) -> Check:
    """Whether island and rim are each held: how many of these pieces nothing named in the job
    holds."""
    rim = board.blank.difference(_core(board))
    areas = {"island": board.island, "rim": rim}
    missing, words = [], []
    for setup in _SETUPS:
        method = getattr(job.hold, setup)
        # Tape and vacuum hold by area, wherever the pieces are: nothing in the job to count.
        if method in ("tape", "vacuum"):
            words.append(
                f"{setup}: {method} on "
                + " and ".join(f"{square_cm(a.area / 100):.0f~} of {n}" for n, a in areas.items())
            )
            continue
        counts = {
            name: _holders(job, setup, _seen(job, setup, area)) for name, area in areas.items()
        }
        loose = [name for name, count in counts.items() if count == 0]
        missing += [f"{name} in {setup}" for name in loose]
        words.append(
            f"{setup}: {method}, "
            + ", ".join(f"{count} on the {name}" for name, count in counts.items())
        )
    value = -float(len(missing))
    says = "; ".join(words)
    if not missing:
        return Check("held", "ok", 0.0, 0.0, 0.0, 0.0, "", says, "A, B, C")
    fix = (
        f"nothing in the job holds the {', the '.join(missing)}: add [[screw]] or [[obstacle]], or "
        "say tape or vacuum"
    )
    return Check("held", "caution", value, value, value, 0.0, "", says, ", ".join(missing), fix)


def _holders(job: Job, setup: Setup, piece: BaseGeometry) -> int:
    """How many screws and obstacles of a set-up stand on a piece."""
    screws = sum(
        bool(shapely.intersects(piece, Point(screw.x, screw.y))) for screw in screws_of(job, setup)
    )
    clamps = [Polygon(section.points) for section in job.obstacle if setup in section.setups]
    return screws + sum(bool(shapely.intersects(piece, clamp)) for clamp in clamps)


def _collet(work: Work) -> Iterator[Check]:
    """Clearance between the collet and what stands beside the path: stock, and obstacles by pockets
    and holes."""
    stick = work.cutter.stick_out
    depth = depth_of(work)
    yield judge(
        "collet",
        Linear.of(stick - depth),
        CLEARANCE,
        message=f"{work.cutter.describe()} sticks out {mm(stick):g}, {work.name} goes "
        f"{mm(depth):.2f} deep",
        where=work.name,
        fix=f"a cutter that sticks out {mm(CLEARANCE + depth - stick):.2f} further "
        "(cutter.stick_out)",
    )
    # Only beside pockets and holes: paths over faces and decks keep off obstacles by themselves
    # (`keepoff`).
    if not work.obstacles:
        return
    axes = [pocket.area.buffer(-work.cutter.radius) for pocket in work.pockets]
    axes += [
        Point(hole.x, hole.y).buffer(max(hole.steps[0].diameter / 2 - work.cutter.radius, 0.01))
        for hole in work.holes
    ]
    if not axes:
        return
    ways = shapely.union_all(axes)
    for obstacle in work.obstacles:
        away = obstacle.area.distance(ways)
        if away >= work.collet / 2.0 + CLEARANCE:
            continue
        room = work.lowest + stick - obstacle.height
        yield judge(
            "collet",
            Linear.of(room),
            CLEARANCE,
            message=f"the collet, {mm(work.collet):g} wide, comes down to "
            f"{mm(work.lowest + stick):.2f} "
            f"within {mm(away):.1f} of {obstacle.name}, {mm(obstacle.height):.2f} high",
            where=f"{obstacle.name} in {work.name}",
            fix=f"move it {mm(work.collet / 2.0 + CLEARANCE - away):.1f} away, or a cutter that "
            "sticks out "
            f"{mm(CLEARANCE - room):.2f} further",
        )
