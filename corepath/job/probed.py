"""Touched places of a probe, from a text file, as entries of the as-cut record.

One `X Y Z` a line, in the coordinates of the set-up in which they were touched and in the units of
the job: numbers alone, or each behind its letter; blanks, tabs or commas between them; `#` begins a
comment. Where the control keeps touches in machine coordinates the first line is `zero X Y Z`, the
origin of the zero as the control shows it. Lengths in mm once read.

What a point means follows from how far the work is. Before anything is cut it is the height of the
raw top. In A, once it is cut, a point in the groove or in a pocket is a depth below the nearest
point of the raw top; in B and C the one point is the touched face.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from corepath.errors import Fault, InputError
from corepath.job.model import Job
from corepath.job.pose import pose_of
from corepath.job.record.entry import Entry
from corepath.job.record.record_facts import JobFacts
from corepath.job.record.settled import Settled
from corepath.job.text.source import read_text
from corepath.motion.program import Setup

__all__ = ["NEAR_TOP", "probed_entries"]

NEAR_TOP = 60.0
"""mm: a depth is taken from a point of the raw top no farther away than this, since a blank is
neither flat nor level."""
_MOST = 5000
_AT_TOUCH = 5.0
"""mm by which a touched face may be probed beside `touch_at`."""
_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_POINT = re.compile(
    rf"(zero\s+)?X?\s*({_NUMBER})[\s,]+Y?\s*({_NUMBER})[\s,]+Z?\s*({_NUMBER})", re.I
)


class Touched(NamedTuple):
    """A touched place in program coordinates, mm, and its line in the file."""

    x: float
    y: float
    z: float
    line: int


@dataclass(frozen=True, slots=True)
class _Asked:
    """What points are compared with."""

    job: Job
    facts: JobFacts
    settled: Settled
    path: Path
    note: str

    def fault(self, line: int | None, message: str, value: str = "", allowed: str = "") -> Fault:
        return Fault("--probed", message, value, allowed, str(self.path), line)

    def entry(self, kind: str, value: float, **fields: object) -> Entry:
        return Entry(kind, value=round(value, 6), note=self.note or "probed", **fields)  # type: ignore[arg-type]


def probed_entries(
    path: Path, job: Job, facts: JobFacts, settled: Settled, note: str = ""
) -> list[Entry]:
    """Return the entries that the points of a file make.

    Raises InputError with all lines that are no points, and for points that mean nothing at this
    stage of the work.
    """
    asked = _Asked(job, facts, settled, path, note)
    points = _points(asked)
    setup = _setup(settled)
    if job.machine.z_zero == "face":
        says = "counts Z from the bed, and machine.z_zero is on the face: type the figures"
        raise InputError([asked.fault(None, says)])
    placed = [_on_board(point, job, setup) for point in points]
    if setup != "A":
        return [_face(placed, setup, asked)]
    if not settled.cut and settled.stage == "blank":
        return [asked.entry("height", point.z, at=(point.x, point.y)) for point in placed]
    return _depths(placed, asked)


def _setup(settled: Settled) -> Setup:
    """Return the set-up in which the core lies at this stage."""
    return {"B": "B", "inserts": "C", "C": "C"}.get(settled.stage, "A")  # type: ignore[return-value]


def _points(asked: _Asked) -> list[Touched]:
    """Return the points of the file in program coordinates."""
    text, faults = read_text(asked.path)
    lines = text.removeprefix("\ufeff").splitlines()
    if faults:
        raise InputError([asked.fault(None, fault.message, fault.value) for fault in faults])
    if len(lines) > _MOST:
        raise InputError([asked.fault(None, f"has {len(lines)} lines", allowed=f"at most {_MOST}")])
    zero: Touched | None = None
    found = []
    for number, line in enumerate(lines, start=1):
        words = line.partition("#")[0].strip()
        if not words:
            continue
        point = _POINT.fullmatch(words)
        if point is None:
            faults.append(asked.fault(number, "is no point", words[:40], "X Y Z, as 10.5 -20 13.6"))
            continue
        x, y, z = (float(point[k]) * asked.facts.scale for k in (2, 3, 4))
        if point[1] is None:
            found.append(Touched(x, y, z, number))
        elif zero is None and not found:
            zero = Touched(x, y, z, number)
        else:
            faults.append(
                asked.fault(number, "the zero stands once, before all points", words[:40])
            )
    faults += _zero_faults(asked, zero, found)
    if faults:
        raise InputError(faults)
    return [_less(point, zero) for point in found]


def _zero_faults(asked: _Asked, zero: Touched | None, found: Sequence[Touched]) -> list[Fault]:
    by_machine = asked.job.machine.probe_reports == "machine"
    if not found:
        return [asked.fault(None, "holds no point", allowed="X Y Z, as 10.5 -20 13.6")]
    if by_machine and zero is None:
        says = "machine.probe_reports is machine: these points need the zero that was in force"
        return [asked.fault(found[0].line, says, allowed="zero X Y Z as the first line")]
    if zero is not None and not by_machine:
        says = 'a zero goes with machine.probe_reports = "machine" only'
        return [asked.fault(zero.line, says)]
    return []


def _less(point: Touched, zero: Touched | None) -> Touched:
    if zero is None:
        return point
    return Touched(point.x - zero.x, point.y - zero.y, point.z - zero.z, point.line)


def _on_board(point: Touched, job: Job, setup: Setup) -> Touched:
    """Return a point in the board frame, its height above the bed."""
    pose = pose_of(job, setup)
    x, y = pose.place(point.x + pose.zero[0], point.y + pose.zero[1])
    return Touched(round(x, 6), round(y, 6), point.z, point.line)


def _face(points: Sequence[Touched], setup: Setup, asked: _Asked) -> Entry:
    """Return the touch of the operation ahead in B or C: the one point at the touched place."""
    names = ("inserts",) if setup == "B" else ("deck-rough", "deck")
    ahead = [name for name in names if name in asked.facts.operations]
    at = asked.job.machine.touch_at
    if at is not None:
        points = [one for one in points if math.dist((one.x, one.y), at) <= _AT_TOUCH]
    if len(points) != 1 or not ahead:
        says = f"in {setup} one point is the touched face"
        place = "" if at is None else f" within {asked.facts.shown(_AT_TOUCH)} of machine.touch_at"
        raise InputError([asked.fault(None, says, f"{len(points)} points", f"one point{place}")])
    return asked.entry("touch", points[0].z, operation=ahead[0])


def _depths(points: Sequence[Touched], asked: _Asked) -> list[Entry]:
    """Return the depths of those points that lie in groove or pockets, each from the nearest point
    of the raw top."""
    inside = {point: _casting(point, asked.facts) for point in points}
    tops = [(one.x, one.y, one.z) for one in points if inside[one] is None]
    tops += list(asked.settled.heights)
    found, faults = [], []
    for point, casting in inside.items():
        if casting is None:
            continue
        near = min(tops, key=lambda top: math.dist(top[:2], point[:2]), default=None)
        if near is None or math.dist(near[:2], point[:2]) > NEAR_TOP:
            says = f"is in {casting}, and no point of the raw top is near it"
            allowed = f"one within {asked.facts.shown(NEAR_TOP)} in the file, or recorded before"
            faults.append(asked.fault(point.line, says, allowed=allowed))
        elif casting == "groove":
            found.append(asked.entry("groove-depth", near[2] - point.z, at=(point.x, point.y)))
        else:
            found.append(asked.entry("pocket-depth", near[2] - point.z, casting=casting))
    if not found and not faults:
        faults = [asked.fault(None, "no point lies in the groove or in a pocket")]
    if faults:
        raise InputError(faults)
    return found


def _casting(point: Touched, facts: JobFacts) -> str | None:
    """Return the casting in whose pocket a point lies; None for one on the raw top."""
    for name, casting in facts.castings.items():
        if casting.distance is not None and casting.distance(point.x, point.y) == 0.0:
            return name
    return None
