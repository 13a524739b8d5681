"""The modal state of the control, and what reading a program has gathered so far.

Lengths in mm; a coordinate or a feed that is not known is NaN. Codes are ten times the G number.
"""

from __future__ import annotations

import math

from corepath.gcode.read.canned_cycles import Cycle
from corepath.gcode.read.read_program import Event

__all__ = ["NAN", "ModalState", "Row"]

NAN = math.nan
Row = tuple[float, float, float, float, float, float, float, int, bool, bool]


class ModalState:
    """What the control has in force, as it stands before any line: nothing is stated yet."""

    def __init__(self) -> None:
        self.x = self.y = self.z = NAN
        self.scale = 1.0
        self.feed = NAN
        self.speed = 0.0
        self.motion: int | None = None
        self.absolute = True
        self.inverse_time = False
        self.to_initial = True
        self.spindle = False
        self.selected: int | None = None
        self.tool: int | None = None
        self.system = 540
        self.systems: list[int] = []
        self.offsets: list[int] = []
        self.path_modes: set[int] = set()
        self.ended = False
        self.cycled = 0.0
        self.cycle = Cycle()
        self.stated: set[str] = set()
        self.stated_first: frozenset[str] | None = None
        self.rows: list[Row] = []
        self.offset = 0
        self.jumps: dict[int, tuple[float, float, float]] = {}
        self.events: list[Event] = []
        self.notes: list[tuple[str, str]] = []
