"""The checks that need the chosen cutters: reach and travel."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

from shapely import Point, total_bounds
from shapely.geometry.base import BaseGeometry

from corepath.job.model import Job
from corepath.lengths import mm
from corepath.stackup.checks.judge import judge, weakest
from corepath.stackup.checks.verdict import Check
from corepath.stackup.linear import Linear
from corepath.work.keepoff import BESIDE, field_of
from corepath.work.works import Work

__all__ = ["depth_of", "limit_checks", "travel_check"]


def limit_checks(job: Job, works: Sequence[Work]) -> tuple[Check, ...]:
    """The checks reach and travel over all works."""
    return weakest(_reach(work) for work in works), weakest(
        check for work in works for check in _travel(job, work)
    )


def depth_of(work: Work) -> float:
    """How deep the cutter stands in the stock at its deepest, mm (nominal).

    Facing and roughing go down in layers over the whole blank, so no stock beside the cutter is
    higher than one layer; a frame, or what an obstacle keeps the cutter from, stands at its full
    height beside the last of them.
    """
    if work.deck is not None and not work.deck.framed and work.deck.spare is None:
        deepest = min(work.deck.deepest, work.stock_top - work.lowest)
        return min(work.cutting.depth, deepest) if work.deck.rough else deepest
    if work.facing is not None and work.facing.spare is None:
        planes = (work.facing.top, *work.facing.planes)
        return max(above - below for above, below in itertools.pairwise(planes))
    if work.trim is not None:
        return work.trim.depth
    if work.sloped:
        return max(hole.top - hole.steps[-1].floor for hole in work.holes)
    return work.stock_top - work.lowest


def _reach(work: Work) -> Check:
    depth = depth_of(work)
    room = work.cutter.cutting_length - depth
    return judge(
        "reach",
        Linear.of(room),
        0.0,
        message=f"{work.cutter.describe()} cuts {mm(work.cutter.cutting_length):g} long, "
        f"{work.name} goes {mm(depth):.2f} deep",
        where=work.name,
        fix=f"a cutter whose edges are {mm(-room):.2f} longer (cutter.cutting_length)",
    )


def _travel(job: Job, work: Work) -> list[Check]:
    """Checks of the least that each axis must span, known before any path is: the axis over the
    outermost places."""
    return _judged(job, work.stem, "at least ", (*_span(work), _highest(work) - work.lowest))


def _highest(work: Work) -> float:
    return work.clear if work.approach is None else max(work.clear, work.approach.height)


def _span(work: Work) -> tuple[float, float]:
    """Least span of the axis on X and Y, mm. Over a face, lines in X end at the blank's edge but
    begin beside it."""
    if work.facing is not None or work.deck is not None:
        left, low, right, high = field_of(work).bounds
        if work.deck is not None and work.deck.finished is not None:
            # Lines end where the finished part ends: they sweep up to it, and no farther.
            left, low, right, high = work.deck.finished.bounds
            return right - left - work.cutter.diameter, high - low - work.cutter.diameter
        if work.deck is not None and work.deck.framed:
            return right - left, high - low
        beside = work.cutter.radius + BESIDE
        return right - left - beside, high - low - 2.0 * beside - work.cutter.diameter
    areas: list[BaseGeometry] = [Point(hole.x, hole.y) for hole in work.holes]
    for pocket in work.pockets:
        inner = pocket.area.buffer(-work.cutter.radius)
        # Too narrow for the cutter: its path is refused later, here any place of it will do.
        areas.append(pocket.area.representative_point() if inner.is_empty else inner)
    areas += [work.trim.area] if work.trim is not None else []
    left, low, right, high = total_bounds(areas).tolist()
    return right - left, high - low


def travel_check(job: Job, spans: Mapping[str, tuple[float, float, float]]) -> Check:
    """The check travel by what the programs really span on X, Y and Z (mm), by the stem of each
    file."""
    return weakest(check for stem, span in spans.items() for check in _judged(job, stem, "", span))


def _judged(job: Job, stem: str, about: str, span: tuple[float, float, float]) -> list[Check]:
    """The check of each axis. Only spans are compared: where on the table the blank lies is up to
    the user."""
    return [
        judge(
            "travel",
            Linear.of(travel - needed),
            0.0,
            message=f"{stem} spans {about}{mm(needed):.1f} on {axis}, the machine travels "
            f"{mm(travel):.1f}",
            where=f"{axis} in {stem}",
            fix=f"a machine that travels {mm(needed - travel):.1f} more on {axis} "
            "(machine.travel), or a smaller blank",
        )
        for axis, needed, travel in zip("XYZ", span, job.machine.travel, strict=True)
    ]
