"""The time of a file besides cutting and rapids: dwells, stops, tool changes.

Dwells are exact: the file itself has them. The time of a person at a stop or a tool change is an
estimate that only the shop can improve, so it is kept apart from the minutes that the clock works
out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from corepath.job.model import MachineSection
from corepath.motion.program import Program
from corepath.reported import Key, report_keys

__all__ = ["CHANGE", "CHANGE_BY_MACHINE", "LOOK", "STOP", "MinutesApart", "apart", "together"]

STOP = 1.0
"""Minutes to look at the casting and decide (common practice, no source)."""

LOOK = 0.3
"""Minutes to see how high the tip stands on the first way down (common practice, no source)."""

CHANGE = 3.0
"""Minutes to fit a cutter by hand and touch its zero (common practice, no source)."""

CHANGE_BY_MACHINE = 0.3
"""Minutes of a change by M6 (common practice, no source)."""


@report_keys(
    Key("dwell", places=3),
    Key("stops", "stop_minutes", 2),
    Key("tool_changes", "change_minutes", 2),
    "count",
)
@dataclass(frozen=True, slots=True)
class MinutesApart:
    """Minutes of dwells, and the numbers of stops and tool changes with the minutes allowed for
    them."""

    dwell: float = 0.0
    stops: int = 0
    changes: int = 0
    stop_minutes: float = 0.0
    change_minutes: float = 0.0

    @property
    def minutes(self) -> float:
        return self.dwell + self.stop_minutes + self.change_minutes

    def count(self) -> dict[str, int]:
        """Return stops and tool changes for the report."""
        return {"stops": self.stops, "tool_changes": self.changes}


def apart(program: Program, machine: MachineSection) -> MinutesApart:
    """Return these times for the file of `program`: a tool change at its head, a look at a new
    zero, a stop between passes."""
    # The spindle starts for every pass, and stops by the file before every stop between two.
    between = len(program.passes) - 1
    dwell = (len(program.passes) * machine.spin_up + between * machine.spin_down) / 60.0
    looks = int(program.approach is not None)
    change = CHANGE_BY_MACHINE if machine.tool_change == "m6" else CHANGE
    return MinutesApart(dwell, between + looks, 1, STOP * between + LOOK * looks, change)


def together(parts: Iterable[tuple[int, MinutesApart]]) -> MinutesApart:
    """Return the sum of files run one after another, given as (cutter number, times).

    Where two files in a row have the same cutter it is not changed: the head of the second only
    asks to confirm it.
    """
    total, fitted = MinutesApart(), 0
    for number, one in parts:
        stays = number == fitted
        total = MinutesApart(
            total.dwell + one.dwell,
            total.stops + one.stops,
            total.changes + (0 if stays else one.changes),
            total.stop_minutes + one.stop_minutes,
            total.change_minutes + (0.0 if stays else one.change_minutes),
        )
        fitted = number
    return total
