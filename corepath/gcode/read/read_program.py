"""What the reader makes of one file: motions as arrays, events between them, and what is wrong.

Coordinates are those of the program, mm whatever the units of the file, Z up; feeds in mm/min. A
coordinate that the program has not given yet is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from corepath.gcode.read.findings import Findings

__all__ = ["Event", "ReadProgram"]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens before motion `index`.

    `name` is one of stop, optional-stop, end, tool, tool-change, spindle-on, spindle-off, dwell
    (value in seconds), speed (value in rpm). `spindle` tells whether the spindle turned until then.
    """

    name: str
    line: int
    index: int
    value: float = 0.0
    spindle: bool = False


@dataclass(frozen=True, slots=True)
class ReadProgram:
    """One file, read. Arrays have one row for each motion:

    `kind` (n,) int8: 0 rapid, 1 line, 2 clockwise arc, 3 counter-clockwise arc; `start`, `end` (n,
    3); `centre` (n, 2), NaN for straight ones; `feed` (n,) mm/min, NaN where none is set; `line`
    (n,) line of the text; `spindle_on` (n,) bool. `unstated` are the modal groups that nothing was
    said of before the first motion; `inch` says in which units the text was left. `systems` are the
    coordinate systems used (540 is G54), `offsets` the H of each G43, `path_modes` how it asks the
    control to keep to its path (610 is G61). `refused` is the reason why the rest of the file was
    not read, or empty.
    """

    file: str
    kind: NDArray[np.int8]
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    centre: NDArray[np.float64]
    feed: NDArray[np.float64]
    line: NDArray[np.int64]
    spindle_on: NDArray[np.bool_]
    events: tuple[Event, ...]
    tool: int | None
    units_stated: bool
    inch: bool
    unstated: tuple[str, ...]
    systems: tuple[int, ...]
    offsets: tuple[int, ...]
    path_modes: frozenset[int]
    refused: str
    lines: int
    findings: Findings = field(repr=False)

    @property
    def count(self) -> int:
        """Number of motions."""
        return len(self.kind)

    @property
    def ended(self) -> bool:
        """Whether M2 or M30 was met."""
        return any(event.name == "end" for event in self.events)
