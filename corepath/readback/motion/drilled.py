"""Holes drilled straight down, and feeds where a hole leaves the wood. Bed frame, mm, mm/min.

A drill clears its chips only above the stock: it goes at most `AT_ONCE` diameters deeper at a time
(common practice, no source). Over the last of the wood the feed is half of what it is elsewhere, so
that fibres are cut, not pushed out. Canned cycles arrive here as plain motions.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.lengths import feed as per_min
from corepath.lengths import mm
from corepath.readback.motion.descents import ways
from corepath.stock.path import Path
from corepath.work.works import Hole, Work

__all__ = ["AT_ONCE", "check_drilling", "check_openings"]

AT_ONCE = 3.0
# Share by which a rounded F, or a peck of just three diameters, may be over.
_SLACK = 1.01
# mm: heights and distances that are met but for rounding (the step of an inch file is 0.00025 mm).
_CLOSE = 0.01
_FALL = 1e-6

Flags = NDArray[np.bool_]


def check_drilling(work: Work, path: Path, cutting: Flags, findings: Findings) -> None:
    """Check the pecks of a drill and the feeds at the break-through of each hole; `cutting` (n,)
    tells which motions cut."""
    away = np.full((len(work.holes), len(path.kind)), np.inf)
    for k, hole in enumerate(work.holes):
        away[k] = np.hypot(path.end[:, 0] - hole.x, path.end[:, 1] - hole.y)
    for k, hole in enumerate(work.holes):
        # The same margin as in `hole_steps.check_holes`.
        mine = np.asarray(away[k] <= hole.steps[0].diameter / 2.0 + 0.5, dtype=np.bool_)
        if path.cutter.shape == "drill":
            _pecks(hole, path, mine, findings)
        if hole.breaks_through is not None:
            _break_through(hole, work, path, mine & cutting, findings)


def _pecks(hole: Hole, path: Path, mine: Flags, findings: Findings) -> None:
    """Check how much deeper a drill goes between two times above the stock."""
    # `depth` is the deepest so far, `run` the depth at the last time above the stock: what lies
    # above that is open, and only what is drilled below it makes chips.
    depth = run = hole.top
    limit = AT_ONCE * path.cutter.diameter * _SLACK
    told = False
    for at in np.flatnonzero(mine):
        z = float(path.end[at, 2])
        if z >= hole.top - _CLOSE:
            run, told = depth, False
        depth = min(depth, z)
        if run - z > limit and not told:
            says = (
                f"{hole.id}: {mm(run - z):.1f} deeper at once, at most {AT_ONCE:g} diameters "
                f"({mm(limit / _SLACK):.1f})"
            )
            findings.add(
                "peck", says, line=int(path.line[at]), place=(hole.x, hole.y, z), depth=run - z
            )
            told = True


def _break_through(hole: Hole, work: Work, path: Path, cuts: Flags, findings: Findings) -> None:
    """Check that the feed is halved from `break_through` above the place where the hole leaves the
    wood."""
    assert hole.breaks_through is not None
    slow = hole.breaks_through + work.milling.break_through
    feed = path.program.feed[path.index]
    run = work.cutting
    level, fall = ways(path)
    # A helical bore goes down all the way: each of its motions is a ramp.
    ramp = np.where(fall > _FALL, max(run.plunge, run.ramp), run.feed)
    limit = np.where(level < _FALL, run.plunge, ramp) / 2.0
    fast = cuts & (path.kind > 0) & (path.end[:, 2] < slow - _CLOSE) & (feed > limit * _SLACK)
    for at in np.flatnonzero(fast)[: findings.keep]:
        x, y, z = (float(value) for value in path.end[at])
        says = f"{hole.id}: F{per_min(feed[at]):.0f} where it leaves the wood, " + (
            f"at most half feed ({per_min(limit[at]):.0f}) there"
        )
        findings.add("feed-too-high", says, line=int(path.line[at]), place=(x, y, z))
    findings.more("feed-too-high", int(fast.sum()) - findings.keep)


def check_openings(work: Work, path: Path, findings: Findings) -> None:
    """Check that the feed is halved where the deck pass opens a bore: wherever the cutter reaches
    its rim, from `break_through` above its end."""
    if work.deck is None or not len(path.kind):
        return
    feed, pieces = path.program.feed[path.index], path.pieces
    limit = work.cutting.fastest / 2.0
    # Only motions that are too fast for an opening need be looked for near one: few of a file. An
    # arc may pass a bore that its chord stays off: each is taken in the pieces that are cut.
    fast = (path.kind > 0) & (feed > limit * _SLACK)
    hasty = pieces.pick(fast[pieces.owner])
    tree = shapely.STRtree(
        shapely.linestrings(np.stack([hasty.lower[:, :2], hasty.upper[:, :2]], axis=1))
    )
    for opening in work.deck.openings:
        reach = opening.diameter / 2.0 + path.cutter.radius - _CLOSE
        near = tree.query(shapely.Point(opening.x, opening.y), predicate="dwithin", distance=reach)
        deep = near[hasty.low[near] < opening.top + work.milling.break_through - _CLOSE]
        wrong = np.unique(hasty.owner[deep])
        for at in wrong[: findings.keep]:
            x, y, z = (float(value) for value in path.end[at])
            says = (
                f"{opening.id}: F{per_min(feed[at]):.0f} where the deck opens it, "
                f"at most half feed ({per_min(limit):.0f}) there"
            )
            findings.add("feed-too-high", says, line=int(path.line[at]), place=(x, y, z))
        findings.more("feed-too-high", len(wrong) - findings.keep)
