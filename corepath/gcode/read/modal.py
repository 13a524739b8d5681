"""The modal state of the control and what one block does to it, in the order of execution of
RS-274.

Order and meaning: NIST IR 6556 (2000), Table 8 and section 3.5. Lengths in mm; a coordinate that is
not known is NaN. The first motions of a program start from an unknown place: nothing is assumed
about where the cutter is, nor about any modal state that the program has not stated, except what is
needed to go on reading.
"""

from __future__ import annotations

import math

import numpy as np

from corepath.gcode.read.arcs import (
    RADIUS_AGREEMENT_INCH,
    RADIUS_AGREEMENT_MM,
    centre_from_radius,
    lengths,
)
from corepath.gcode.read.blocks import AXES, Block, g_name, near_integer
from corepath.gcode.read.canned_cycles import CYCLES, Cycle, CycleLevels, cycle_steps
from corepath.gcode.read.line_checks import HOMES, Wrong, check_block, motion_code, only_states
from corepath.gcode.read.modal_state import NAN, ModalState
from corepath.gcode.read.read_program import Event

__all__ = ["Machine"]

Place = tuple[float, float, float]

# Bounds on what one short line (L10000, a Q of 0.0001) may ask for: it would fill the memory.
_MOST_PECKS = 100_000
_MOST_CYCLED = 3_000_000


