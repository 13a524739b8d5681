"""Read-back of files that feel for faces, run against a bed and a blank off by what may be.

A touched place is worked out here by closed forms of the distance between ball and wood, not by
anything that the files were made with. The tip is at the lowest point of the ball, as the standard
counts it (NIST IR 6556, 3.5.9.2). Bed frame of the set-up, mm, shifted to machine coordinates.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from shapely import LineString

from corepath.gcode.read.findings import Findings
from corepath.gcode.read.touch_control import (
    Place,
    Start,
    TouchEvent,
    TouchRun,
    run_touch,
)
from corepath.lengths import MM_PER_INCH, mm
from corepath.plain_text import sha256_of
from corepath.readback.simulation_setup import SimulationSetup
from corepath.readback.words.heads import check_heads
from corepath.work.touching import TouchWork
from corepath.work.works import Obstacle

__all__ = ["TouchAsked", "check_touches"]

_SLOWEST_FEEL, _FASTEST = 100.0, 1500.0
"""mm/min: a feel, and any other move, may be no faster (common practice, no source)."""
_LONGEST_FEEL = 12.0
"""mm: a longer way to feel goes deep into what is not touched when plate or probe fail."""
_PLACE = 0.02
"""mm by which a zero may be off after the file: the last digit of a message in inches."""
_CLOSE = 1e-7  # mm: a touch
_AWAY = 0.05  # mm: a first step away from what is touched already
_MACHINE = (412.5, 233.25, -95.125)
"""mm: machine coordinates of the middle of the blank on the bed; any will do."""
_SIZE_OFF = 1.5  # mm by which a squared blank may differ from the job
_HEIGHT_OFF = 0.4  # mm by which a face may lie off its nominal height
_SET = re.compile(r"Touched: set ([XYZ]) to (-?[0-9.]+) here")
_HALF = re.compile(r"Halfway between the last two touches ([XYZ]) must be (-?[0-9.]+)")


@dataclass(frozen=True, slots=True)
class TouchAsked:
    """What the job says of its probe: whether files set the zero, in which coordinates a control
    reports, and the obstacles of each set-up."""

    sets: bool
    reports: Literal["work", "machine"]
    inch: bool
    obstacles: Mapping[str, Sequence[Obstacle]]


@dataclass(frozen=True, slots=True)
class _Case:
    """One world: how far zero is off in X and Y before (as shares of what the file allows), how far
    the blank is off in size and height, how high the tip is brought, how far the control backs off
    after a touch."""

    x: float
    y: float
    size: float
    height: float
    above: float
    back_off: float


_CASES = (
    _Case(0.0, 0.0, 0.0, 0.0, 5.0, 0.2),
    _Case(1.0, -1.0, 1.0, 1.0, 2.0, 0.0),
    _Case(-1.0, 1.0, -1.0, -1.0, 8.0, 0.3),
    _Case(1.0, 1.0, -1.0, 1.0, 8.0, 0.0),
    _Case(-1.0, -1.0, 1.0, -1.0, 2.0, 0.3),
)


def check_touches(
    touches: Sequence[TouchWork],
    shop: SimulationSetup,
    asked: TouchAsked,
    texts: Mapping[str, str],
    sha256: Mapping[str, str] | None = None,
    plan: str = "",
) -> Findings:
    """Read back the files of `touch/`: each finds what it is for in every world, and nothing else.

    `texts` maps names to texts, `touches` are those that the plan needs; `sha256` and `plan` as for
    rehearsals.
    """
    found = Findings()
    check_heads(texts, found, plan)
    known = {f"touch/{work.stem}.nc": work for work in touches}
    for name in dict.fromkeys((*known, *(sha256 or {}))):
        text = texts.get(name)
        if text is None:
            found.add("missing-file", "the touch file was planned and is not there", file=name)
        elif sha256 and name in sha256 and sha256_of(text) != sha256[name]:
            found.add("changed", "not the file that was planned", file=name)
    for name, text in texts.items():
        findings = Findings(name)
        if name in known:
            _check(known[name], shop, asked, text, findings)
        else:
            findings.add("order", "nothing of the plan is touched by this file")
        found.extend(findings)
    return found


def _check(
    work: TouchWork, shop: SimulationSetup, asked: TouchAsked, text: str, findings: Findings
) -> None:
    for number, case in enumerate(_CASES):
        world = _World(work, shop, case)
        operator = None if asked.sets else _Operator(work, MM_PER_INCH if asked.inch else 1.0)
        run = run_touch(text, world.start(asked), world.met, findings, operator)
        if len(findings):
            return
        if number == 0:
            _check_words(work, shop, asked, run, findings)
        _check_run(work, run, findings)
        _check_zero(work, world, run, findings)
        if len(findings):
            return


class _Operator:
    """Someone who sets zero as the messages say."""

    def __init__(self, work: TouchWork, scale: float) -> None:
        self.system = 1 if work.zero.system == "G55" else 0
        self.scale = scale
        self.touches: list[Place] = []

    def __call__(self, message: str, touched: Place, origins: list[list[float]]) -> None:
        if message.startswith("Touched") and (not self.touches or self.touches[-1] != touched):
            self.touches.append(touched)
        one, half = _SET.search(message), _HALF.search(message)
        if one is not None:
            k = "XYZ".index(one[1])
            origins[self.system][k] = touched[k] - float(one[2]) * self.scale
        elif half is not None and len(self.touches) > 1:
            k = "XYZ".index(half[1])
            middle = (self.touches[-1][k] + self.touches[-2][k]) / 2.0
            origins[self.system][k] = middle - float(half[2]) * self.scale


class _World:
    """Bed, blank, holes and dowels as they are in one case, and the distance of a point from
    them."""

    def __init__(self, work: TouchWork, shop: SimulationSetup, case: _Case) -> None:
        self.work, self.case, self.shop = work, case, shop
        self.radius = work.ball / 2.0
        self.half = [(size + case.size * _SIZE_OFF) / 2.0 for size in (shop.length, shop.width)]
        self.top = work.top + case.height * _HEIGHT_OFF
        bed = work.zero.z == 0.0
        self.ground = 0.0 if bed else work.zero.z + case.height * _HEIGHT_OFF
        self.bare = work.kind == "holes" and work.zero.by == "pins"
        places = shop.dowels
        if work.setup == "B":
            places = tuple(shop.mirrored(x, y) for x, y in places)
        self.holes = np.array(places, float).reshape(-1, 2) if work.kind == "holes" else None

    def true_zero(self) -> Place:
        """The place (bed frame) that the zero should be at."""
        corner = self.shop.xy_zero == "front-left"
        if self.work.kind == "edges" and corner:
            return -self.half[0], -self.half[1], self.ground
        if corner:
            return -self.shop.length / 2.0, -self.shop.width / 2.0, self.ground
        return 0.0, 0.0, self.ground

    def origin(self) -> Place:
        """The origin as someone leaves it, machine coordinates: X and Y about right, nothing known
        of Z."""
        x, y, z = self.true_zero()
        rough, case = self.work.rough, self.case
        unknown = 17.0 + 60.0 * case.height
        return _shift((x + case.x * rough, y + case.y * rough, z + unknown), 1.0)

    def start(self, asked: TouchAsked) -> Start:
        """The control before the file."""
        case = self.case
        beside = self.work.zero.z == 0.0 and self.work.kind != "z"
        at = (-self.half[0] - 40.0, -self.half[1] - 40.0) if beside else (0.0, 0.0)
        tip = (*at, self.ground + self.work.plate + case.above)
        origin = self.origin()
        return Start(_shift(tip, 1.0), (origin, origin), asked.reports, case.back_off)

    def met(self, start: Place, end: Place) -> Place | None:
        """Return where the tip first touches on a straight way, machine coordinates."""
        a, b = np.array(_shift(start, -1.0)), np.array(_shift(end, -1.0))
        way = float(np.linalg.norm(b - a))
        if way == 0.0:
            return None
        along, gone = (b - a) / way, 0.0
        if self._room(a) < 1e-4:  # it touches already: only what comes after counts
            gone = min(_AWAY, way)
            if self._room(a + along * gone) < -0.01:
                return start
        while gone <= way:
            room = self._room(a + along * gone)
            if room <= _CLOSE:
                return _shift(tuple((a + along * gone).tolist()), 1.0)
            gone += max(room, 1e-6)
        return None

    def _room(self, tip: np.ndarray) -> float:
        """Return the distance between what touches and what is there, mm."""
        x, y, z = (float(value) for value in tip)
        if self.work.kind == "z":
            return z - self.ground - self.work.plate
        centre = z + self.radius
        rooms = [self._bed(x, y, centre)]
        if not self.bare:
            rooms.append(self._blank(x, y, centre))
            rooms.append(self._dowel(x, y, centre))
        return min(rooms) - self.radius

    def _wall(self, x: float, y: float) -> float:
        """Return how far a point inside a hole is from its wall; negative outside of all."""
        if self.holes is None or not len(self.holes):
            return -math.inf
        return self.work.hole / 2.0 - float(np.hypot(*(self.holes - (x, y)).T).min())

    def _bed(self, x: float, y: float, z: float) -> float:
        return max(z, self._wall(x, y)) if self.bare else z

    def _blank(self, x: float, y: float, z: float) -> float:
        out = [abs(x) - self.half[0], abs(y) - self.half[1], abs(z - self.top / 2) - self.top / 2]
        inside = min(max(out), 0.0)
        box = math.hypot(*(max(one, 0.0) for one in out)) + inside
        return max(box, self._wall(x, y))

    def _dowel(self, x: float, y: float, z: float) -> float:
        # a dowel is as wide as its hole, and stands well below where walls are felt for
        return (
            max(-self._wall(x, y), z - (self.work.level - 0.9)) if self.holes is not None else 1e9
        )


def _shift(place: Place, sign: float) -> Place:
    x, y, z = (value + sign * by for value, by in zip(place, _MACHINE, strict=True))
    return x, y, z


def _check_words(
    work: TouchWork, shop: SimulationSetup, asked: TouchAsked, run: TouchRun, findings: Findings
) -> None:
    """Check what does not hang on the world: system, length, path mode, travel, obstacles."""
    system = {0: "G54", 1: "G55"}[run.system]
    if system != work.zero.system:
        findings.add("zero", f"its zero is in {system} instead of {work.zero.system}")
    called = () if work.call is None else (work.call,)
    if run.offsets != called:
        findings.add("length-offset", "it does not call the length of what touches")
    if run.path_modes != {610 if shop.exact_path else 640}:
        findings.add("path-mode", "it asks the control for another path mode than the job")
    ends = np.array([event.end for event in run.events])
    for k, room in enumerate(shop.travel):
        if np.ptp(ends[:, k]) > room:
            says = f"{'XYZ'[k]} needs {mm(np.ptp(ends[:, k])):.2f}, the machine has {mm(room):.2f}"
            findings.add("travel", says)
    _check_obstacles(work, asked.obstacles.get(work.setup, ()), run, findings)


def _check_obstacles(
    work: TouchWork, obstacles: Sequence[Obstacle], run: TouchRun, findings: Findings
) -> None:
    moved = [event for event in run.events if event.kind in ("move", "feel")]
    if work.kind == "z":
        return
    for event in moved[1:]:
        (x0, y0, z0), (x1, y1, z1) = _shift(event.start, -1.0), _shift(event.end, -1.0)
        way = LineString([(x0, y0), (x1, y1 + 1e-9)]).buffer(work.ball / 2.0)
        for one in obstacles:
            if min(z0, z1) < one.height and way.intersects(one.area):
                findings.add("obstacle", f"the probe meets {one.name}", line=event.line)
                return


def _check_run(work: TouchWork, run: TouchRun, findings: Findings) -> None:
    """Check the moves of one run: slow, no touch but by feeling, and all that is to be felt for."""
    feels = [event for event in run.events if event.kind == "feel"]
    for event in run.events:
        if event.hit:
            findings.add("touch", "it moves into bed or blank without feeling", line=event.line)
        elif event.kind == "rapid":
            findings.add("touch", "it moves at rapid", line=event.line)
        elif event.kind == "feel" and event.feed > _SLOWEST_FEEL:
            findings.add("touch", f"it feels at {mm(event.feed):.0f} a minute", line=event.line)
        elif event.kind == "feel" and not event.touched:
            findings.add("touch", "it touches nothing within its way", line=event.line)
        elif event.kind == "feel" and _way(event) > _LONGEST_FEEL:
            findings.add("touch", f"it feels over {mm(_way(event)):.1f}", line=event.line)
        elif event.kind == "move" and event.feed > _FASTEST:
            findings.add("touch", f"it moves at {mm(event.feed):.0f} a minute", line=event.line)
    first = next((event for event in run.events if event.kind in ("feel", "move")), None)
    stops = [event.line for event in run.events if event.kind == "stop"]
    if first is not None and not any(line < first.line for line in stops):
        findings.add("missing-stop", "no stop before it moves", line=first.line)
    wanted = _feels_wanted(work)
    if len(feels) != wanted:
        findings.add("touch", f"it feels {len(feels)} times, and {wanted} are needed")
    elif work.kind == "thickness":
        _check_places(work, run, findings)


def _way(event: TouchEvent) -> float:
    """Return how far a line was to go, mm: nothing stops it there if the probe fails."""
    return math.dist(event.start, event.goal)


def _feels_wanted(work: TouchWork) -> int:
    corner = work.zero.x != 0.0 or work.zero.y != 0.0
    return {
        "z": 1, "edges": 3 if corner else 5, "holes": 1 + 4 * len(work.places),
        "thickness": 1 + len(work.places),
    }[work.kind]  # fmt: skip


def _check_places(work: TouchWork, run: TouchRun, findings: Findings) -> None:
    """Check that the raw top is felt for at the places to measure, X and Y as they are set."""
    off = np.array([origin - by for origin, by in zip(run.origins[0], _MACHINE, strict=True)])[:2]
    off = off - (work.zero.x, work.zero.y)
    feels = [event for event in run.events if event.kind == "feel"][1:]
    for place, event in zip(work.places, feels, strict=True):
        at = np.array(_shift(event.end, -1.0))[:2] - off
        if float(np.hypot(*(at - place))) > _PLACE:
            says = f"it is to feel at X{mm(place[0]):.3f} Y{mm(place[1]):.3f} from the middle"
            findings.add("touch", says, line=event.line)


def _check_zero(work: TouchWork, world: _World, run: TouchRun, findings: Findings) -> None:
    """Check that the zero is where it belongs after the file."""
    origin = run.origins[1 if work.zero.system == "G55" else 0]
    at = _shift(origin, -1.0)
    for axis, k in _set_axes(work):
        off = at[k] - world.true_zero()[k]
        if abs(off) > _PLACE:
            findings.add("zero", f"{axis} zero is {mm(off):.3f} off after it")
    other = run.origins[0 if work.zero.system == "G55" else 1]
    if max(abs(a - b) for a, b in zip(other, world.origin(), strict=True)) > _PLACE:
        findings.add("zero", "it moves a zero that is not its own")


def _set_axes(work: TouchWork) -> Iterator[tuple[str, int]]:
    if work.kind in ("edges", "holes"):
        yield from (("X", 0), ("Y", 1))
    yield ("Z", 2)
