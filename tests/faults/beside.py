"""Faults beside the operations' own files: rehearsals, restarts, and path control of a machine with
an exact path.

Each rule is harm by what it is: a place that is not shown, a mode that is lost, a start in the
wood. The read-back gets the text alone; a restart is held to its file by what it does, not by being
the very text that was made.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path

import numpy as np

from corepath.gcode.read.motions import read_program
from corepath.planning.plan import Plan
from corepath.planning.prepare import Prepared
from corepath.planning.proving.reading import shop_of
from corepath.planning.restart.restart_program import Restart, restart
from corepath.planning.restart.restart_proof import differs
from corepath.readback.words.rehearsed import check_rehearsals
from tests.faults.rules import (
    WORD_RULES,
    Draw,
    Lines,
    Rule,
    changed,
    digit_changed,
    dropped,
    mirrored,
    pick,
    replaced,
)

__all__ = ["EXACT_RULES", "REHEARSAL_RULES", "RESTART_RULES", "Beside"]

_PLACE = re.compile(r"([XY])(-?\d+\.\d+)")
_CODES = ("G17", "G21", "G90", "G94", "G54", "G40", "G49", "G80", "G64")


def _in_place(change: float | None) -> Rule:
    """X or Y of one move moved by `change` mm, or its sign turned; the way to the park is no place
    that is shown."""

    def rule(lines: Lines, draw: Draw) -> Lines | None:
        last = max(k for k, line in enumerate(lines) if line.startswith("G0 "))
        shown = [
            k
            for k, line in enumerate(lines[:last])
            if re.match("G[01] ", line) and _PLACE.search(line)
        ]
        k = int(draw.choice(shown))
        words = [
            one
            for one in _PLACE.finditer(lines[k])
            if change is not None or abs(float(one[2])) > 0.1
        ]
        if not words:
            return None
        word = words[int(draw.integers(len(words)))]
        value = (
            -float(word[2])
            if change is None
            else float(word[2]) + change * float(draw.choice([-1, 1]))
        )
        return [
            *lines[:k],
            f"{lines[k][: word.start(2)]}{value:.4f}{lines[k][word.end(2) :]}",
            *lines[k + 1 :],
        ]

    return rule


def _move_lost(lines: Lines, draw: Draw) -> Lines:
    last = max(k for k, line in enumerate(lines) if line.startswith("G0 "))
    k = int(draw.choice([k for k, line in enumerate(lines[:last]) if re.match("G[01] ", line)]))
    return lines[:k] + lines[k + 1 :]


def _higher(by: float) -> Rule:
    return lambda lines, _draw: [
        re.sub(r"(?<=Z)[\d.]+", lambda z: f"{float(z[0]) + by:.4f}", line)
        if line.startswith("G")
        else line
        for line in lines
    ]


def _after(pattern: str, line: str) -> Rule:
    """A line put in after one of those that match."""

    def rule(lines: Lines, draw: Draw) -> Lines | None:
        k = pick(lines, draw, lambda one: re.fullmatch(pattern, one))
        return None if k is None else [*lines[: k + 1], line, *lines[k + 1 :]]

    return rule


REHEARSAL_RULES: Mapping[str, Rule] = {
    "rehearsal: stop lost": dropped(lambda line: line == "M0"),
    "rehearsal: 0.7 higher": _higher(0.7),
    "rehearsal: 0.7 lower": _higher(-0.7),
    "rehearsal: first way at rapid": lambda lines, _draw: [
        line.replace("G1 Z", "G0 Z") if line.startswith("G1 Z") else line for line in lines
    ],
    "rehearsal: place moved": _in_place(0.7),
    "rehearsal: sign of a place": _in_place(None),
    "rehearsal: move lost": _move_lost,
    "rehearsal: mirrored in X": mirrored("X"),
    "rehearsal: goes down": _after("M0", "G1 Z2.0000 F1000"),
    "rehearsal: spindle on": _after("M0", "S18000 M3"),
    "rehearsal: preamble line lost": dropped(lambda line: line in _CODES),
    "rehearsal: G55 for G54": replaced(r"^G54$", "G55"),
    "rehearsal: inches for mm": replaced(r"^G21$", "G20"),
    "rehearsal: end lost": dropped(lambda line: line == "M2"),
    "rehearsal: length offset": replaced(r"^T(\d+)$", r"T\1\nG43 H\1"),
    "rehearsal: words": lambda lines, draw: WORD_RULES[
        str(
            draw.choice(
                ["words: other cutter", "words: other face", "words: tip", "words: line lost"]
            )
        )
    ](lines, draw),
}


def _lead(rule: Rule) -> Rule:
    """A rule for what comes before the rest of the file: the preamble and the way to the place."""

    def only(lines: Lines, draw: Draw) -> Lines | None:
        end = next(k for k, line in enumerate(lines) if line.startswith("(From line "))
        begin = next(k for k, line in enumerate(lines) if not line.startswith("("))
        spoiled = rule(lines[begin:end], draw)
        return None if spoiled is None else [*lines[:begin], *spoiled, *lines[end:]]

    return only


def _rest(rule: Rule) -> Rule:
    """A rule for the lines of the file themselves."""

    def only(lines: Lines, draw: Draw) -> Lines | None:
        end = next(k for k, line in enumerate(lines) if line.startswith("(From line "))
        spoiled = rule(lines[end:], draw)
        return None if spoiled is None else [*lines[:end], *spoiled]

    return only


def _any_digit(lines: Lines, draw: Draw) -> Lines | None:
    """A digit of a place before the end of the line's third decimal: more than the rounding that is
    allowed."""
    k = pick(lines, draw, lambda line: re.match(r"^G[123] .*[XYZ]-?\d+\.\d{4}", line))
    if k is None:
        return None
    words = list(re.finditer(r"[XYZ](-?\d+\.\d{3})", lines[k]))
    word = words[int(draw.integers(len(words)))]
    return changed(
        lines,
        k,
        lambda line: line[: word.start(1)] + digit_changed("", word[1], draw) + line[word.end(1) :],
    )


def _feed_lost(lines: Lines, draw: Draw) -> Lines | None:
    """A feed after the last stop; without one before it, the first way down is only slower."""
    last = max(k for k, line in enumerate(lines) if line == "M0")
    rest = dropped(lambda line: re.match(r"^F[\d.]+$", line))(lines[last:], draw)
    return None if rest is None else [*lines[:last], *rest]


def _safe_height_lost(lines: Lines, _draw: Draw) -> Lines | None:
    """Not raised before it goes to its place; a first way down would have left it high enough."""
    high = next(k for k, line in enumerate(lines) if line.startswith("G0 Z"))
    return (
        None
        if any(line.startswith("G1 Z") for line in lines[:high])
        else lines[:high] + lines[high + 1 :]
    )


def _wait_first(lines: Lines, _draw: Draw) -> Lines | None:
    """The wait for the spindle moved before its start."""
    at = next((k for k, line in enumerate(lines) if line.startswith("G4 ")), None)
    start = next((k for k, line in enumerate(lines) if line.endswith("M3")), None)
    if at is None or start is None or at < start:
        return None
    return [*lines[:start], lines[at], *lines[start:at], *lines[at + 1 :]]


RESTART_RULES: Mapping[str, Rule] = {
    "restart: preamble line lost": _lead(dropped(lambda line: line in _CODES)),
    "restart: G55 for G54": _lead(replaced(r"^G54$", "G55")),
    "restart: inches for mm": _lead(replaced(r"^G21$", "G20")),
    "restart: G91 for G90": _lead(replaced(r"^G90$", "G91")),
    "restart: G61 for G64": _lead(replaced(r"^G64$", "G61")),
    "restart: other cutter": _lead(
        lambda lines, draw: changed(
            lines,
            pick(lines, draw, lambda line: re.match(r"^T\d+$", line)),
            lambda line: f"T{int(line[1:]) % 4 + 1}",
        )
    ),
    "restart: stop lost": _lead(dropped(lambda line: line == "M0")),
    "restart: safe height lost": _lead(_safe_height_lost),
    "restart: starts in the wood": _lead(replaced(r"^G0 Z[\d.]+$", "G0 Z1.5000")),
    "restart: over another place": _lead(
        replaced(r"^G0 X(-?[\d.]+)", lambda found: f"G0 X{float(found[1]) + 0.7:.4f}")
    ),
    "restart: place lost": _lead(dropped(lambda line: re.match(r"^G0 X-?[\d.]+ Y", line))),
    "restart: deeper": _lead(
        replaced(r"^G1 Z(-?[\d.]+)$", lambda found: f"G1 Z{float(found[1]) - 0.3:.4f}")
    ),
    "restart: down at rapid": _lead(replaced(r"^G1 Z", "G0 Z")),
    "restart: feed x 3": _lead(
        replaced(r"^F([\d.]+)$", lambda found: f"F{float(found[1]) * 3:.1f}")
    ),
    "restart: feed lost": _lead(_feed_lost),
    "restart: spindle line lost": _lead(dropped(lambda line: line.endswith("M3"))),
    "restart: other speed": _lead(replaced(r"^S(\d)\d+", r"S\g<1>000")),
    "restart: wait lost": _lead(dropped(lambda line: line.startswith("G4 "))),
    "restart: wait before the start": _lead(_wait_first),
    "restart: stops in the rest": _rest(_after(r"^G[123] .*", "M0")),
    "restart: line of the rest lost": _rest(dropped(lambda line: re.match(r"^G[0123] ", line))),
    "restart: digit of the rest": _rest(_any_digit),
    "restart: end lost": _rest(dropped(lambda line: line == "M5")),
}

EXACT_RULES: Mapping[str, Rule] = {
    "exact path: G64 for G61": replaced(r"^G61$", "G64"),
    "exact path: G61 lost": dropped(lambda line: line == "G61"),
    "exact path: left half way": _after(r"G0 Z[\d.]+", "G64"),
}


class Beside:
    """Rehearsals and restarts of a plan, and its machine with an exact path."""

    def __init__(self, made: Plan) -> None:
        assert made.readback is not None
        self.prepared: Prepared = made.prepared
        self.travelled = made.readback.travelled
        self.walks = {
            name: str(text) for name, text in made.files.items() if name.startswith("rehearsal/")
        }
        self.files = {
            name: str(text)
            for name, text in made.files.items()
            if re.fullmatch(r"0[1-6]-.*\.nc", name)
        }

    @cached_property
    def exact(self) -> Prepared:
        """The same job on a machine that keeps to the path."""
        machine = self.prepared.job.machine.model_copy(update={"exact_path": True})
        return replace(self.prepared, job=self.prepared.job.model_copy(update={"machine": machine}))

    def walk(self, draw: Draw) -> tuple[str, str]:
        name = str(draw.choice(sorted(self.walks)))
        return name, self.walks[name]

    def walk_kinds(self, name: str, text: str) -> tuple[str, ...]:
        found = check_rehearsals(
            self.prepared.ahead, shop_of(self.prepared), {name: text}, self.travelled
        )
        return tuple(found.kinds)

    def restarted(self, draw: Draw) -> Restart:
        """A restart of a file drawn, from a line drawn between its first cut and its last."""
        name = str(draw.choice(sorted(self.files)))
        program = read_program(self.files[name], name)
        turning = np.flatnonzero((program.kind > 0) & program.spindle_on)
        line = int(program.line[int(draw.choice(turning[3:]))])
        with tempfile.TemporaryDirectory(prefix="corepath-faults-") as folder:
            Path(folder, name).write_text(self.files[name])
            return restart(Path(folder, name), line)

    def restart_kinds(self, made: Restart, text: str) -> tuple[str, ...]:
        """`changed` where what it does is not what the file does from there on."""
        program = read_program(self.files[made.file], made.file)
        index = int(np.searchsorted(program.line, made.line))
        wrong = list(differs(program, index, read_program(text, "restart.nc"), made.clear))
        return ("changed",) if wrong else ()