class Machine(ModalState):
    """The control: its modal state, and the rows that the motions add.

    A row is (kind, x, y, z of the end, x, y of the centre, feed, line, spindle, inch). A motion
    starts where the one before ended, except at the indices in `jumps` (the place became unknown).
    """

    @property
    def index(self) -> int:
        """Index of the next motion."""
        return self.offset + len(self.rows)

    def execute(self, block: Block, line: int) -> None:
        """Do what a block asks, in the order of NIST IR 6556, Table 8.

        Raises Wrong, before anything is changed where possible.
        """
        check_block(self, block)
        words, g = block.words, block.g
        self._feed_and_speed(block, line)
        self._spindle_and_tool(block, line)
        if g.get("non-modal") == 40:
            self._event("dwell", line, words["P"])
        self._modal(block)
        code = motion_code(self, block)
        if g.get("non-modal") in HOMES:
            self._home(block, line)
        elif code is not None and only_states(code, block):
            self.notes.append(
                ("syntax", f"{g_name(code)} without X, Y or Z; read as stating the mode")
            )
            self.motion = code
        elif code is not None:
            self._move(code, block, line)
        self._stop(block, line)

    # -- what is done, in order

    def _feed_and_speed(self, block: Block, line: int) -> None:
        words = block.words
        if "feed mode" in block.g:
            self.inverse_time = block.g["feed mode"] == 930
            self.stated.add("feed mode")
            # A feed a minute means nothing as an inverse time, and the other way round: neither is
            # kept over the change.
            self.feed = NAN
        if "F" in words:
            if "units" not in self.stated:
                self.notes.append(("units", "F before the units are stated"))
            elif "units" in block.g and (block.g["units"] == 200) != (self.scale != 1.0):
                self.notes.append(
                    ("units", "F on the line that states the units counts in the units before it")
                )
            self.feed = words["F"] * (1.0 if self.inverse_time else self.scale)
        if "S" in words:
            self.speed = words["S"]
            self._event("speed", line, self.speed)

    def _spindle_and_tool(self, block: Block, line: int) -> None:
        if "T" in block.words:
            self.selected = round(block.words["T"])
            self._event("tool", line, float(self.selected))
        if "tool change" in block.m:
            self._event("tool-change", line, float(self.selected or 0))
            self.spindle = False
            self.tool = self.selected
        spindle = block.m.get("spindle")
        if spindle in (3, 4):
            if spindle == 4:
                self.notes.append(("unsupported", "M4 turns the cutter backwards"))
            self._event("spindle-on", line, self.speed)
            self.spindle = True
        elif spindle == 5:
            self._event("spindle-off", line)
            self.spindle = False

    def _modal(self, block: Block) -> None:
        g = block.g
        self.stated.update(group for group in g if group not in ("non-modal", "motion"))
        if g.get("motion") == 800:
            self.stated.add("cycles off")
        if "units" in g:
            self.scale = 25.4 if g["units"] == 200 else 1.0
        if g.get("length offset") == 430:
            self.offsets.append(round(block.words["H"]))
        # The offset's value lies in the control: after it nobody knows at which Z the tip stands.
        # Before the first motion nothing is known anyway.
        if "length offset" in g and self.index:
            self.z = NAN
            self.jumps[self.index] = (self.x, self.y, self.z)
        if "coordinate system" in g:
            self._select_system(g["coordinate system"])
        if "path control" in g:
            self.path_modes.add(g["path control"])
        if "distance" in g:
            self.absolute = g["distance"] == 900
        if "return level" in g:
            self.to_initial = g["return level"] == 980

    def _select_system(self, system: int) -> None:
        # Where the origins of two systems lie to each other is not in the program either.
        if system != self.system and self.index:
            self.x = self.y = self.z = NAN
            self.jumps[self.index] = (NAN, NAN, NAN)
        self.system = system
        if system not in self.systems:
            self.systems.append(system)

    def _stop(self, block: Block, line: int) -> None:
        code = block.m.get("stop")
        if code is None:
            return
        name = {0: "stop", 1: "optional-stop", 60: "stop", 2: "end", 30: "end"}[code]
        self._event(name, line)
        if name == "end":
            self.ended = True

    def _event(self, name: str, line: int, value: float = 0.0) -> None:
        self.events.append(Event(name, line, self.index, value, self.spindle))

    # -- motions

    def _move(self, code: int, block: Block, line: int) -> None:
        explicit = block.g.get("motion") is not None
        if code == 800:
            self.motion = 800
            return
        # What was stated before the first motion is the preamble; later statements come too late.
        if self.stated_first is None:
            self.stated_first = frozenset(self.stated)
        if block.g.get("non-modal") == 530:
            self._machine_move(code, block, line)
        elif code in CYCLES:
            self._run_cycle(code, block, line, first=self.motion != code)
        elif code in (20, 30):
            self._arc(code, block, line)
        else:
            self._row(code // 10, self._target(block), line, block)
        if explicit:
            self.motion = code

    def _target(self, block: Block) -> Place:
        here = (self.x, self.y, self.z)
        result = []
        for axis, value in zip(AXES, here, strict=True):
            given = block.words.get(axis)
            if given is None:
                result.append(value)
            else:
                result.append(given * self.scale + (0.0 if self.absolute else value))
        return result[0], result[1], result[2]

    def _row(
        self,
        kind: int,
        end: Place,
        line: int,
        block: Block | None = None,
        centre: tuple[float, float] = (NAN, NAN),
    ) -> None:
        feed = self.feed
        # G93: F is one over the minutes that the motion takes, so the feed is F times its length.
        if self.inverse_time and kind and block is not None:
            feed = block.words["F"] * self._length(kind, end, centre)
        self.rows.append((kind, *end, *centre, feed, line, self.spindle, self.scale != 1.0))
        self.x, self.y, self.z = end

    def _length(self, kind: int, end: Place, centre: tuple[float, float]) -> float:
        start = np.array([[self.x, self.y, self.z]])
        way = lengths(np.array([kind], np.int8), start, np.array([end]), np.array([centre]))
        return float(way[0])

    def _home(self, block: Block, line: int) -> None:
        """Run G28 or G30 (NIST IR 6556, 3.5.8): a rapid to the place given, then all axes home,
        wherever that is."""
        if self.stated_first is None:
            self.stated_first = frozenset(self.stated)
        if block.has_axes:
            self._row(0, self._target(block), line, block)
        says = (
            f"{g_name(block.g['non-modal'])} goes to a place that is not in the program: where it "
            "passes cannot be told"
        )
        self.notes.append(("unsupported", says))
        self._row(0, (NAN, NAN, NAN), line, block)

    def _machine_move(self, code: int, block: Block, line: int) -> None:
        # G53, in machine coordinates: the axes named are unknown from here on.
        x, y, z = (
            NAN if axis in block.words else value
            for axis, value in zip(AXES, (self.x, self.y, self.z), strict=True)
        )
        self.notes.append(
            ("unsupported", "G53 moves in machine coordinates: where it passes cannot be told")
        )
        self._row(code // 10, (x, y, z), line, block)

    def _arc(self, code: int, block: Block, line: int) -> None:
        words = block.words
        if "X" not in words and "Y" not in words:
            raise Wrong("an arc needs X or Y")
        x, y, z = self._target(block)
        if math.isnan(self.x + self.y):
            raise Wrong("an arc from a place that the program has not given")
        if "R" in words:
            if "I" in words or "J" in words:
                raise Wrong("an arc has either R or I and J")
            tolerance = RADIUS_AGREEMENT_MM if self.scale == 1.0 else RADIUS_AGREEMENT_INCH
            centre = centre_from_radius(
                (self.x, self.y), (x, y), words["R"] * self.scale, code == 20, tolerance
            )
            if centre is None:
                raise Wrong("no arc of this radius leads from start to end")
        elif "I" in words or "J" in words:
            centre = (
                self.x + words.get("I", 0.0) * self.scale,
                self.y + words.get("J", 0.0) * self.scale,
            )
            if centre == (self.x, self.y):
                raise Wrong("an arc of radius zero")
        else:
            raise Wrong("an arc needs I, J or R")
        self._row(code // 10, (x, y, z), line, block, centre)

    def _run_cycle(self, code: int, block: Block, line: int, first: bool) -> None:
        words = block.words
        # A cycle that is stated again keeps no sticky numbers but R, and R only from another cycle.
        if first:
            self.cycle = Cycle(r=self.cycle.r if self.motion in CYCLES else None)
        places = self._cycle_places(block)
        levels = self._cycle_levels(words, code)
        bottom, retract, _ = levels
        if code == 830 and len(places) * (retract - bottom) / (self.cycle.q or 1.0) > _MOST_PECKS:
            raise Wrong(f"G83 with more than {_MOST_PECKS} pecks")
        pecks = (retract - bottom) / (self.cycle.q or 1.0) if code == 830 else 1.0
        self.cycled += len(places) * (3.0 * max(pecks, 1.0) + 2.0)
        if self.cycled > _MOST_CYCLED:
            raise Wrong(f"more than {_MOST_CYCLED} motions by cycles in one file")
        if retract < bottom:
            raise Wrong("the retract level R lies below the bottom Z")
        at = (self.x, self.y, self.z)
        for step in cycle_steps(code, at, places, levels, self.cycle):
            if step.dwell:
                self._event("dwell", line, step.dwell)
            elif (step.x, step.y, step.z) != (self.x, self.y, self.z):
                self._row(0 if step.rapid else 1, (step.x, step.y, step.z), line)

    def _cycle_places(self, block: Block) -> list[tuple[float, float]]:
        given = block.words.get("L", 1.0)
        repeats = near_integer(given)
        if repeats is None or repeats < 1 or repeats > 10_000:
            raise Wrong("L is an integer from 1 on (at most 10000 here)")
        x, y, _ = self._target(block)
        if math.isnan(x + y + self.z):
            raise Wrong("a cycle from a place that the program has not given")
        if self.absolute:
            return [(x, y)] * repeats
        dx, dy = x - self.x, y - self.y
        return [(self.x + dx * k, self.y + dy * k) for k in range(1, repeats + 1)]

    def _cycle_levels(self, words: dict[str, float], code: int) -> CycleLevels:
        """Return the heights of a cycle, from the words of this line or the sticky ones. With G91 R
        counts from where the tip stands, and Z from R (NIST IR 6556, 3.5.16)."""
        cycle = self.cycle
        if "R" in words:
            cycle.r = words["R"] * self.scale
        if "Z" in words:
            cycle.z = words["Z"] * self.scale
        if "P" in words:
            cycle.p = words["P"]
        if "Q" in words:
            cycle.q = words["Q"] * self.scale
        if cycle.z is None or cycle.r is None:
            raise Wrong("the first line of a cycle needs Z and R")
        if code == 830 and (cycle.q is None or cycle.q <= 0.0):
            raise Wrong("G83 needs a peck Q above zero")
        if code in (820, 890) and (cycle.p is None or cycle.p < 0.0):
            raise Wrong("this cycle needs a dwell P")
        bottom, retract = cycle.z, cycle.r
        if not self.absolute:
            bottom, retract = self.z + cycle.r + cycle.z, self.z + cycle.r
        return CycleLevels(bottom, retract, max(self.z, retract) if self.to_initial else retract)
