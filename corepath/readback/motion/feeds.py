"""Feeds and speed: none above what the cutter is planned for, and none so slow that its edges rub.

The lower limit of a motion's feed is half of what the plan runs its kind at, since the feed is
halved on purpose where a bore opens or a hole leaves the wood. Around a small curve, or over a
short path, the machine does not reach that feed; there the limit is half of what it can reach:
sqrt(acceleration · radius), sqrt(2 · acceleration · length) (elementary mechanics). Lengths in mm,
feeds in mm/min, bed frame.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings
from corepath.lengths import feed as per_min
from corepath.readback.motion.descents import ways
from corepath.stock.path import Path
from corepath.work.works import Work

__all__ = ["check_feeds", "reachable"]

# F is rounded, in inches a minute to two decimals; a percent is well beyond that and harmless.
_SLACK = 1.01
_LEAST = 0.5
_FALL = 1e-6
_UPRIGHT = 1e-6

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def check_feeds(path: Path, work: Work, cutting: Flags, findings: Findings) -> None:
    """Check the upper limit of all motions at feed, the lower limit of those that cut (`cutting`,
    (n,)), and the spindle speed."""
    feed = path.program.feed[path.index]
    level, fall = ways(path)
    down = cutting & (fall > _FALL) & (level < _UPRIGHT)
    run = work.cutting
    most = np.where(down, run.plunge, run.fastest)
    words = np.where(down, " straight down", "")
    _tell(path, (path.kind > 0) & (feed > most * _SLACK), most, words, "feed-too-high", findings)
    planned = np.where(
        down, run.plunge, np.where(fall > _FALL, min(run.ramp, run.feed), min(run.feed, run.finish))
    )
    least = _LEAST * np.minimum(planned, reachable(path, work.milling.limits.accel))
    slow = cutting & (path.kind > 0) & (feed < least / _SLACK)
    _tell(path, slow, least, words, "feed-too-low", findings)
    _check_speed(path, work, findings)


def reachable(path: Path, accel: float) -> Floats:
    """Return the feed that a machine reaches along each motion, (n,) mm/min, for the motion's
    length and its curve; `accel` in mm/s²."""
    pieces = path.pieces
    each = np.linalg.norm(pieces.upper - pieces.lower, axis=1)
    long = np.asarray(np.bincount(pieces.owner, each, minlength=len(path.kind)), dtype=np.float64)
    radius = np.full(len(path.kind), np.inf)
    arcs = path.kind >= 2
    radius[arcs] = np.hypot(*(path.start[arcs, :2] - path.centre[arcs]).T)
    # A curve written as short lines slows the machine as the arc would, on both lines at a corner.
    turn = _turn_radius(path, long)
    np.minimum(radius[:-1], turn, out=radius[:-1])
    np.minimum(radius[1:], turn, out=radius[1:])
    return np.asarray(60.0 * np.sqrt(accel * np.minimum(radius, 2.0 * long)), dtype=np.float64)


def _turn_radius(path: Path, long: Floats) -> Floats:
    """Return the radius (n - 1,) of the arc that rounds the corner between a motion and the next;
    infinite unless both are lines that turn.

    The arc touches both lines half the shorter one from the corner: R = (c/2) / tan(t/2) for a turn
    t (elementary geometry). For small turns it is the circle of which equal lines are chords.
    """
    way = path.end - path.start
    one, other = way[:-1], way[1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        turn = np.arccos(np.clip((one * other).sum(axis=1) / (long[:-1] * long[1:]), -1.0, 1.0))
        radius = np.minimum(long[:-1], long[1:]) / (2.0 * np.tan(turn / 2.0))
    # 1e-9 rad: straight on, with a radius beyond all that matters.
    lines = (path.kind[:-1] == 1) & (path.kind[1:] == 1) & (turn > 1e-9)
    return np.where(lines, radius, np.inf)


def _tell(
    path: Path, which: Flags, limit: Floats, words: NDArray[np.str_], kind: str, findings: Findings
) -> None:
    found = np.flatnonzero(which)
    feed, side = path.program.feed[path.index], "most" if kind == "feed-too-high" else "least"
    for k in found[: findings.keep].tolist():
        x, y, z = (float(value) for value in path.end[k])
        says = f"F{per_min(feed[k]):.0f}, planned at {side} {per_min(limit[k]):.0f~}{words[k]}"
        findings.add(kind, says, line=int(path.line[k]), place=(x, y, z))
    findings.more(kind, len(found) - findings.keep)


def _check_speed(path: Path, work: Work, findings: Findings) -> None:
    planned = work.cutting.rpm
    for event in path.program.events:
        starts = event.name == "spindle-on" or (event.name == "speed" and event.spindle)
        if starts and event.value > 0.0 and abs(event.value - planned) > (_SLACK - 1.0) * planned:
            says = f"S{event.value:.0f}, planned {planned:.0f} a minute"
            findings.add("speed-off", says, line=event.line)
