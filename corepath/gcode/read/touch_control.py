"""Runs the text of a file that feels for faces, as a control with a probe would.

Only these files may hold G38.2 (NIST IR 6556, 3.5.9), G10 L2 (3.5.5), brackets and parameters
(3.3.2.2, 3.3.2.3, 3.3.3), and of these just #5061 to #5063, the origins of G54 and G55 and #1 to
#9. All else that the reader of other files refuses is refused here too, and so is every word that a
touch does not need. Machine coordinates, mm; what is touched is asked of a `world`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from corepath.gcode.read.blocks import AXES, Block, g_name, near_integer, read_block
from corepath.gcode.read.findings import Findings
from corepath.gcode.read.motions import PREAMBLE
from corepath.gcode.read.words import read_line

__all__ = ["Start", "TouchEvent", "TouchRun", "run_touch"]

Place = tuple[float, float, float]
EventKind = Literal["move", "rapid", "feel", "stop", "set", "end"]
World = Callable[[Place, Place], Place | None]
"""Where the tip first touches on the straight way from one place to another; None: nowhere."""

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_SETTING = re.compile(r"^#([0-9]+)=(.+)$")
_TOKEN = re.compile(r"\s*(#[0-9]+|[0-9]+\.?[0-9]*|\.[0-9]+|[-+*/\[\]])")
_HELD = range(1, 10)
_ALLOWED_G = frozenset(
    (0, 10, 100, 382, 170, 200, 210, 400, 430, 490, 540, 550, 610, 640, 800, 900, 910, 940)
)
_ALLOWED_M = frozenset((0, 2, 5, 6))
_LEAST_WAY = 0.254


@dataclass(frozen=True, slots=True)
class Start:
    """The control before the file: where the tip is (machine coordinates), the origins of G54 and
    G55, in which coordinates it keeps a touch, and how far it backs off after one (the standard
    lets it retract slightly, 3.5.9.1)."""

    place: Place
    origins: tuple[Place, Place]
    reports: Literal["work", "machine"] = "work"
    back_off: float = 0.0


@dataclass(frozen=True, slots=True)
class TouchEvent:
    """What one line did: `move` or `feel` from `start` to `end`, `stop` with a message, `set` of an
    origin, `end`. `goal` is where the line was to end, `touched` whether a feel met something,
    `hit` whether any other move did."""

    kind: EventKind
    line: int
    start: Place
    end: Place
    goal: Place
    feed: float = 0.0
    message: str = ""
    touched: bool = False
    hit: bool = False


@dataclass(frozen=True, slots=True)
class TouchRun:
    """All events, the origins at the end, which of them was in force, and lengths called."""

    events: tuple[TouchEvent, ...]
    origins: tuple[Place, Place]
    system: int
    offsets: tuple[int, ...]
    path_modes: frozenset[int]


class _Refused(Exception):
    """A line that cannot be run, with the kind of finding and the reason."""

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind


def run_touch(
    text: str,
    start: Start,
    world: World,
    findings: Findings,
    answers: Callable[[str, Place, list[list[float]]], None] | None = None,
) -> TouchRun:
    """Run a text and return what it did; what is wrong goes to `findings`.

    `answers` is what the operator does at a stop: it gets the message, the touched place and the
    origins, which it may change, as someone does who sets zero.
    """
    control = _TouchControl(start, world, findings, answers)
    for number, line in enumerate(text.split("\n"), start=1):
        if control.ended or control.failed:
            break
        try:
            control.line(number, line.strip())
        except _Refused as refused:
            findings.add(refused.kind, f"{refused}: '{line.strip()[:60]}'", line=number)
            control.failed = True
    if not control.ended and not control.failed:
        findings.add("missing-end", "it does not end with M2")
    origins = tuple(tuple(one) for one in control.origins)
    return TouchRun(
        tuple(control.events), origins, control.system, tuple(control.offsets),  # type: ignore[arg-type]
        frozenset(control.path_modes),
    )  # fmt: skip


class _TouchControl:
    def __init__(
        self,
        start: Start,
        world: World,
        findings: Findings,
        answers: Callable[[str, Place, list[list[float]]], None] | None,
    ) -> None:
        self.place = list(start.place)
        self.origins = [list(one) for one in start.origins]
        self.by_machine = start.reports == "machine"
        self.back_off = start.back_off
        self.world = world
        self.findings = findings
        self.answers = answers
        self.scale = 1.0
        self.system = 0
        self.absolute = True
        self.feed = 0.0
        self.kept: dict[int, float] = {}
        self.tripped: Place | None = None
        self.stated: set[str] = set()
        self.events: list[TouchEvent] = []
        self.offsets: list[int] = []
        self.path_modes: set[int] = set()
        self.message = ""
        self.ended = self.failed = False

    def line(self, number: int, text: str) -> None:
        bare = text.partition("(")[0].strip()
        setting = _SETTING.match(bare)
        if setting is not None:
            self._keep(int(setting[1]), setting[2])
            return
        line = read_line(self._valued(text))
        if line.fault is not None:
            raise _Refused(line.fault.kind, line.fault.message)
        if line.message is not None:
            self.message = line.message
        if not line.words:
            return
        block = read_block(line.words)
        # G38.2 and G10 are read here and nowhere else.
        faults = [one for one in block.faults if not one.message.startswith(("G38.2:", "G10:"))]
        if faults:
            raise _Refused(faults[0].kind, faults[0].message)
        self._execute(number, block)

    # -- parameters and expressions

    def _valued(self, text: str) -> str:
        """Return a line with the values of its brackets in their place."""
        before, sign, comment = text.partition("(")
        if "[" not in before and "#" not in before:
            return text
        found = re.fullmatch(r"(.*?[A-Z])(\[.*\]|#[0-9]+)", before.strip())
        if found is None:
            raise _Refused("syntax", "an expression stands behind a letter and ends the line")
        return f"{found[1]}{self._value(found[2]):.9f}{sign}{comment}"

    def _keep(self, number: int, text: str) -> None:
        if number not in _HELD:
            raise _Refused("unsupported", f"#{number} is not to be set here")
        self.kept[number] = self._value(text)

    def _value(self, text: str) -> float:
        tokens = _TOKEN.findall(text)
        if "".join(tokens) != text.replace(" ", ""):
            raise _Refused("syntax", "an expression that cannot be read")
        value, left = self._term(tokens)
        if left:
            raise _Refused("syntax", "an expression that cannot be read")
        return value

    def _term(self, tokens: list[str]) -> tuple[float, list[str]]:
        """Return the value of one operand and what is left; an expression stands in brackets."""
        if not tokens:
            raise _Refused("syntax", "an expression that ends too early")
        first, *rest = tokens
        if first == "[":
            return self._sum(rest)
        if first.startswith("#"):
            return self._parameter(int(first[1:])), rest
        if first in "+-*/]":
            raise _Refused("syntax", "an expression that cannot be read")
        return float(first), rest

    def _sum(self, tokens: list[str]) -> tuple[float, list[str]]:
        """Return the value up to the closing bracket; * and / come before + and - (3.3.2.3)."""
        total, sign = 0.0, 1.0
        value, left = self._term(tokens)
        while left and left[0] != "]":
            operator, (other, left) = left[0], self._term(left[1:])
            if operator in "*/":
                if operator == "/" and other == 0.0:
                    raise _Refused("syntax", "a division by zero")
                value = value * other if operator == "*" else value / other
            elif operator in "+-":
                total, sign, value = total + sign * value, 1.0 if operator == "+" else -1.0, other
            else:
                raise _Refused("syntax", "an expression that cannot be read")
        if not left:
            raise _Refused("syntax", "a bracket that is not closed")
        return total + sign * value, left[1:]

    def _parameter(self, number: int) -> float:
        if number in self.kept:
            return self.kept[number]
        if 5061 <= number <= 5063:
            if self.tripped is None:
                raise _Refused("touch", "it counts with a touch before there is one")
            return self._reported(number - 5061)
        for system, first in ((0, 5221), (1, 5241)):
            if first <= number <= first + 2:
                return self.origins[system][number - first] / self.scale
        raise _Refused("unsupported", f"#{number} is not known here, or not set before")

    def _reported(self, axis: int) -> float:
        assert self.tripped is not None
        value = self.tripped[axis]
        if not self.by_machine:
            value -= self.origins[self.system][axis]
        return value / self.scale

    # -- lines

    def _execute(self, number: int, block: Block) -> None:
        for code in block.g.values():
            if code not in _ALLOWED_G:
                raise _Refused("unsupported", f"{g_name(code)} has no place in a touch file")
        for code in block.m.values():
            if code not in _ALLOWED_M:
                raise _Refused("touch", f"M{code} has no place in a touch file")
        self._modal(number, block)
        code = block.g.get("motion", -1)
        if block.g.get("non-modal") == 100:
            self._set_origin(number, block)
        elif block.has_axes:
            if code not in (0, 10, 382):
                raise _Refused("syntax", "a move must name G0, G1 or G38.2 on its line here")
            self._move(number, code, block)
        if 0 in block.m.values():
            self._stop(number)
        if 2 in block.m.values():
            self._event("end", number)
            self.ended = True

    def _modal(self, number: int, block: Block) -> None:
        g, words = block.g, block.words
        self.stated.update(group for group in g if group not in ("motion", "non-modal"))
        if g.get("motion") == 800:
            self.stated.add("cycles off")
        if "units" in g:
            self.scale = 25.4 if g["units"] == 200 else 1.0
        if "coordinate system" in g:
            self.system = (g["coordinate system"] - 540) // 10
        if "distance" in g:
            self.absolute = g["distance"] == 900
        if "path control" in g:
            self.path_modes.add(g["path control"])
        if g.get("length offset") == 430:
            self.offsets.append(round(words.get("H", -1.0)))
        if "F" in words:
            self.feed = words["F"] * self.scale

    def _set_origin(self, number: int, block: Block) -> None:
        """Run G10 L2 (3.5.5): the axes given get a new origin, the others keep theirs."""
        which = near_integer(block.words.get("P", 0.0))
        if near_integer(block.words.get("L", 0.0)) != 2 or which not in (1, 2):
            raise _Refused("touch", "G10 sets the origin of G54 or G55: L2, P1 or P2")
        for k, axis in enumerate(AXES):
            if axis in block.words:
                self.origins[which - 1][k] = block.words[axis] * self.scale
        self._event("set", number)

    def _move(self, number: int, code: int, block: Block) -> None:
        missing = [group for group in PREAMBLE if group not in self.stated]
        if missing and not any(one.kind != "stop" for one in self.events):
            says = f"not stated before the first move: {', '.join(missing)}"
            self.findings.add("preamble", says, line=number)
        start, end = self._at(), self._target(block)
        if code != 0 and self.feed <= 0.0:
            raise _Refused("feed-missing", "it moves without a feed")
        met = self.world(start, end)
        if code != 382:
            self.place = list(end)
            self._moved("rapid" if code == 0 else "move", number, start, end, met is not None)
            return
        way = math.dist(start, end)
        if way < _LEAST_WAY:
            raise _Refused("touch", "it feels over less than 0.254 mm")
        event = TouchEvent("feel", number, start, met or end, end, self.feed)
        self.events.append(replace(event, touched=met is not None))
        if met is None:
            self.failed = True  # the control stops with an error (3.5.9.1)
            return
        self.tripped = met
        share = min(1.0, self.back_off / max(way, 1e-9))
        self.place = [m + (s - e) * share for m, s, e in zip(met, start, end, strict=True)]

    def _moved(self, kind: EventKind, line: int, start: Place, end: Place, hit: bool) -> None:
        self.events.append(TouchEvent(kind, line, start, end, end, self.feed, hit=hit))

    def _target(self, block: Block) -> Place:
        origin = self.origins[self.system]
        found = []
        for k, axis in enumerate(AXES):
            value = block.words.get(axis)
            if value is None:
                found.append(self.place[k])
            else:
                base = origin[k] if self.absolute else self.place[k]
                found.append(base + value * self.scale)
        return found[0], found[1], found[2]

    def _stop(self, number: int) -> None:
        self._event("stop", number, self.message)
        if self.answers is not None:
            self.answers(self.message, self.tripped or self._at(), self.origins)
        self.message = ""

    def _at(self) -> Place:
        return self.place[0], self.place[1], self.place[2]

    def _event(self, kind: EventKind, line: int, message: str = "") -> None:
        """Add something that happens where the tip stands."""
        at = self._at()
        self.events.append(TouchEvent(kind, line, at, at, at, self.feed, message))
